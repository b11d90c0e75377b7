"""Sentences for closing cases.

Keep the codes in alphabetical order.
"""

from __future__ import annotations

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from kitting.web.messages import register

SENTENCES: dict[str, str | Promise] = {
    "box_unaccounted": _(
        "It is not known where box %(box)s ended. Account for it, or say why the case"
        " is closed without it."
    ),
    "case_changed": _(
        "Case %(case)s changed since this page was read: it looked again, or a hold was"
        " lifted. Read it once more, then close it."
    ),
    "case_is_open": _("Case %(case)s is open already."),
    "case_reaches_more": _(
        "Case %(case)s reaches %(boxes)s boxes that are not on its list. Let it look"
        " again, and see to them first."
    ),
    "closing_own": _(
        "You opened this case yourself. Another quality officer or manager has to close"
        " it."
    ),
    "decision_missing": _(
        "Say what was decided: the cause, what was done, and what keeps it from happening"
        " again."
    ),
}

register(SENTENCES)
