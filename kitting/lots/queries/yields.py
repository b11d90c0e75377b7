"""What a lot yielded, and what materials give at most."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal

from kitting.domain.stages import MovementKind
from kitting.domain.yields import Rate, Used, Yielded, judge, ratio
from kitting.models import Link, Lot, LotOrigin, Movement, Part, Yield


def rates_of(parts: Iterable[int]) -> dict[int, dict[int, Rate]]:
    """What materials give at most.

    Args:
        parts: Ids of the parts that are made.

    Returns:
        For each part the rates by the id of the material.
    """
    rates: dict[int, dict[int, Rate]] = defaultdict(dict)
    for row in Yield.objects.filter(part__in=set(parts)):
        rates[row.part_id][row.material_id] = Rate(row.pieces, row.amount)
    return rates


def used_of(
    amounts: Mapping[int, int], materials: Mapping[int, Part], rates: dict[int, Rate]
) -> list[Used]:
    """Put what was used of each material beside its rate.

    Args:
        amounts: Amount by the id of the material.
        materials: The materials by id.
        rates: Their rates for the part that is made.

    Returns:
        Each material once.
    """
    return [
        Used(
            material=materials[pk].name,
            unit=materials[pk].unit,
            amount=amount,
            rate=rates.get(pk),
        )
        for pk, amount in amounts.items()
    ]


@dataclass(frozen=True)
class UseLine:
    """What one material gave."""

    used: Used
    figure: Decimal
    """See ``from_one``; to three significant digits."""
    from_one: bool
    """True: pieces from one unit of it; False: units of it for one piece."""

    @property
    def figure_text(self) -> str:
        """The figure without an exponent."""
        return f"{self.figure:f}"


@dataclass(frozen=True)
class LotYield:
    """What a lot that was made from others yielded."""

    yielded: Yielded
    lines: tuple[UseLine, ...]
    """Each material once; empty while no bag has come in."""
    sure: tuple[str, ...] = ()
    """Reasons that people gave for more than the material gives, oldest first."""

    @property
    def percent(self) -> str:
        """Pieces received of those possible, with one decimal; "" if unknown."""
        share = self.yielded.per_mille
        return "" if share is None else f"{Decimal(share) / 10}"


def lot_yield(lot: Lot, origins: Iterable[LotOrigin], pieces: int) -> LotYield | None:
    """Compute what a lot yielded.

    Args:
        lot: The lot.
        origins: What it was made from, with the lots' parts.
        pieces: What was received of it.

    Returns:
        The yield; None for a lot that was made from nothing on record, or has no bag.
    """
    amounts: dict[int, int] = {}
    materials: dict[int, Part] = {}
    for origin in origins:
        part = origin.from_lot.part
        materials[part.pk] = part
        amounts[part.pk] = amounts.get(part.pk, 0) + origin.amount
    if not amounts:
        return None
    if not pieces:
        return None
    rates = rates_of([lot.part_id]).get(lot.part_id, {})
    used = used_of(amounts, materials, rates)
    yielded = judge(pieces, used)
    return LotYield(
        yielded=yielded,
        lines=tuple(UseLine(each, *ratio(pieces, each.amount)) for each in used),
        sure=_reasons(lot) if yielded.is_impossible else (),
    )


def _reasons(lot: Lot) -> tuple[str, ...]:
    acts = Movement.objects.filter(lot=lot, kind=MovementKind.RECEIVED)
    links = Link.objects.filter(operation__in=acts.values("operation"))
    found = (
        json.loads(text).get("sure", {}).get(lot.number)
        for text in links.order_by("seq").values_list("outcome", flat=True)
    )
    return tuple(reason for reason in found if reason)


def all_yields() -> list[Yield]:
    """What every material gives at most.

    Returns:
        The yields by part and material.
    """
    rows = Yield.objects.select_related("part", "material")
    return list(rows.order_by("part__name", "material__name"))
