"""Writes acts into the journal in bulk: the same rows and hashes, many at a time."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from datetime import date, datetime, timedelta
from random import Random
from typing import Any, Final, TypeVar
from zoneinfo import ZoneInfo

from django.db.models import Model

from dispatch.models import Shipment, ShipmentBox
from kitting.domain.numbers import SEQUENCES, Kind, assigned, read
from kitting.ledger import bulk
from kitting.ledger.operations import fingerprint, next_link
from kitting.ledger.seals import copy, sealed_columns
from kitting.lots.steps.bags import KEPT_FIELDS
from kitting.models import (
    Bag,
    Bench,
    Box,
    BoxLine,
    Counter,
    Guarded,
    JournalHead,
    Link,
    Lot,
    OpenBag,
    Operation,
    RowSeal,
    Run,
    RunBag,
    Touched,
    User,
)

M = TypeVar("M", bound=Model)

THINGS: Final[dict[type[Model], tuple[str, ...]]] = {
    Operation: (),
    Lot: (),
    Bag: KEPT_FIELDS,
    Run: ("stage", "closed_at"),
    RunBag: ("off_at", "live"),
    Box: (
        *("stage", "events_seen", "place", "packed_on", "use_by", "batch"),
        *("serial", "sscc", "closed_at", "label_seen_at"),
    ),
    Shipment: (),
    ShipmentBox: (),
    OpenBag: (),
    Counter: ("next",),
}
"""Tables in the order in which rows go in, and what acts of a later batch change."""


class Pen:
    """What was written since the last batch, and the end of the journal in memory."""

    def __init__(self, luck: Random, pace: timedelta, zone: ZoneInfo) -> None:
        self.luck = luck
        self.pace = pace
        """How long an act takes at least."""
        self.zone = zone
        self.head = JournalHead.objects.get()
        assert self.head.at is not None  # noqa: S101 -- the catalogue was loaded
        self.now: datetime = self.head.at
        self._counters = {each.name: each for each in Counter.objects.all()}
        self.site = self.head.site
        self._ids: dict[type[Model], Iterator[int]] = {}
        self._new: dict[type[Model], list[Any]] = defaultdict(list)
        self._changed: dict[type[Model], dict[int, Any]] = defaultdict(dict)

    # -- Rows ----------------------------------------------------------------------

    def made(self, row: M) -> M:
        """Give a new row its id; it goes in with the batch, as it is by then."""
        model = type(row)
        if model not in self._ids:
            self._ids[model] = iter(bulk.reserve(model, _AT_ONCE))
        row.pk = next(self._ids[model])
        self._new[model].append(row)
        return row

    def changed(self, *rows: Model) -> None:
        """Note rows that changed; those that are new go in as they are anyway."""
        for row in rows:
            if not row._state.adding:
                self._changed[type(row)][row.pk] = row

    def numbers(self, kind: Kind, count: int = 1) -> tuple[list[str], Counter]:
        """Take numbers of a kind; the counter is what the act touched."""
        counter = self._counters[kind.name.lower()]
        ahead = assigned(kind, self.site, range(counter.next, SEQUENCES.stop))
        taken = [next(ahead) for _ in range(count)]
        counter.next = read(taken[-1]).sequence + 1
        self.changed(counter)
        return taken, counter

    def sscc_reference(self) -> tuple[int, Counter]:
        """Take the next reference of an SSCC."""
        counter = self._counters["sscc"]
        taken = counter.next
        counter.next += 1
        self.changed(counter)
        return taken, counter

    # -- Acts ----------------------------------------------------------------------

    def wait_until(self, moment: datetime) -> None:
        """Let a moment come; nothing happens if it is past already."""
        self.now = max(self.now, moment)

    @property
    def today(self) -> date:
        """The day of ``now`` at the workshop."""
        return self.now.astimezone(self.zone).date()

    def begins(self) -> datetime:
        """Let the next act begin, and give its moment."""
        self.now += self.pace
        return self.now

    def act(
        self,
        name: str,
        by: User,
        outcome: Any,
        rows: Iterable[Guarded],
        touched: Iterable[Model],
        bench: Bench | None,
        sent: Mapping[str, Any],
    ) -> None:
        """Write an act that was done at ``now``.

        Args:
            name: Its name.
            by: Who did it.
            outcome: What it gave.
            rows: The guarded rows that it wrote.
            touched: The rows whose sealed columns it made or changed, as it left them.
            bench: Where.
            sent: What was sent.
        """
        operation = self.made(
            Operation(
                site=self.site,
                key=self.luck.randbytes(16),
                name=name,
                mark=fingerprint(name, sent),
                by_id=by.pk,
                by_name=str(by)[:150],
                bench_id=None if bench is None else bench.pk,
                at=self.now,
            )
        )
        written = [*rows, *map(_seal, touched)]
        for row in written:
            row.operation_id = operation.pk
            if row.pk is None:
                self.made(row)
        said = json.dumps(vars(outcome), sort_keys=True)
        self.made(next_link(self.head, operation, said, written))

    def put_down(self) -> None:
        """Write the batch: rows of things first, guarded ones, changes, the head."""
        with bulk.undisturbed():
            others = [m for m in self._new if m not in THINGS and m is not Link]
            order: list[type[Model]] = [*THINGS, *others, Link]
            # A run that ended gives its line to one that is begun in the same batch.
            ended = self._changed.pop(Run, {})
            bulk.update(list(ended.values()), THINGS[Run])
            for model in order:
                rows = self._new.pop(model, [])
                if model is Box:
                    self._put_boxes(rows, self._new.pop(BoxLine, []))
                else:
                    bulk.insert_numbered(rows)
            for model, changed in self._changed.items():
                bulk.update(list(changed.values()), THINGS[model])
            bulk.update([self.head], ["seq", "hash", "at"])
            # What was touched is sealed by the acts that were written.
            Touched.objects.all().delete()
        self._changed.clear()
        self._ids.clear()

    def _put_boxes(self, boxes: list[Box], lines: list[BoxLine]) -> None:
        """Open each box, fill it and close it: the database keeps that order."""
        inside = defaultdict(list)
        for line in lines:
            inside[line.box_id].append(line)
        for some in _side_by_side(boxes):
            bulk.insert_numbered(
                [
                    Box(**{name: getattr(box, name) for name in _OPENED}, events_seen=1)
                    for box in some
                ]
            )
            bulk.insert_numbered([line for box in some for line in inside[box.pk]])
            for box in some:
                box._state.adding = False
            bulk.update(some, THINGS[Box])


def _side_by_side(boxes: Iterable[Box]) -> Iterator[list[Box]]:
    """Boxes in their order, no two of a bench at once: one is open at each."""
    some: dict[int | None, Box] = {}
    for box in boxes:
        if box.bench_id in some:
            yield list(some.values())
            some = {}
        some[box.bench_id] = box
    yield list(some.values())


_OPENED: Final = ("id", "number", "recipe_id", "size_id", "bench_id")
_AT_ONCE: Final = 10_000
"""Ids reserved at once; a batch has fewer rows of any table."""


def _seal(row: Model) -> RowSeal:
    names = sealed_columns(type(row))
    text = copy(names, [getattr(row, name) for name in names])
    return RowSeal(of=row._meta.db_table, row=row.pk, text=text)
