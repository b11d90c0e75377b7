"""What was used last for a part: what a lot like the last one begins with."""

from __future__ import annotations

from collections import Counter
from collections.abc import Hashable, Iterable
from dataclasses import dataclass, field
from typing import Any, Final, TypeVar

from django.db.models import Q, QuerySet

from kitting.domain.stages import MovementKind
from kitting.domain.usual import usual
from kitting.ledger.kept import KeptLines
from kitting.models import Lot, LotOrigin, Method, Movement, Place, Revision, Yield
from kitting.models.catalogue import PlaceKind
from kitting.models.lots import Container, LotStage
from kitting.products.queries.methods import for_part

H = TypeVar("H", bound=Hashable)

LAST_BAGS = 20
"""Bags of a part from which it is told what a bag usually holds."""
LAST_LOTS = 60
"""Lots among which those are looked for that may come again."""
MOST_OFFERED = 6


def _stand() -> QuerySet[Lot]:
    """Lots that were not taken in by mistake, newest first."""
    lots = Lot.objects.exclude(stage=LotStage.CANCELLED).order_by("-pk")
    return lots.select_related("part", "revision", "method")


def usual_in(part: int) -> int | None:
    """How many pieces a bag of a part usually holds when it comes in.

    Args:
        part: Id of the part.

    Returns:
        The median of its newest bags; None where there are too few.
    """
    newest = [pk for (pk,) in _NEWEST(part)]
    return usual([pieces for (pieces,) in _CAME(*newest)] if newest else [])


_NEWEST: Final = KeptLines(
    lambda part: _stand().filter(part=part).values_list("pk")[:LAST_BAGS]
)
"""The newest lots of a part."""


def _came(*lots: int) -> QuerySet[Movement, tuple[int]]:
    came = Movement.objects.filter(lot__in=lots, kind=MovementKind.RECEIVED)
    return came.order_by("-pk").values_list("pieces")[:LAST_BAGS]


_CAME: Final = KeptLines(_came)
"""Pieces in the newest bags of some lots as they came in."""


def last_lots() -> list[Lot]:
    """The newest lot of each part that came in lately.

    Returns:
        At most ``MOST_OFFERED``, newest first.
    """
    newest: dict[int, Lot] = {}
    for lot in _stand()[:LAST_LOTS]:
        newest.setdefault(lot.part_id, lot)
    return list(newest.values())[:MOST_OFFERED]


@dataclass(frozen=True)
class Like:
    """What a new lot begins with."""

    lot: Lot | None = None
    """The lot that it is like; None where nothing is known of its part."""
    method: Method | None = None
    """How that was made, or the newest released settings of the same machines."""
    cut: bool = False
    """Whether lots of its part are made from material."""
    values: dict[str, Any] = field(default_factory=dict)
    """What is proposed, by the names of the form's fields."""


def like(*, number: str, revision: Revision | None) -> Like:
    """Tell what a new lot begins with: what was used last for its part.

    Args:
        number: The lot that it is like; of another one, or none, the newest of the
            part is.
        revision: What was made, where that was chosen.

    Returns:
        What is proposed; nothing of a part of which no lot has come in.
    """
    found = _stand().filter(number=number) if number else None
    if not found and revision is not None:
        found = _stand().filter(part=revision.part_id)
    lot = found.first() if found is not None else None
    part = lot.part_id if lot else revision.part_id if revision else None
    method = _newest_settings(lot) if lot else None
    values = _values(lot) | {"method": method and method.pk} if lot else {}
    if revision is not None:
        values["revision"] = revision.pk
    return Like(lot, method, cut=part is not None and _is_cut(part), values=values)


def _newest_settings(lot: Lot) -> Method | None:
    """What is used of how a lot was made and of what is released for its machines."""
    if lot.method is None:
        return None
    machines = {"machine_group__iexact": lot.method.machine_group, "active": True}
    of_part = Method.objects.filter(for_part(lot.part), **machines)
    usable = of_part.filter(Q(pk=lot.method_id) | Q(release__isnull=False))
    return usable.order_by("-pk").first()


def _values(lot: Lot) -> dict[str, Any]:
    """What a lot was, and what most of its bags were as they came in."""
    came = Movement.objects.filter(lot=lot, kind=MovementKind.RECEIVED).values_list(
        "pieces", "bag__container", "place", "counted_by"
    )
    bags = list(came.order_by("pk")[:LAST_BAGS])
    counts, containers, places, ways = zip(*bags, strict=True) if bags else ((),) * 4
    usable = Place.objects.filter(pk=_most(places) or 0, active=True)
    return {
        "revision": lot.revision_id,
        "source": lot.source,
        "pieces_each": _most(counts),
        "container": _most(containers) or Container.TOTE,
        "place": usable.exclude(kind=PlaceKind.QUARANTINE).first(),
        "counted_by": _most(ways) or "",
    }


@dataclass(frozen=True)
class LastBag:
    """What the next bag of a lot begins with."""

    values: dict[str, Any]
    """By the names of the form's fields."""
    newest: tuple[Movement, ...]
    """How the newest bags came in, the newest first, with bag and place."""


def last_bag(lot: Lot) -> LastBag:
    """Tell what the last bag of a lot was as it came in.

    Args:
        lot: The lot.

    Returns:
        The same for the next one; of the first bag what a bag of the part usually is.
    """
    came = Movement.objects.filter(lot=lot, kind=MovementKind.RECEIVED)
    newest = tuple(came.select_related("bag", "place").order_by("-pk")[:MOST_OFFERED])
    if not newest:
        usual_one = {"pieces": usual_in(lot.part_id), "container": Container.TOTE}
        return LastBag(usual_one, ())
    last = newest[0]
    values = {
        "pieces": last.pieces,
        "container": last.bag.container,
        "place": last.place_id,
        "counted_by": last.counted_by or "",
    }
    return LastBag(values, newest)


def _most(found: Iterable[H]) -> H | None:
    most = Counter(found).most_common(1)
    return most[0][0] if most else None


def _is_cut(part: int) -> bool:
    """Whether it is set what a material gives of a part, or a lot of it was so made."""
    made = LotOrigin.objects.filter(lot__part=part)
    return Yield.objects.filter(part=part).exists() or made.exists()
