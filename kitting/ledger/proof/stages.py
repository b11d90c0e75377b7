"""Stages of anything that has events: the events replayed."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import Any

from django.db.models import QuerySet

from kitting.ledger.proof.faults import Tally
from kitting.ledger.proof.streams import Row, grouped, rows, side_by_side

_START = "none"


def replay(
    tally: Tally,
    owners: QuerySet[Any],
    events: QuerySet[Any],
    owner: str,
    allowed: Mapping[Any, Collection[str]],
) -> None:
    """Replay the events of every owner up to the stage it is in.

    Args:
        tally: Where events are counted and faults noted.
        owners: What has stages: ``stage``, ``events_seen``.
        events: Its events.
        owner: Their column that names the owner.
        allowed: The stages that may follow each stage; the first is "open".
    """
    allowed = {_START: {"open"}, **{str(k): v for k, v in allowed.items()}}
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
