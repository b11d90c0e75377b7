"""Sentences for complaints, and the words of how bad they are and what is decided.

Keep the codes in alphabetical order.
"""

from __future__ import annotations

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from dispatch.domain.complaints import Decision, Severity
from kitting.web.messages import register

SEVERITIES: dict[str, str | Promise] = {
    Severity.INJURY: _("somebody was hurt"),
    Severity.COULD: _("somebody could have been hurt"),
    Severity.FAULT: _("it does not work"),
    Severity.LOOKS: _("it looks bad"),
    Severity.WISH: _("a wish"),
}

DECISIONS: dict[str, str | Promise] = {
    Decision.NONE: _("no action"),
    Decision.TRACED: _("looked into"),
    Decision.CASE: _("followed in a case"),
}

SENTENCES: dict[str, str | Promise] = {
    "complaint_about": _(
        "“%(read)s” is no lot, bag, run, box, pallet or shipment. Type the number of one"
        " of them, or leave it empty and write down what they read."
    ),
    "complaint_case": _("Choose the case that the complaint is followed in."),
    "complaint_day": _(
        "It happened before it was received, and neither is later than today."
    ),
    "complaint_decision": _("Choose what is decided."),
    "complaint_part": _(
        "%(number)s has no %(part)s in it. Ask for the number again, or choose another"
        " part."
    ),
    "complaint_severity": _("Choose how bad it is."),
}

register(SENTENCES)
