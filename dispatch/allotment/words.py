"""Sentences for allotments, and why everybody gets what it gets.

Keep the codes in alphabetical order.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from django.utils.functional import Promise
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from dispatch.domain.allotment import Reason
from dispatch.domain.proposal import USUAL_WEIGHT, Term
from kitting.web.figures import amount
from kitting.web.messages import register

SENTENCES: dict[str, str | Promise] = {
    "allot_nothing": _(
        "No box is allotted, so there is nothing to confirm. Count in boxes that benches"
        " can still pack, or wait until some are ready."
    ),
    "allotted_meanwhile": _(
        "%(by)s confirmed allotment %(allotment)s after this page was loaded, so nothing"
        " was promised. Look at the new proposal."
    ),
    "asked_too_much": _(
        "Open requests of %(read)s come to more than %(most)s sets of one need. Correct"
        " or cancel what is wrong of them, then boxes are shared."
    ),
    "boxes_gone": _(
        "Boxes of %(sets)s were loaded, held or voided after this page was loaded: free"
        " now are %(free)s. Nothing was promised. Look at the new proposal."
    ),
    "move_beyond_asked": _(
        "Request %(request)s lacks %(lacks)s sets and would get %(sets)s, one box more"
        " than it can use. Move fewer boxes to it."
    ),
    "move_too_many": _(
        "Boxes of %(sets)s to move from there: %(there)s, and not %(read)s. Move at most"
        " as many."
    ),
    "move_unknown": _(
        "Request %(request)s lacks nothing any more, so nothing is moved from or to it."
        " Choose another one."
    ),
    "nothing_promised": _(
        "Nothing that allotment %(allotment)s promised is open any more, so there is"
        " nothing to release."
    ),
    "packing_unknown": _(
        "“%(read)s” is no number of boxes that benches can pack of a size. Write 0 to"
        " %(most)s."
    ),
    "requests_changed": _(
        "Requests or shipments changed after this page was loaded, so nothing was"
        " promised. Look at the new proposal."
    ),
    "term_range": _(
        "Write a weight from 0.1 to 99.9, and sets that come first from 0 to %(most)s."
    ),
    "term_unexplained": _(
        "Write why %(read)s has a weight or sets that come first: everybody may read it."
    ),
    "term_unknown": _(
        "“%(read)s” asks for nothing that is not promised. Choose who is in the table."
    ),
    "window_unknown": _("Write a number of days from 0 to %(most)s."),
}

REASONS: Final[dict[str, str | Promise]] = {
    "boxes": _(
        "A fair share is %(share)s now, but no box is left that comes near to it."
    ),
    "nothing": _("No box is there to share."),
    "received": _("The %(received)s that it had are a fair share already."),
    "served": _("All that it lacks, which is no more than a fair share."),
    "share": _("A fair share is %(share)s now; whole boxes come to %(given)s."),
    "tier": _("Nothing is left: whoever needs it more comes first."),
    "whole": _(
        "All that it lacks: a fair share is %(share)s now; whole boxes come to %(given)s."
    ),
}
"""Why somebody gets what it gets, by the codes of ``domain.allotment.Reason``."""


@dataclass(frozen=True)
class Figures:
    """What decided how much somebody gets."""

    code: str
    given: int
    received: int
    share_hundredths: int
    weight_tenths: int
    floor: int
    why: str
    alike: int
    """How many requests share as one."""
    by_hand: int
    """Sets more than were proposed to the request; below 0 for fewer."""
    first: bool
    """Whether it has the last box as the first of several that had as little."""


def figures_of(reason: Reason, term: Term | None, alike: int, by_hand: int) -> Figures:
    """The figures of a proposal."""
    return Figures(
        reason.code,
        reason.given,
        reason.received,
        int(reason.share * 100),
        int(reason.weight * 10),
        term.floor if term else 0,
        term.why if term else "",
        alike,
        by_hand,
        reason.first,
    )


def reason_of(figures: Figures) -> str:
    """Say why somebody gets what it gets, with the figures that decided it."""
    values = {
        "share": _sets(figures.share_hundredths, 100),
        "given": amount(figures.given, "set"),
        "received": amount(figures.received, "set"),
    }
    said = []
    if figures.by_hand:
        more = _("By hand it gets %s more than was proposed.")
        fewer = _("By hand it gets %s fewer than was proposed.")
        words = more if figures.by_hand > 0 else fewer
        said.append(str(words) % amount(abs(figures.by_hand), "set"))
        said.append(gettext("Proposed:"))
    said.append(str(REASONS.get(figures.code, figures.code)) % values)
    if figures.first:
        said.append(gettext("Of those that had as little its code comes first."))
    if figures.received and figures.code in {"share", "whole"}:
        said.append(gettext("The %(received)s that it had count.") % values)
    if figures.alike > 1:
        said.append(gettext("Its %s requests share as one.") % figures.alike)
    if figures.weight_tenths != USUAL_WEIGHT:
        weight = _figure(figures.weight_tenths, 10)
        said.append(gettext("It counts %s times.") % weight)
    if figures.floor:
        said.append(gettext("%s come first.") % amount(figures.floor, "set"))
    if figures.why:
        said.append(f"{figures.why.rstrip('.')}.")
    return " ".join(said)


def _sets(value: int, by: int) -> str:
    """A number of sets that need not be whole."""
    if value % by == 0:
        return amount(value // by, "set")
    return gettext("%s sets") % _figure(value, by)


def _figure(value: int, by: int) -> str:
    return f"{value / by:.2f}".rstrip("0").rstrip(".")


register(SENTENCES)
