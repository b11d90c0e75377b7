"""Sentences for recall cases.

Keep the codes in alphabetical order.
"""

from __future__ import annotations

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from kitting.web.messages import register

SENTENCES: dict[str, str | Promise] = {
    "case_closed": _(
        "Case %(case)s is closed; %(by)s closed it. Reopen it first, with the reason."
    ),
    "case_has_it": _(
        "“%(on)s” is in the scope of case %(case)s already; %(by)s put it there. Open"
        " that case, and widen it where it does not reach far enough."
    ),
    "hazard_missing": _("Say what can happen to whom."),
    "scope_missing": _("Choose what the case is about: at least one thing."),
}

register(SENTENCES)
