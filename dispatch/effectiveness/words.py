"""Sentences for effectiveness checks, and what their levels mean.

Keep the codes in alphabetical order.
"""

from __future__ import annotations

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from dispatch.domain.effectiveness import Level
from kitting.web.messages import register

LEVELS: dict[str, str | Promise] = {
    Level.A: _("A: every consignee"),
    Level.B: _("B: a share that you set, above 10 and below 100 per cent"),
    Level.C: _("C: 10 per cent of the consignees"),
    Level.D: _("D: 2 per cent of the consignees"),
    Level.E: _("E: no consignee"),
}

SENTENCES: dict[str, str | Promise] = {
    "effect_level_unknown": _("Choose a level from A to E."),
    "effect_nobody": _(
        "No consignee has or had a recalled box of case %(case)s, so nobody can be"
        " asked."
    ),
    "effect_not_drawn": _(
        "%(name)s was not drawn, so its answer counts in no check. Choose one that was"
        " drawn."
    ),
    "effect_share": _(
        "Level B has a share of your own, from 11 to 99 per cent; for every other level"
        " leave it empty."
    ),
}

register(SENTENCES)
