"""What is on what: put on and taken off by turns, and live as the last scan left it."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet

from kitting.ledger.proof.faults import Tally
from kitting.ledger.proof.streams import Ids, grouped, only, rows, side_by_side


def by_turns(
    tally: Tally,
    there: QuerySet[Any],
    scans: QuerySet[Any],
    ids: Ids = None,
    *,
    of: str,
    beside: tuple[str, ...] = (),
) -> None:
    """A box is on a thing if its last scan put it there, by turns on and off.

    Args:
        tally: Where scans are counted and faults noted.
        there: The rows of boxes on things: ``live``, a box, the thing.
        scans: Their scans: ``on``, a box, the thing.
        ids: The things; None for all of them.
        of: What the thing is.
        beside: What else the last scan that put it on says, and the row with it.
    """
    columns = [f"{name}_id" for name in beside]
    key = (f"{of}_id", "box_id")
    on = only(there.order_by(*key), key[0], ids).values_list(
        *key, "pk", "live", *columns
    )
    turned = only(scans.order_by(*key, "pk"), key[0], ids)
    scanned = turned.values_list(*key, "on", *columns)
    table, nothing = there.model._meta.db_table, [None] * len(columns)
    streams = grouped(rows(on), width=2), grouped(rows(scanned), width=2)
    for (thing, box), (row, made) in side_by_side(*streams):
        tally.count += len(made)
        turns = [put_on for put_on, *_said in made]
        if turns != [nth % 2 == 0 for nth in range(len(turns))]:
            tally.add(
                scans.model._meta.db_table,
                None,
                f"Box {box} was not scanned on and off {of} {thing} by turns.",
                "on, off, on",
                ", ".join("on" if put_on else "off" for put_on in turns),
            )
        pk, live, *stands = row[0] if row else (None, None, *nothing)
        tally.same(
            table,
            pk,
            f"Scans and {of} {thing} do not agree on box {box}.",
            _how(on=turns[-1] if turns else None),
            _how(on=live),
        )
        said = next((each[1:] for each in reversed(made) if each[0]), nothing)
        for what, right, found in zip(beside, said, stands, strict=True):
            words = f"On {of} {thing} box {box} has another {what}."
            tally.same(table, pk, words, right, found)


def _how(*, on: bool | None) -> str:
    return "never on" if on is None else "on" if on else "off"
