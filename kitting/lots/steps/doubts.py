"""Inner step of taking in: counts that can hardly be right are asked about."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from django.db.models import Sum

from kitting.domain.errors import Doubted
from kitting.domain.stages import MovementKind
from kitting.domain.usual import is_far
from kitting.domain.yields import Yielded, judge
from kitting.ledger.needs import need_reason
from kitting.lots.queries.usual import usual_in
from kitting.lots.queries.yields import rates_of, used_of
from kitting.lots.steps.intake import NewLot
from kitting.models import Lot, LotOrigin, Movement

Amounts = dict[int, int]
"""Amount used by the id of a material's part."""


@dataclass(frozen=True)
class Doubt:
    """A lot of which what would come in can hardly be right."""

    nth: int
    """Which of the lots that come in, from 0."""
    code: str
    figures: Mapping[str, object]
    """The values that the sentence names."""
    pieces: int = 0
    """The count of the bag in doubt; 0 where all of them are."""


def doubts(lots: Sequence[NewLot]) -> list[Doubt]:
    """What is to be asked about lots before they come in.

    Args:
        lots: What comes in, in order.

    Returns:
        The doubts, at most one of a kind about a lot.
    """
    return [*_unusual(lots), *_impossible(lots)]


def _unusual(lots: Sequence[NewLot]) -> Iterator[Doubt]:
    """Find a bag of each lot that holds far from what bags of its part usually do."""
    common = {part: usual_in(part) for part in {new.part_id for new in lots}}
    for nth, new in enumerate(lots):
        known = common[new.part_id]
        far = (bag.pieces for bag in new.bags if is_far(bag.pieces, known))
        if (pieces := next(far, 0)) and known is not None:
            figures = {"pieces": f"{pieces:,}", "usual": f"{known:,}"}
            yield Doubt(nth, "count_unusual", figures, pieces)


def _impossible(lots: Sequence[NewLot]) -> Iterator[Doubt]:
    """Find lots that would have more pieces than their material can give.

    Open lots count with what came in before.
    """
    rates = rates_of(new.part_id for new in lots)
    if not rates:
        return
    old = {new.lot_id for new in lots if new.lot_id is not None}
    received = _received(old)
    origins = _origins(old)
    named = {pk for new in lots for pk, _ in new.made_from}
    named |= {pk for pairs in origins.values() for pk, _ in pairs}
    sources = Lot.objects.select_related("part").in_bulk(named)
    materials = {lot.part_id: lot.part for lot in sources.values()}
    for nth, new in enumerate(lots):
        pieces = sum(bag.pieces for bag in new.bags)
        wasted = dict(new.waste)
        made_from = tuple((pk, n - wasted.get(pk, 0)) for pk, n in new.made_from)
        if new.lot_id is not None:
            received[new.lot_id] += pieces
            pieces, made_from = received[new.lot_id], origins[new.lot_id]
        amounts: Amounts = defaultdict(int)
        for pk, amount in made_from:
            if pk in sources:  # what is not there is refused as such
                amounts[sources[pk].part_id] += amount
        used = used_of(amounts, materials, rates.get(new.part_id, {}))
        yielded = judge(pieces, used)
        if new.bags and yielded.is_impossible:
            yield Doubt(nth, "yield_impossible", _figures(yielded))


def _figures(yielded: Yielded) -> dict[str, object]:
    limit = yielded.limit
    assert limit is not None  # noqa: S101 -- without a limit there is no doubt
    sign = {"gram": "g", "mm": "mm"}.get(limit.unit, "pieces")
    return {
        "pieces": f"{yielded.pieces:,}",
        "possible": f"{yielded.possible:,}",
        "amount": f"{limit.amount:,} {sign}",
        "material": limit.material,
    }


def _received(lots: set[int]) -> dict[int, int]:
    movements = Movement.objects.filter(lot__in=lots, kind=MovementKind.RECEIVED)
    sums = movements.order_by().values_list("lot").annotate(Sum("pieces"))
    return defaultdict(int, dict(sums))


def _origins(lots: set[int]) -> dict[int, tuple[tuple[int, int], ...]]:
    found: dict[int, tuple[tuple[int, int], ...]] = defaultdict(tuple)
    for origin in LotOrigin.objects.filter(lot__in=lots):
        found[origin.lot_id] += ((origin.from_lot_id, origin.amount),)
    return found


def sure_about(
    found: Sequence[Doubt], lots: Sequence[NewLot], rows: Sequence[Lot]
) -> dict[str, str]:
    """Refuse what is in doubt unless the person says why it is right.

    Args:
        found: The doubts.
        lots: What comes in, in order.
        rows: Their rows, with numbers.

    Returns:
        The reasons by lot number, for the journal; empty if nothing was in doubt.

    Raises:
        Doubted: ``count_unusual``, ``yield_impossible``.
        Refused: ``entry_too_long``.
    """
    reasons = {}
    for doubt in found:
        reason = lots[doubt.nth].sure.strip()
        if not reason:
            same = [
                Doubted(each.code, **each.figures)
                for each in found
                if each.nth == doubt.nth
            ]
            same[0].besides = same[1:]
            raise same[0]
        reasons[rows[doubt.nth].number] = need_reason(reason)
    return reasons
