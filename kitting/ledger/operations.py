"""Acts: one transaction, one operation key, one journal entry, done once.

``perform()`` is the only door. It claims the key first, so that a resent act is
answered with its first outcome before any rule could refuse it; then it lets the work
lock, check and write, and seals everything that was written with a link of the hash
chain. The journal head is locked last.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field, fields
from datetime import datetime
from functools import cache
from typing import Any, Final, TypeAlias, TypeVar
from uuid import UUID

from django.conf import settings
from django.db import IntegrityError, OperationalError, connection, transaction

from kitting.domain.errors import OperationKeyReused, Refused
from kitting.ledger import bulk, clock, keys, locking, seals, tied, turns
from kitting.ledger.canon import quote, written
from kitting.ledger.kept import Kept, foreseeing
from kitting.ledger.stencils import Stencil
from kitting.models import Guarded, JournalHead, Link, Operation, User, Workshop

CONFIRM_CLOCK = "confirm_clock"
"""The act that says that the date is right."""
RESTORE = "restore"
"""The act that names the heads which a restored backup leaves behind."""
SURE_OF_THE_DATE = frozenset({CONFIRM_CLOCK, RESTORE})
"""Acts that are done while the date is in doubt: whoever restores looked at it first."""
FORM = 1
"""Version of the canonical form that links hash."""

Entry: TypeAlias = tuple[str, int, str]
"""Label, id and canonical form of a guarded row."""

Outcome = TypeVar("Outcome")


@dataclass(frozen=True)
class Sign:
    """Who does an act, when, where, and under which key."""

    by: User
    key: UUID
    now: datetime | None = None
    """None for what the clock shows when the act has its lock; a demo keeps its own."""
    bench_id: int | None = None
    tablet: str = ""
    """What the tablet carries that it came from, as ``given.mark_of`` gives it."""
    badge_id: int | None = None
    """The badge with which the person signed on there, where it was by one."""


@dataclass
class Act:
    """An act in the making: what it has written so far."""

    operation: Operation
    sign: Sign
    workshop: Workshop
    seen: JournalHead
    """The newest end of the journal as the act began."""
    rows: list[Guarded] = field(default_factory=list)
    entries: list[Entry] = field(default_factory=list)
    """Guarded rows of which only the text was kept."""
    copies: dict[str, dict[int, str]] = field(default_factory=dict)
    """What seals say of rows that were filled in, by table and id."""
    upheld: bool = False
    """Whether it asked the rules of ``ledger.upheld`` itself, for all it touched."""

    @property
    def first(self) -> bool:
        """Whether nothing was ever done before it."""
        return self.seen.seq == 0

    @property
    def now(self) -> datetime:
        """The moment of the act."""
        return self.operation.at

    def write(self, *rows: Guarded) -> None:
        """Insert guarded rows under this act, one statement per table.

        Args:
            *rows: New rows without an operation, in the order of their making.
        """
        tables: dict[type[Guarded], list[Guarded]] = {}
        for row in rows:
            vars(row)["operation_id"] = self.operation.pk  # as the field would, sooner
            row._state.fields_cache["operation"] = self.operation
            tables.setdefault(type(row), []).append(row)
        for batch in tables.values():
            bulk.insert(batch)
        self.rows += rows

    def fill(
        self, rows: Sequence[tuple[Stencil, tuple[int | str, ...]]]
    ) -> Sequence[int]:
        """Insert rows of one table that were written in advance; see ``stencils``.

        Args:
            rows: Each with what stands in its blanks after the id, and in a guarded row
                after the operation.

        Returns:
            Their ids.
        """
        if not rows:
            return ()
        model = rows[0][0].model
        ids = bulk.reserve(model, len(rows))
        guarded = issubclass(model, Guarded)
        first = (self.operation.pk,) if guarded else ()
        filled = [
            (stencil, (pk, *first, *said))
            for pk, (stencil, said) in zip(ids, rows, strict=True)
        ]
        bulk.insert_values(model, [one.values(said) for one, said in filled])
        if guarded:
            label = _label(model)
            self.entries += [(label, said[0], one.text(said)) for one, said in filled]
        else:
            copies = self.copies.setdefault(model._meta.db_table, {})
            copies.update((said[0], one.text(said)) for one, said in filled)
        return ids


def perform(
    name: str,
    work: Callable[[Act], Outcome],
    gives: type[Outcome],
    sign: Sign,
    /,
    **sent: Any,
) -> Outcome:
    """Do an act once and seal it.

    Args:
        name: Name of the act in the journal.
        work: Locks, checks and writes; may raise any ``LotwardError``, and then
            nothing of it stays.
        gives: The frozen dataclass of plain values that the act returns.
        sign: Who, when, where, and the operation key.
        **sent: The input as it was sent, for telling a resent act from another one.

    Returns:
        The outcome; of the first time, where the same act is sent again.

    Raises:
        OperationKeyReused: If the key was used for another act or by somebody else.
        Overtaken: If an act of a later time was sealed while this one waited.
        Refused: ``account_closed``; as ``tied.need_tied`` and ``clock.after``.
    """
    mark = fingerprint(name, sent)
    try:
        with turns.turn(), transaction.atomic(durable=not _REHEARSED.get()):
            act = _claim(name, mark, sign)
            with foreseeing():  # nothing that was read before it has its locks
                outcome = work(act)
                _seal(act, outcome_text(_shown(outcome)))
    except _KeyTaken as taken:
        return gives(**json.loads(_earlier(name, mark, sign, taken).outcome))
    return outcome


_REHEARSED: Final = ContextVar("rehearsed", default=False)


@contextmanager
def rehearsed() -> Iterator[None]:
    """Let acts be done for nothing: all that they write is rolled back in the end."""
    with transaction.atomic(durable=True):
        token = _REHEARSED.set(True)
        try:
            yield
        finally:
            _REHEARSED.reset(token)
            transaction.set_rollback(True)


class Overtaken(OperationalError):
    """An act of a later time was sealed meanwhile: nothing stays, the same again."""

    sqlstate = "40001"
    """A serialization failure (PostgreSQL 15, Appendix A): the record is busy."""


class _KeyTaken(Exception):
    """The key may have an act by now; what this one began is rolled back."""


@dataclass(frozen=True)
class Earlier:
    """What was done under a key."""

    name: str
    """Name of the act in the journal."""
    outcome: dict[str, Any]
    """What it gave, by name."""


def outcome_of(sign: Sign) -> Earlier | None:
    """Look up what was done under a key, before any rule can refuse it again.

    Whether the same thing was sent is for ``perform`` to tell: it knows the input.

    Args:
        sign: Who, where, and the operation key.

    Returns:
        The act and its first outcome; None if nothing was done under the key.

    Raises:
        OperationKeyReused: If somebody else used the key, or the same person did at
            another bench.
    """
    link = _link_of(sign)
    if link is None:
        return None
    done = link.operation
    if not _signed_alike(done, sign):
        raise OperationKeyReused("operation_key_reused", act=done.name)
    return Earlier(done.name, json.loads(link.outcome))


def _link_of(sign: Sign) -> Link | None:
    with connection.cursor() as cursor:
        cursor.execute(_UNDER, [sign.key.bytes])
        found = cursor.fetchone()
    return next(iter(_LINK(*found)), None) if found else None


_UNDER = 'SELECT "id" FROM "kitting_operation" WHERE "key" = %s'
"""Asked before every act: composing it would take longer than all the rest of it."""
_LINK = Kept(lambda pk: Link.objects.select_related("operation").filter(operation=pk))


def _signed_alike(done: Operation, sign: Sign) -> bool:
    return done.by_id == sign.by.pk and done.bench_id == sign.bench_id


def fingerprint(name: str, sent: Mapping[str, Any]) -> bytes:
    """Hash the input of an act as it was sent.

    Args:
        name: Name of the act.
        sent: Plain values, dates and nested lists of them.

    Returns:
        32 bytes.
    """
    return hashlib.sha256(_sent_text([name, sent]).encode()).digest()


def _shown(outcome: Any) -> dict[str, Any]:
    """As ``asdict``, which would copy every list of ten thousand numbers."""
    return {each.name: getattr(outcome, each.name) for each in fields(outcome)}


outcome_text: Callable[[Mapping[str, Any]], str] = json.JSONEncoder(
    sort_keys=True, default=_shown
).encode
"""What an act gave, by name, as its link stores it."""
_sent_text = json.JSONEncoder(sort_keys=True, default=str).encode


def _earlier(name: str, mark: bytes, sign: Sign, taken: _KeyTaken) -> Link:
    link = _link_of(sign)
    if link is None:  # Nothing was done under it: this is why nothing can be.
        raise taken.__cause__ or taken
    done = link.operation
    same = done.name == name and bytes(done.mark) == mark
    if not (same and _signed_alike(done, sign)):
        raise OperationKeyReused("operation_key_reused", act=name)
    return link


def _claim(name: str, mark: bytes, sign: Sign) -> Act:
    """Take the key; on a server one that is being used is waited for.

    What was done under the key is answered before an account, clock or key refuses it.
    """
    try:
        workshop, head, at = _now(name, sign)
    except Refused as error:
        raise _KeyTaken from error
    operation = Operation(
        site=workshop.site,
        key=sign.key.bytes,
        name=name,
        mark=mark,
        by=sign.by,
        by_name=str(sign.by)[:150],
        bench_id=sign.bench_id,
        at=at,
    )
    try:
        bulk.insert([operation])
    except IntegrityError as error:
        raise _KeyTaken from error
    if workshop.version != settings.VERSION:
        Workshop.objects.update(version=settings.VERSION)
    return Act(operation, sign, workshop, head)


def _now(name: str, sign: Sign) -> tuple[Workshop, JournalHead, datetime]:
    at = tied.asked_of(sign) if locking.alone() else []
    workshop = next(iter(locking.BEGUN(sign.by.pk, *at)), None)
    if workshop is None:  # closed while this was on its way
        raise Refused("account_closed", name=str(sign.by))
    head = locking.see_head(workshop)
    if sign.now is not None:
        return workshop, head, sign.now
    sure = name in SURE_OF_THE_DATE
    return workshop, head, clock.after(head.at, workshop, confirming=sure)


def _seal(act: Act, outcome: str) -> None:
    seals.seal(act, first=act.first)
    head = locking.lock_head(act.seen, *tied.asked_of(act.sign))
    # Nobody can end that any more before this act is done.
    tied.need_tied(act.sign, act.workshop if locking.alone() else head)
    overtaken = head.at is not None and head.at - act.now > clock.LEEWAY
    if overtaken and act.sign.now is None:
        raise Overtaken
    if act.first and not _REHEARSED.get():
        keys.make()
    link = next_link(head, act.operation, outcome, act.rows, keys.key(), act.entries)
    bulk.insert([link])
    bulk.update([head], ["seq", "hash", "at"])


def next_link(
    head: JournalHead,
    operation: Operation,
    outcome: str,
    rows: Iterable[Guarded],
    key: bytes | None,
    entries: Iterable[Entry] = (),
) -> Link:
    """Make the link that seals an operation, and move the head on to it in memory.

    Args:
        head: The newest end of the journal, locked.
        operation: The operation, inserted.
        outcome: Its outcome as it is stored.
        rows: The guarded rows that name it.
        key: The server's own, if it has one.
        entries: Others, in their canonical form already.

    Returns:
        The link; neither it nor the head is written yet.
    """
    seq = head.seq + 1
    digest = link_hash(bytes(head.hash), seq, operation, outcome, rows, entries)
    head.seq, head.hash = seq, digest
    head.at = operation.at if head.at is None else max(head.at, operation.at)
    return bulk.fresh(
        Link,
        operation_id=operation.pk,
        site=head.site,
        seq=seq,
        form=FORM,
        outcome=outcome,
        hash=digest,
        keyed=None if key is None else keys.keyed(digest, key),
    )


def link_hash(
    before: bytes,
    seq: int,
    operation: Operation,
    outcome: str,
    rows: Iterable[Guarded],
    entries: Iterable[Entry] = (),
) -> bytes:
    """Hash one link over the link before it, its operation and all it wrote.

    Args:
        before: Hash of the previous link, 32 zero bytes for the first.
        seq: Number of the link, from 1 without gaps.
        operation: The operation.
        outcome: Its outcome as stored.
        rows: The guarded rows that name the operation, links left out; in any order.
        entries: Others of them, in their canonical form already.

    Returns:
        32 bytes.
    """
    every = [
        *entries,
        *(
            (_label(type(row)), vars(row)["id"], written(row))
            for row in rows
            if not isinstance(row, Link)
        ),
    ]
    return entries_hash(before, seq, written(operation), outcome, every)


@cache
def _label(model: type[Guarded]) -> str:
    return model._meta.label_lower


def entries_hash(
    before: bytes,
    seq: int,
    operation: str,
    outcome: str,
    entries: Iterable[Entry],
) -> bytes:
    """Hash one link from rows that are in their canonical form already.

    Args:
        before: Hash of the previous link, 32 zero bytes for the first.
        seq: Number of the link.
        operation: The operation in canonical form, as ``canon.writer`` writes it.
        outcome: Its outcome as stored.
        entries: Label, id and canonical form of each guarded row, in any order.

    Returns:
        32 bytes.
    """
    parts = ", ".join(
        [f'["{label}", {pk}, {row}]' for label, pk, row in sorted(entries)]
    )
    head = f'[{FORM}, "{before.hex()}", {seq}, {operation}, {quote(outcome)}'
    return hashlib.sha256(f"{head}, [{parts}]]".encode()).digest()
