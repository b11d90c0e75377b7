"""Inner step of taking in: more pieces than the material can give are questioned."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

from django.db.models import Sum

from kitting.domain.errors import Refused
from kitting.domain.stages import MovementKind
from kitting.domain.yields import Yielded, judge
from kitting.ledger.needs import need_reason
from kitting.lots.queries.yields import rates_of, used_of
from kitting.lots.steps.intake import NewLot
from kitting.models import Lot, LotOrigin, Movement

Amounts = dict[int, int]
"""Amount used by the id of a material's part."""


@dataclass(frozen=True)
class Doubt:
    """A lot of which more pieces would come in than its material can give."""

    nth: int
    """Which of the lots that come in, from 0."""
    yielded: Yielded

    def figures(self) -> dict[str, object]:
        """The values that the sentence names."""
        limit = self.yielded.limit
        assert limit is not None  # noqa: S101 -- without a limit there is no doubt
        sign = {"gram": "g", "mm": "mm"}.get(limit.unit, "pieces")
        return {
            "pieces": f"{self.yielded.pieces:,}",
            "possible": f"{self.yielded.possible:,}",
            "amount": f"{limit.amount:,} {sign}",
            "material": limit.material,
        }


def doubts(lots: Sequence[NewLot]) -> list[Doubt]:
    """Which lots would have more pieces than their material can give.

    Args:
        lots: What comes in, in order; open lots count with what came in before.

    Returns:
        The doubts in order.
    """
    rates = rates_of(new.part_id for new in lots)
    if not rates:
        return []
    old = {new.lot_id for new in lots if new.lot_id is not None}
    received = _received(old)
    origins = _origins(old)
    named = {pk for new in lots for pk, _ in new.made_from}
    named |= {pk for pairs in origins.values() for pk, _ in pairs}
    sources = Lot.objects.select_related("part").in_bulk(named)
    materials = {lot.part_id: lot.part for lot in sources.values()}
    found = []
    for nth, new in enumerate(lots):
        pieces = sum(bag.pieces for bag in new.bags)
        made_from = new.made_from
        if new.lot_id is not None:
            received[new.lot_id] += pieces
            pieces, made_from = received[new.lot_id], origins[new.lot_id]
        amounts: Amounts = defaultdict(int)
        for pk, amount in made_from:
            amounts[sources[pk].part_id] += amount
        used = used_of(amounts, materials, rates.get(new.part_id, {}))
        yielded = judge(pieces, used)
        if new.bags and yielded.is_impossible:
            found.append(Doubt(nth, yielded))
    return found


def _received(lots: set[int]) -> dict[int, int]:
    movements = Movement.objects.filter(lot__in=lots, kind=MovementKind.RECEIVED)
    sums = movements.order_by().values_list("lot").annotate(Sum("pieces"))
    return defaultdict(int, dict(sums))


def _origins(lots: set[int]) -> dict[int, tuple[tuple[int, int], ...]]:
    found: dict[int, tuple[tuple[int, int], ...]] = defaultdict(tuple)
    for origin in LotOrigin.objects.filter(lot__in=lots):
        found[origin.lot_id] += ((origin.from_lot_id, origin.amount),)
    return found


def sure_about(lots: Sequence[NewLot], rows: Sequence[Lot]) -> dict[str, str]:
    """Refuse an impossible yield unless the person says why it is right.

    Args:
        lots: What comes in, in order.
        rows: Their rows, with numbers.

    Returns:
        The reasons by lot number, for the journal; empty if nothing was in doubt.

    Raises:
        Refused: ``yield_impossible``, ``entry_too_long``.
    """
    reasons = {}
    for doubt in doubts(lots):
        reason = lots[doubt.nth].sure.strip()
        if not reason:
            raise Refused("yield_impossible", **doubt.figures())
        reasons[rows[doubt.nth].number] = need_reason(reason)
    return reasons
