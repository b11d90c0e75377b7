"""The only place that locks rows, opens gates and takes snapshots.

Order inside an act: gate, lots, bags, runs, boxes, pallets, consignees, products,
shipments, requests, counters, journal head.
On SQLite every transaction is a write lock from its start (IMMEDIATE), so row locks
and gates are no-ops there.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from functools import cache
from typing import Final, TypeVar

from django.db import connection, transaction
from django.db.models import Exists, Model, OuterRef, QuerySet, Subquery

from kitting.domain.errors import Missing
from kitting.ledger.kept import Kept, Value
from kitting.ledger.tied import with_tied
from kitting.models import JournalHead, User, Workshop

M = TypeVar("M", bound=Model)

GATE = 9_521_234
"""Key of the advisory lock between packing or sending and holds.

Our own number, the company prefix of the demo workshop: PostgreSQL keeps such keys by
database, so it only has to differ from those of other programs in the same one.
"""


def _need_transaction() -> None:
    if not connection.in_atomic_block:
        raise RuntimeError("Locking needs an open transaction.")


def lock_rows(model: type[M], ids: Iterable[int], *beside: str) -> dict[int, M]:
    """Lock rows in the order of their ids and read them afresh.

    Args:
        model: The table.
        ids: Primary keys, in any order, repeats allowed.
        *beside: Relations to read in the same query; their rows are not locked.

    Returns:
        The rows by primary key.

    Raises:
        Missing: If a row is not there.
        RuntimeError: Outside a transaction.
    """
    _need_transaction()
    wanted = sorted(set(ids))
    if not wanted:
        return {}
    found = {row.pk: row for row in by_id(model, *beside)(*wanted)}
    if len(found) != len(wanted):
        raise Missing("row_missing", what=model._meta.model_name or "")
    return found


@cache
def by_id(model: type[M], *beside: str) -> Kept[M]:
    """What ``lock_rows`` asks with ids in their order, so that it can be foreseen."""

    def rows(*ids: int) -> QuerySet[M]:
        return _locked(model._default_manager.filter(pk__in=ids), *beside)

    return Kept(rows)


def lock_row(model: type[M], pk: int, *beside: str) -> M:
    """Lock one row and read it afresh; see ``lock_rows``.

    Args:
        model: The table.
        pk: Its primary key.
        *beside: Relations to read in the same query.

    Returns:
        The row.
    """
    return lock_rows(model, [pk], *beside)[pk]


def lock_found(rows: QuerySet[M], *beside: str) -> list[M]:
    """Lock whatever rows a query finds, in the order of their ids.

    A condition on the rows' own columns still holds once they are locked. One that
    joins another table may have changed while the lock was waited for: ask again.

    Args:
        rows: The query.
        *beside: Relations to read in the same query; their rows are not locked.

    Returns:
        The rows; there may be none.

    Raises:
        RuntimeError: Outside a transaction.
    """
    _need_transaction()
    return list(_locked(rows, *beside))


def finding(compose: Callable[..., QuerySet[M]], *beside: str) -> Finding[M]:
    """Make a ``lock_found`` whose statement is kept; see ``Kept``.

    Args:
        compose: Gives the query for some values.
        *beside: As for ``lock_found``.

    Returns:
        What locks and reads the rows for such values.
    """
    return Finding(lambda *values: _locked(compose(*values), *beside))


class Finding(Kept[M]):
    """A kept query that locks the rows which it finds."""

    def __call__(self, *values: Value) -> list[M]:
        """Ask the query; needs a transaction."""
        _need_transaction()
        return super().__call__(*values)


def _locked(rows: QuerySet[M], *beside: str) -> QuerySet[M]:
    locked = rows.select_for_update(of=("self",), no_key=True).order_by("pk")
    return locked.select_related(*beside) if beside else locked


def lock_head(seen: JournalHead, *at: int) -> JournalHead:
    """Lock the newest end of the journal; the last lock of every act.

    Args:
        seen: The head as this transaction saw it.
        *at: What is read beside it, as ``tied.asked_of`` gives it.

    Returns:
        The head as it is now. On SQLite that is the same: nobody else writes meanwhile.
    """
    _need_transaction()
    if alone():
        return seen
    (head,) = _HEAD(seen.site, *at)
    if at and head.seq != head.seq_before:  # others ended while this was waited for:
        (head,) = _HEAD(seen.site, *at)  # only now it is told what they left beside it
    return head


def alone() -> bool:
    """Whether nobody else writes while a transaction lasts: what it read still holds."""
    return connection.vendor == "sqlite"


def see_head(workshop: Workshop) -> JournalHead:
    """The newest end of the journal, as far as it is written; locks nothing.

    Args:
        workshop: The workshop, read ``WITH_HEAD``.

    Returns:
        The head, as it was then.
    """
    return JournalHead(
        id=workshop.newest_id,
        site=workshop.site,
        seq=workshop.newest_seq or 0,
        hash=workshop.newest_hash,
        at=workshop.newest_at,
    )


_OF_SITE = JournalHead.objects.filter(site=OuterRef("site"))
WITH_HEAD: Final = {
    f"newest_{name}": Subquery(_OF_SITE.values(name))
    for name in ("id", "at", "seq", "hash")
}
"""What is read with the workshop: the newest end of its journal."""


def _with_open(pk: int, *at: int) -> QuerySet[Workshop]:
    account = User.objects.filter(pk=pk, is_active=True)
    found = Workshop.objects.annotate(**WITH_HEAD).filter(Exists(account), pk=1)
    return with_tied(found, *at) if at else found


BEGUN: Final = Kept(_with_open)
"""All that an act begins with: the workshop, if the account is open, by one question."""


def begins_with(by: User) -> list[tuple[Kept[Workshop], int]]:
    """What an act of somebody asks before it has any lock, to be foreseen.

    Args:
        by: Who does it.

    Returns:
        Nothing on SQLite, where an act has its lock before it asks.
    """
    return [] if alone() else [(BEGUN, by.pk)]


_BEFORE: Final = {"seq_before": Subquery(_OF_SITE.values("seq"))}


def _head(site: int, *at: int) -> QuerySet[JournalHead]:
    found = JournalHead.objects.select_for_update(no_key=True).filter(site=site)
    found = found.annotate(**_BEFORE)
    return with_tied(found, *at) if at else found


_HEAD = Kept(_head)


def enter_gate() -> None:
    """Pack, close, load and send: many at once, but none beside a hold."""
    _need_transaction()
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock_shared(%s)", [GATE])


def wait_for(*rows: tuple[type[Model], int]) -> None:
    """Enter the gate, then wait for rows and lock them, all by one statement.

    What is read behind it is as it stays until the act has ended.

    Args:
        *rows: A table and an id each, in the order of locking.
    """
    _need_transaction()
    if alone():
        return
    gate = "SELECT CASE WHEN pg_advisory_xact_lock_shared(%s) IS NULL THEN 0 END"
    locks = (
        f"SELECT id FROM (SELECT id FROM {model._meta.db_table} WHERE id = %s"  # noqa: S608 -- our names
        " FOR NO KEY UPDATE) q"
        for model, _pk in rows
    )
    with connection.cursor() as cursor:
        cursor.execute(
            " UNION ALL ".join((gate, *locks)), [GATE, *(pk for _model, pk in rows)]
        )


def shut_gate() -> None:
    """Place or lift a hold: alone."""
    _need_transaction()
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(%s)", [GATE])


@contextmanager
def snapshot() -> Iterator[None]:
    """Read many tables as of one moment, without holding up those who write.

    Inside a transaction that is already open (a test), that one is used.
    """
    if connection.in_atomic_block:
        yield
        return
    if connection.vendor == "postgresql":
        with transaction.atomic():
            with connection.cursor() as cursor:
                # It locks nothing that an act waits for: it may take its time.
                cursor.execute(
                    "SET TRANSACTION ISOLATION LEVEL REPEATABLE READ READ ONLY;"
                    "SET LOCAL idle_in_transaction_session_timeout = 0"
                )
            yield
        return
    with connection.cursor() as cursor:
        cursor.execute("BEGIN DEFERRED")
        # A write would be rolled back in silence at the end.
        cursor.execute("PRAGMA query_only = ON")
    try:
        yield
    finally:
        with connection.cursor() as cursor:
            cursor.execute("ROLLBACK")
            cursor.execute("PRAGMA query_only = OFF")
