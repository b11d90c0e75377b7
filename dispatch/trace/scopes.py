"""What a trace of a lot, bag, run, box, pallet or shipment takes in."""

from __future__ import annotations

from collections.abc import Set
from dataclasses import dataclass, field
from typing import Any

from django.db.models import Model, Q, QuerySet
from django.db.models.expressions import RawSQL

from dispatch.models import Pallet, Shipment
from dispatch.trace.siblings import lots_alike
from kitting.models import Bag, Box, BoxLine, Lot, Run, RunBag


@dataclass(frozen=True)
class Scope:
    """Filters that select what a trace shows; each stands for a query of its own."""

    lines: Q
    lots: Q
    bags: Q
    runs: Q
    own: Q
    """Of the lines, those with pieces of the thing itself."""
    roles: dict[int, str] = field(default_factory=dict)


def roots_of(row: Model | None, alike: str = "") -> tuple[str, set[int]]:
    """What a trace of a thing begins with, for ``reach_of``.

    Args:
        row: The thing.
        alike: In what other lots are like it that are traced along, if any are; see
            ``siblings.ALIKE``.

    Returns:
        Whether they are lots or bags, and their ids; none of anything else.
    """
    if isinstance(row, Bag):
        return "bag", {row.pk}
    if isinstance(row, Lot):
        return "lot", {row.pk, *(lots_alike(row, alike) if alike else ())}
    return "lot", set()


def scope_of(row: Model | None, own: set[int], reached: Set[int]) -> Scope | None:
    """What a trace of a thing takes in.

    Args:
        row: The thing.
        own: The ids of ``roots_of`` it.
        reached: What was made from these lots, or these bags were repacked into; these
            themselves are among it.

    Returns:
        The scope; None for what holds no pieces, such as a place.
    """
    if isinstance(row, Lot):
        return _of_lots(own, reached)
    if isinstance(row, Bag):
        return _of_bag(row, reached)
    if isinstance(row, Run):
        return _of_run(row)
    if isinstance(row, Box):
        return _of_boxes(Q(box=row.pk))
    if isinstance(row, Shipment | Pallet):
        on = row.shipment_boxes if isinstance(row, Shipment) else row.pallet_boxes
        return _of_boxes(Q(box__in=on.filter(live=True).values("box")))
    return None


def _of_lots(own: set[int], reached: Set[int]) -> Scope:
    stays = RunBag.objects.filter(bag__lot__in=reached).values("run")
    lots = Lot.objects.filter(pk__in=own).values("pk")
    return Scope(
        lines=Q(lot__in=reached),
        lots=Q(pk__in=reached) | _went_into(lots),
        bags=Q(lot__in=reached),
        runs=Q(pk__in=stays),
        own=Q(lot__in=own),
        roles=dict.fromkeys(reached, "made from it") | dict.fromkeys(own, "traced"),
    )


def _of_bag(bag: Bag, reached: Set[int]) -> Scope:
    stays = RunBag.objects.filter(bag__in=reached).values("run")
    return Scope(
        lines=Q(bag__in=reached),
        own=Q(bag=bag.pk),
        lots=_and_what_went_into(Lot.objects.filter(pk=bag.lot_id).values("pk")),
        bags=Q(pk__in=reached),
        runs=Q(pk__in=stays),
    )


def _of_run(run: Run) -> Scope:
    bags = RunBag.objects.filter(run=run).values("bag")
    lots = RunBag.objects.filter(run=run).order_by().values("bag__lot")
    return Scope(
        lines=Q(run=run.pk),
        own=Q(run=run.pk),
        lots=_and_what_went_into(lots),
        bags=Q(pk__in=bags),
        runs=Q(pk=run.pk),
    )


def _of_boxes(lines: Q) -> Scope:
    inside = BoxLine.objects.filter(lines)
    return Scope(
        lines=lines,
        own=lines,
        lots=_and_what_went_into(inside.order_by().values("lot")),
        bags=Q(pk__in=inside.values("bag")),
        runs=Q(pk__in=inside.filter(run__isnull=False).values("run")),
    )


def _and_what_went_into(lots: QuerySet[Any, Any]) -> Q:
    return Q(pk__in=lots) | _went_into(lots)


def _went_into(lots: QuerySet[Any, Any]) -> Q:
    """The lots that went into lots, down to raw material, however many generations."""
    of_these, values = lots.query.sql_with_params()
    sql = (
        "WITH RECURSIVE used(lot) AS ("  # noqa: S608 -- composed by Django
        f" SELECT from_lot_id FROM kitting_lotorigin WHERE lot_id IN ({of_these})"
        " UNION SELECT origin.from_lot_id FROM kitting_lotorigin AS origin"
        " JOIN used ON origin.lot_id = used.lot) SELECT lot FROM used"
    )
    return Q(pk__in=RawSQL(sql, values))  # noqa: S611 -- ours, with its values apart
