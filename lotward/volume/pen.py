"""Writes acts into the journal in bulk: the same rows and hashes, many at a time."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date, datetime, timedelta
from functools import cache
from operator import itemgetter
from random import Random
from typing import Any, Final, TypeVar
from zoneinfo import ZoneInfo

from django.db.models import Model

from dispatch.models import Shipment, ShipmentBox
from kitting.domain.numbers import Kind, assign
from kitting.ledger import bulk, keys
from kitting.ledger.canon import Take, taken
from kitting.ledger.operations import fingerprint, next_link, outcome_text
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
    Lot: (),
    # A bag names the run that cleared it; what names a row that is not there yet has
    # SQLite look through all that could, for each row that goes in.
    Run: ("stage", "closed_at"),
    Bag: KEPT_FIELDS,
    RunBag: ("off_at", "live"),
    Box: ("stage", "events_seen"),
    BoxLine: (),
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
        self._key = keys.key()
        self._counters = {each.name: each for each in Counter.objects.all()}
        self.site = self.head.site
        self._ids: dict[type[Model], Iterator[int]] = {}
        self._new: dict[type[Model], list[Any]] = defaultdict(list)
        self._done: dict[type[Model], list[Sequence[Any]]] = defaultdict(list)
        self._changed: dict[type[Model], dict[int, Any]] = defaultdict(dict)

    # -- Rows ----------------------------------------------------------------------

    def made(self, row: M) -> M:
        """Give a new row its id; it goes in with the batch, as it is by then."""
        self.numbered(row)
        self._new[type(row)].append(row)
        return row

    def numbered(self, row: Model) -> int:
        """Give a row its id that goes in with the act that wrote it."""
        model = type(row)
        if model not in self._ids:
            self._ids[model] = iter(bulk.reserve(model, _AT_ONCE))
        given = vars(row)["id"] = next(self._ids[model])
        return given

    def changed(self, *rows: Model) -> None:
        """Note rows that changed; those that are new go in as they are anyway."""
        for row in rows:
            if not row._state.adding:
                self._changed[type(row)][row.pk] = row

    def numbers(self, kind: Kind, count: int = 1) -> tuple[list[str], Counter]:
        """Take numbers of a kind; the counter is what the act touched."""
        counter = self._counters[kind.name.lower()]
        given: list[str] = []
        while len(given) < count:
            number = assign(kind, self.site, counter.next)
            counter.next += 1
            given += [number] if number else []
        self.changed(counter)
        return given, counter

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
        operation = bulk.fresh(
            Operation,
            site=self.site,
            key=_key(self.now, self.luck),
            name=name,
            mark=fingerprint(name, sent),
            by_id=by.pk,
            by_name=str(by)[:150],
            bench_id=None if bench is None else bench.pk,
            at=self.now,
        )
        act = self.numbered(operation)
        written = [*rows, *map(_seal, touched)]
        for row in written:
            kept = vars(row)
            kept["operation_id"] = act
            if kept["id"] is None:
                self.numbered(row)
        said = outcome_text(vars(outcome))
        link = next_link(self.head, operation, said, written, self._key)
        self.numbered(link)
        # Nothing changes these any more, and their values take a tenth of the room.
        for done in (operation, *written, link):
            model = type(done)
            self._done[model].append(bulk.values_of(model)(done))

    def put_down(self) -> None:
        """Write the batch: rows of things first, guarded ones, changes, the head."""
        # A run that ended gives its line to one that is begun in the same batch.
        ended = self._changed.pop(Run, {})
        bulk.update(list(ended.values()), THINGS[Run])
        bulk.insert_values(Operation, self._done.pop(Operation))
        for model in THINGS:
            rows = self._new.pop(model, [])
            if model is Box:
                self._put_boxes(rows, self._new.pop(BoxLine, []))
            else:
                bulk.insert_numbered(rows)
        for model, values in self._done.items():
            bulk.insert_values(model, values)
        for model, changed in self._changed.items():
            bulk.update(list(changed.values()), THINGS[model])
        bulk.update([self.head], ["seq", "hash", "at"])
        # What was touched is sealed by the acts that were written.
        Touched.objects.all().delete()
        self._done.clear()
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
            bulk.update(some, _CLOSED)


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
_CLOSED: Final = (
    *("stage", "events_seen", "place_id", "packed_on", "use_by", "batch"),
    *("serial", "sscc", "closed_at", "label_seen_at"),
)
_AT_ONCE: Final = 20_000
"""Ids reserved at once; a batch has fewer rows of any table."""


def _key(at: datetime, luck: Random) -> bytes:
    """The key of an act: later ones follow, so that they go in at the end of the index.

    It is a UUID of version 7 (RFC 9562, section 5.7).
    """
    ms = int(at.timestamp() * 1000)
    drawn = ms << 80 | luck.getrandbits(80)
    return (drawn & ~_FIXED | _VERSION_7).to_bytes(16, "big")


_FIXED: Final = 0xF << 76 | 0x3 << 62
_VERSION_7: Final = 0x7 << 76 | 0x2 << 62


def _seal(row: Model) -> RowSeal:
    table, names, take = _sealing(type(row))
    text = copy(names, taken(row, take))
    return bulk.fresh(RowSeal, of=table, row=vars(row)["id"], text=text)


@cache
def _sealing(model: type[Model]) -> tuple[str, tuple[str, ...], Take]:
    names = sealed_columns(model)
    return model._meta.db_table, names, itemgetter(*names)
