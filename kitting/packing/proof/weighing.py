"""What boxes weigh: each that was to be weighed has a mass, and that inside its window."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterator
from typing import Any, Final

from django.db.models import Q, QuerySet

from kitting.domain.stages import BoxStage
from kitting.ledger.proof import register
from kitting.ledger.proof.faults import Tally
from kitting.ledger.proof.newest import register_newest
from kitting.ledger.proof.streams import Ids, composed, only, rows
from kitting.models import AllowedMass, Box, BoxEvent, BoxSize, Movement, RowSeal

BOX: Final = Box._meta.db_table


def masses(tally: Tally, ids: Ids = None) -> None:
    """Every box weighs what the act said that closed it, inside the window of then.

    Which masses and which scale made that window may have changed since: the act keeps
    it. Whether boxes of its size were weighed then, the seals of the size say.

    Args:
        tally: Where boxes are counted and faults noted.
        ids: The boxes; None for all of them.
    """
    switched = _switched()
    closings = only(BoxEvent.objects.filter(after=BoxStage.CLOSED), "box_id", ids)
    told = Q(box__size__in=switched) | Q(box__mass_mg__isnull=False)
    found = closings.filter(told).order_by("box_id", "nth")
    columns = ("box_id", "box__size_id", "box__mass_mg", *_LINK)
    for pk, size, mass, seq, outcome in rows(found.values_list(*columns)):
        tally.count += 1
        said = _said(outcome)
        tally.same(BOX, pk, "It was closed at another mass.", said.get("mass_mg"), mass)
        if mass is None:
            if _weighed(switched.get(size, []), seq):
                words = "It was closed without a mass, while its size was weighed."
                tally.add(BOX, pk, words, "a mass", "none")
            continue
        low, high = said.get("low_mg"), said.get("high_mg")
        if low is not None and high is not None and low <= mass <= high:
            continue
        if not _allowed(pk, mass, seq, said.get("allowed")):
            words = "It was closed at a mass outside of its window, and nobody let it."
            tally.add(BOX, pk, words, f"{low} to {high}", mass)


def _allowed(box: int, mass_mg: int, seq: int | None, named: Any) -> bool:
    """Whether somebody let the box close at that mass, as it was then."""
    row = AllowedMass.objects.filter(pk=named, box=box).first()
    if row is None or abs(row.mass_mg - mass_mg) > row.within_mg:
        return False
    before = Movement.objects.filter(box=box, operation__link__seq__lt=seq or 0)
    return before.count() == row.moves


_LINK: Final = ("operation__link__seq", "operation__link__outcome")


def _said(outcome: str | None) -> dict[str, Any]:
    try:
        said = json.loads(outcome or "")
    except ValueError:
        return {}
    return said if isinstance(said, dict) else {}


def _switched() -> dict[int, list[tuple[int, bool]]]:
    """By size that was ever weighed: from which link on it was, and was not."""
    found: dict[int, list[tuple[int, bool]]] = defaultdict(list)
    [seals] = _sizes()
    for size, seq, text in rows(seals):
        found[size].append((seq or 0, bool(_said(text).get("weigh"))))
    return {size: each for size, each in found.items() if any(on for _, on in each)}


@composed
def _sizes() -> Iterator[QuerySet[Any, Any]]:
    seals = RowSeal.objects.filter(of=BoxSize._meta.db_table)
    seals = seals.order_by("operation__link__seq", "pk")
    yield seals.values_list("row", _LINK[0], "text")


def _weighed(switched: list[tuple[int, bool]], seq: int | None) -> bool:
    before = [on for since, on in switched if since < (seq or 0)]
    return bool(before) and before[-1]


register(("box masses", "boxes", masses, BoxEvent))
register_newest("box masses", "boxes", masses, (BoxEvent, "box_id"))
