"""The first line of a recall lookup: where all of it is, to the piece."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from dispatch.domain.trace import Balance
from dispatch.recall.queries.recall import Reached
from dispatch.trace.queries import Trace
from kitting.domain.stages import GONE, IN_HOUSE, BoxStage
from kitting.models import Bag
from kitting.web.figures import amount, pieces


@dataclass(frozen=True)
class Whereabouts:
    """Words for each place where something is; where nothing is, there are none."""

    came: str
    places: list[tuple[str, str]]
    """Words, and the part of the page that they lead to."""
    open: str
    """What is unaccounted for; empty if nothing is."""


def whereabouts(found: Trace, reached: Collection[Reached]) -> Whereabouts | None:
    """Say where the pieces of a lot or bag are, so that one line adds up.

    Args:
        found: A trace.
        reached: The consignees that its boxes were sent to.

    Returns:
        The words; None for what has no balance, such as a box.
    """
    its = found.balance
    if its is None:
        return None
    told = [
        (its.in_bags, _in_bags(found), "bags"),
        (its.sent, _sent(found, reached), "consignees"),
        (its.in_boxes, _("in %(boxes)s here") % _boxes(found, IN_HOUSE), "boxes"),
        (
            its.returned,
            _("in %(boxes)s that came back") % _boxes(found, {BoxStage.RETURNED}),
            "boxes",
        ),
        (its.made_into, _("made into other lots"), "balance"),
        (its.sampled, _("sampled"), "balance"),
        (its.scrapped, _("scrapped"), "balance"),
    ]
    places = [(f"{amount(many, its.unit)} {at}", to) for many, at, to in told if many]
    return Whereabouts(came=_came(its), places=places, open=_open(found))


def in_one_line(found: Trace, reached: Collection[Reached]) -> str:
    """Say where all of it is, for a paper.

    Args:
        found: A trace.
        reached: The consignees that its boxes were sent to.
    """
    told = whereabouts(found, reached)
    if told is not None:
        close = told.open or _("nothing is unaccounted for")
        return (
            f"{told.came}: {', '.join(words for words, _to in told.places)}; {close}."
        )
    gone = [box for box in found.boxes if box.stage in GONE]
    boxes = {
        "pieces": amount(sum(box.pieces for box in gone), "piece"),
        "boxes": amount(len(gone), "box"),
        "count": pieces(len(reached)),
    }
    words = ngettext(
        "%(pieces)s in %(boxes)s sent to %(count)s consignee.",
        "%(pieces)s in %(boxes)s sent to %(count)s consignees.",
        len(reached),
    )
    return words % boxes


def _came(its: Balance) -> str:
    words = _("%(amount)s received") % {"amount": amount(its.received, its.unit)}
    if its.found:
        found = _("%(amount)s found") % {"amount": amount(its.found, its.unit)}
        words = _("%(received)s and %(found)s") % {"received": words, "found": found}
    return words


def _in_bags(found: Trace) -> str:
    if isinstance(found.row, Bag):
        return _("in it still")
    bags = [bag for bag in found.bags if bag.pieces and bag.lot == found.number]
    return _("in %(bags)s here") % {"bags": amount(len(bags), "bag")}


def _boxes(found: Trace, stages: Collection[str]) -> dict[str, str]:
    some = [box for box in found.boxes if box.own and box.stage in stages]
    return {"boxes": amount(len(some), "box")}


def _sent(found: Trace, reached: Collection[Reached]) -> str:
    whom = sum(any(box.own for box in each.boxes) for each in reached)
    words = ngettext(
        "in %(boxes)s sent to %(count)s consignee",
        "in %(boxes)s sent to %(count)s consignees",
        whom,
    )
    return words % {**_boxes(found, GONE), "count": pieces(whom)}


def _open(found: Trace) -> str:
    if not found.adds_up:
        return _("these figures do not add up")
    told = [
        _("%(amount)s of %(number)s")
        % {"amount": amount(its.missing, its.unit), "number": number}
        for number, its in found.missing
    ]
    if not told:
        return ""
    return _("%(what)s missing, and nobody knows where") % {
        "what": _(" and ").join(told)
    }
