"""Stages of boxes and shipments: their events replayed."""

from __future__ import annotations

from collections.abc import Collection
from typing import TYPE_CHECKING, Any, TypeAlias

from dispatch.models import ShipEvent, Shipment
from dispatch.proving.streams import Row, grouped, rows, side_by_side
from kitting.domain.stages import BOX_MOVES, ShipmentStage
from kitting.models import Box, BoxEvent

if TYPE_CHECKING:
    from collections.abc import Mapping

    from django.db.models import QuerySet

    from dispatch.proving.faults import Tally

_START = "none"
_SHIPMENT_MOVES: dict[str, Collection[str]] = {
    ShipmentStage.OPEN: {ShipmentStage.SENT, ShipmentStage.CALLED_OFF},
    ShipmentStage.SENT: {ShipmentStage.DELIVERED},
}
_Moves: TypeAlias = dict[str, Collection[str]]
_BOX: _Moves = {_START: {"open"}, **{str(k): v for k, v in BOX_MOVES.items()}}
_SHIPMENT: _Moves = {_START: {"open"}, **_SHIPMENT_MOVES}


def boxes(tally: Tally) -> None:
    """Replay the events of every box up to the stage it is in.

    Args:
        tally: Where events are counted and faults noted.
    """
    _replay_all(tally, Box.objects.all(), BoxEvent.objects.all(), "box_id", _BOX)


def shipments(tally: Tally) -> None:
    """Replay the events of every shipment up to the stage it is in.

    Args:
        tally: Where events are counted and faults noted.
    """
    every, events = Shipment.objects.all(), ShipEvent.objects.all()
    _replay_all(tally, every, events, "shipment_id", _SHIPMENT)


def _replay_all(
    tally: Tally,
    owners: QuerySet[Any],
    events: QuerySet[Any],
    owner: str,
    allowed: Mapping[str, Collection[str]],
) -> None:
    table, event_table = owners.model._meta.db_table, events.model._meta.db_table
    things = owners.order_by("pk").values_list("pk", "stage", "events_seen")
    made = events.order_by(owner, "nth").values_list(
        owner, "pk", "nth", "before", "after"
    )
    for pk, (thing, steps) in side_by_side(grouped(rows(things)), grouped(rows(made))):
        tally.count += len(steps)
        last = _replay(tally, event_table, steps, allowed)
        for stage, seen in thing:
            tally.same(table, pk, "The events lead to another stage.", last, stage)
            tally.same(table, pk, "Events are missing or added.", len(steps), seen)


def _replay(
    tally: Tally, table: str, steps: list[Row], allowed: Mapping[str, Collection[str]]
) -> str:
    stage = _START
    for nth, (pk, found_nth, before, after) in enumerate(steps, start=1):
        tally.same(table, pk, "The event is out of turn.", nth, found_nth)
        words = "The event does not begin where the one before it ended."
        tally.same(table, pk, words, stage, before or _START)
        if after not in allowed.get(before or _START, ()):
            tally.add(
                table,
                pk,
                "No such change of stage is allowed.",
                " or ".join(sorted(allowed.get(before or _START, ()))) or "none",
                f"{before or _START} to {after}",
            )
        stage = after
    return stage
