"""Acts of the journal: some of them, newest first, and one whole."""

from __future__ import annotations

import json
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import groupby
from operator import attrgetter
from typing import Any, Final

from django.db.models import Count, F, Max, Min, Model, QuerySet, Value

from dispatch.journal.acts import said
from dispatch.journal.queries.things import KINDS, Named, about, acts_with
from kitting.ledger.canon import canonical
from kitting.ledger.kept import KeptLines
from kitting.ledger.proof.chain import sealed_models
from kitting.ledger.proof.heads import DIGITS
from kitting.ledger.seals import sealed_models as changing
from kitting.models import JournalHead, Link, Operation, RowSeal
from kitting.web import keyset
from kitting.web.keyset import Order, Page

ROWS: Final = 50
"""Acts on a page, and rows of a table that an act's page shows."""
MOST_TOLD: Final = 2
"""Things that a line says."""


@dataclass(frozen=True)
class Filters:
    """What the journal is asked for; what is empty does not filter."""

    since: datetime | None = None
    """First moment."""
    until: datetime | None = None
    """First moment that is too late."""
    name: str = ""
    by_id: int | None = None
    things: Sequence[Model] | None = None


@dataclass(frozen=True)
class Line:
    """One act, as a line of the journal."""

    operation: Operation
    link: Link
    words: str
    about: list[Named]

    @property
    def mark(self) -> str:
        """The first digits of the hash, as they are printed."""
        return _mark(self.link.hash)


@dataclass(frozen=True)
class Head:
    """The newest link."""

    seq: int
    """Its number; 0 where nothing was done yet."""
    mark: str


def head(site: int) -> Head:
    """Read the head of the journal.

    Args:
        site: The workshop's site.

    Returns:
        Its number, and the first digits of its hash.
    """
    newest = JournalHead.objects.get(site=site)
    return Head(newest.seq, _mark(newest.hash))


def _mark(digest: bytes | memoryview) -> str:
    return bytes(digest).hex()[:DIGITS]


def _with_link(seq: str) -> Operation | None:
    if not (seq.isdecimal() and len(seq) < 16):
        return None
    return Operation.objects.filter(link__seq=seq).first()


# An act has its id before its link, and both only ever grow.
ORDER: Final = Order(("pk",), "link.seq", _with_link)
"""The order of the journal; an address names an act by the number of its link."""


def page_of(filters: Filters, asked: Mapping[str, Any]) -> Page[Operation]:
    """Read one page of the journal.

    Args:
        filters: What is asked for.
        asked: Where the page begins, as it stands in the address.

    Returns:
        Its acts, newest first.
    """
    found = Operation.objects.all()
    if filters.since is not None:
        found = found.filter(at__gte=filters.since)
    if filters.until is not None:
        found = found.filter(at__lt=filters.until)
    if filters.name:
        found = found.filter(name=filters.name)
    if filters.by_id is not None:
        found = found.filter(by=filters.by_id)
    if filters.things:
        found = found.filter(pk__in=acts_with(filters.things))
    # What has no link is named by a proof, and is on no page.
    found = found.filter(link__isnull=False).select_related("link", "bench")
    return keyset.page_of(found, ORDER, asked, ROWS)


def lines_of(operations: Collection[Operation]) -> list[Line]:
    """Say acts as lines, with what each is about.

    Args:
        operations: Acts with their links.

    Returns:
        A line for each.
    """
    things = about([each.pk for each in operations])
    return [
        Line(each, each.link, said(each.name), _telling(_of(each.link, things)))
        for each in operations
    ]


def _of(link: Link, things: Mapping[int, list[Named]]) -> list[Named]:
    """What an act is about; by its outcome where it wrote no row that names anything."""
    gave = _gave(link)
    named = ((kind, gave.get(str(kind.model._meta.model_name))) for kind in KINDS)
    return things.get(link.operation_id) or [
        Named(kind, name, many=False)
        for kind, name in named
        if isinstance(name, str) and name
    ]


def _gave(link: Link) -> dict[str, Any]:
    try:
        gave = json.loads(link.outcome)
    except ValueError:  # a proof names the link
        return {}
    return gave if isinstance(gave, dict) else {}


def _telling(things: list[Named]) -> list[Named]:
    """What there is one of says more than the first of many."""
    alone = [each for each in things if not each.many]
    return (alone or things[:1])[:MOST_TOLD]


@dataclass(frozen=True)
class Table:
    """What an act wrote into one table."""

    name: str
    columns: list[str]
    rows: list[list[str]]
    more: int
    """Rows that are not shown."""
    changed: bool = False
    """Whether its rows may change: they are as the act left them."""


@dataclass(frozen=True)
class Whole:
    """All that is on record of one act."""

    line: Line
    newest: int
    """Number of the newest link."""
    before: str
    """Hash of the link before it; empty for the first."""
    tables: list[Table]

    @property
    def seq(self) -> int:
        """The number of its link."""
        return self.line.link.seq

    @property
    def seq_before(self) -> int:
        """The number of the act before; 0 for the first."""
        return self.seq - 1

    @property
    def seq_after(self) -> int:
        """The number of the act after; 0 for the newest."""
        return self.seq + 1 if self.seq < self.newest else 0

    @property
    def hashes(self) -> tuple[list[str], list[str]]:
        """Its hash and the one before, each in parts as long as the printed one."""
        return _parts(bytes(self.line.link.hash).hex()), _parts(self.before)

    @property
    def outcome(self) -> list[tuple[str, str]]:
        """What it gave, by name."""
        gave = _gave(self.line.link)
        return [(name, plain(value)) for name, value in gave.items()]


def _parts(digits: str) -> list[str]:
    return [digits[at : at + DIGITS] for at in range(0, len(digits), DIGITS)]


def plain(value: object) -> str:
    """Write a value as it is sealed; a text without its quotation marks."""
    return value if isinstance(value, str) else json.dumps(value)


def whole(link: Link) -> Whole:
    """Read all that is on record of one act.

    Args:
        link: Its link, with its operation and bench.

    Returns:
        The act, and what it wrote.
    """
    operation = link.operation
    before = Link.objects.filter(site=link.site, seq=link.seq - 1).first()
    things = _of(link, about([operation.pk]))
    return Whole(
        line=Line(operation, link, said(operation.name), things),
        newest=head(link.site).seq,
        before=bytes(before.hash).hex() if before else "",
        tables=_tables(operation),
    )


def _tables(operation: Operation) -> list[Table]:
    models = _written_once()
    found = sorted(_COUNTS(operation.pk))
    tables = [_table(operation, models[at], count) for at, count in found]
    return [*tables, *_sealed(operation)]


def _written_once() -> list[type[Model]]:
    return [model for model in sealed_models() if model is not RowSeal]


def _counts(operation: int) -> QuerySet[Any, Any]:
    counted = [
        model._default_manager.filter(operation=operation)
        .order_by()
        .values("operation_id")
        .annotate(at=Value(at), count=Count("pk"))
        .values_list("at", "count")
        for at, model in enumerate(_written_once())
    ]
    lines: QuerySet[Any, Any] = counted[0].union(*counted[1:], all=True)
    return lines


_COUNTS = KeptLines(_counts)


def _table(operation: Operation, model: type[Model], count: int) -> Table:
    found = model._default_manager.filter(operation=operation).order_by("pk")[:ROWS]
    rows = [dict(canonical(row)) for row in found]
    return _laid_out(model, rows, count - len(rows))


def _laid_out(model: type[Model], rows: list[dict[str, Any]], more: int) -> Table:
    filled = {name for row in rows for name in row} - {"operation_id"}
    columns = ["id", *sorted(filled - {"id"})]
    shown = [[plain(row.get(name, "")) for name in columns] for row in rows]
    return Table(str(model._meta.verbose_name), columns, shown, more)


def _sealed(operation: Operation) -> list[Table]:
    """The rows that may change, as the act left them."""
    seals = RowSeal.objects.filter(operation=operation).order_by("of", "row")
    shown = list(seals[:ROWS])
    more = seals.count() - ROWS if len(shown) == ROWS else 0
    tables = []
    for of, some in groupby(shown, key=attrgetter("of")):
        rows = [json.loads(seal.text or f'{{"id": {seal.row}}}') for seal in some]
        tables.append(replace(_laid_out(changing()[of], rows, 0), changed=True))
    return [*tables[:-1], *(replace(last, more=more) for last in tables[-1:])]


def links_between(
    since: datetime | None, until: datetime | None
) -> tuple[int, int] | None:
    """Find the first and last link of a period.

    Args:
        since: First moment; None for the beginning.
        until: First moment that is too late; None for the end.

    Returns:
        Their numbers; None if nothing was done in it.
    """
    found = Link.objects.all()
    if since is not None:
        found = found.filter(operation__at__gte=since)
    if until is not None:
        found = found.filter(operation__at__lt=until)
    ends = found.aggregate(first=Min(F("seq")), last=Max(F("seq")))
    return (ends["first"], ends["last"]) if ends["first"] else None
