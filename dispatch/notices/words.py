"""Sentences for those who are told of a case, and what came of a call.

Keep the codes in alphabetical order.
"""

from __future__ import annotations

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from dispatch.domain.notices import Outcome
from kitting.web.messages import register

OUTCOMES: dict[str, str | Promise] = {
    Outcome.REACHED: _("reached"),
    Outcome.SILENT: _("nobody answered"),
    Outcome.WRONG: _("wrong number"),
}

SENTENCES: dict[str, str | Promise] = {
    "call_reached_nobody": _(
        "Nobody was reached, so nobody can have said who they are or what they did."
        " Choose “reached”, or leave these empty."
    ),
    "call_undone": _("The note of this call was undone already."),
    "case_not_there": _(
        "Case %(case)s reaches no box at %(consignee)s. Go back to the case and choose"
        " one that it names."
    ),
    "spoke_to_missing": _("Write who was reached: a name, or what they are there."),
}

register(SENTENCES)
