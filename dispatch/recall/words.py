"""Sentences for recall cases.

Keep the codes in alphabetical order.
"""

from __future__ import annotations

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from kitting.web.messages import register

SENTENCES: dict[str, str | Promise] = {
    "case_box_left": _(
        "Box %(box)s is %(stage)s by the record. If it is here, record on the page of its"
        " shipment that it came back: that puts it in quarantine."
    ),
    "case_box_loaded": _(
        "Box %(box)s is on shipment %(shipment)s. Only a dispatch clerk takes it off: let"
        " one scan it here. Until then it stays where it is, and nothing leaves."
    ),
    "case_closed": _(
        "Case %(case)s is closed; %(by)s closed it. Reopen it first, with the reason."
    ),
    "case_has_it": _(
        "“%(on)s” is in the scope of case %(case)s already; %(by)s put it there. Open"
        " that case, and widen it where it does not reach far enough."
    ),
    "case_takes_things": _(
        "“%(read)s” is no bag and no box. Scan each bag and each box by itself."
    ),
    "hazard_missing": _("Say what can happen to whom."),
    "is_in_quarantine": _("%(thing)s is in quarantine: %(place)s."),
    "not_of_case": _("%(thing)s is not of case %(case)s. Leave it where it was."),
    "not_of_case_any_more": _(
        "%(thing)s was of case %(case)s, which holds it no more: its hold is lifted. It"
        " need not go to quarantine."
    ),
    "not_quarantine": _(
        "%(place)s is no quarantine. Scan a place for quarantine, where nothing else is."
    ),
    "quarantine_not_chosen": _(
        "Scan the quarantine first: everything after it goes there."
    ),
    "said_before_case": _(
        "Case %(case)s was opened after that moment, so nobody can have been told of it"
        " then. Look at the day and the time."
    ),
    "said_later": _("That moment is still to come. Look at the day and the time."),
    "scope_missing": _("Choose what the case is about: at least one thing."),
}

register(SENTENCES)
