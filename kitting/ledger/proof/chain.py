"""The journal: every link follows from the one before it and from what was written."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterator, Sequence
from datetime import datetime
from functools import cache
from typing import Any, NamedTuple

from django.db import connection
from django.db.models import Exists, F, Max, Model, OuterRef, QuerySet

from kitting.ledger import bulk, keys
from kitting.ledger.canon import among, canonical_values, close, columns, writer
from kitting.ledger.guards import guarded_models
from kitting.ledger.operations import FORM, RESTORE, entries_hash
from kitting.ledger.proof.faults import Tally
from kitting.ledger.proof.streams import (
    Row,
    batched,
    composed,
    filled,
    how_many,
    rows,
    statement_of,
    stored,
)
from kitting.models import JournalHead, Link, Operation

LINK = Link._meta.db_table
OPERATION = Operation._meta.db_table
HEAD = JournalHead._meta.db_table
START = bytes(32)
AT_ONCE = 4_000
"""Links that are looked at together: each table is asked once for all of them."""


class _Link(NamedTuple):
    pk: int
    seq: int
    operation: int
    form: int
    outcome: str
    hash: bytes


class Written(NamedTuple):
    """What some operations are and wrote, in canonical form."""

    operations: dict[int, str]
    entries: dict[int, list[tuple[str, int, str]]]


def sealed_models() -> list[type[Model]]:
    """The guarded tables whose rows a link covers: all but operations and links."""
    return [model for model in guarded_models() if model not in (Operation, Link)]


def links(tally: Tally) -> None:
    """Recompute the chain of every site from its first link to its head.

    Args:
        tally: Where links are counted and faults noted.
    """
    sites = {site for found in _sites() for (site,) in rows(found)}
    for site in sorted(sites):
        _site(tally, site)


@composed
def _sites() -> Iterator[QuerySet[Any, Any]]:
    """The sites that have a head, and those that have a link."""
    yield JournalHead.objects.order_by("pk").values_list("site")
    yield Link.objects.order_by().values_list("site").distinct()


def links_since(tally: Tally, since: Sequence[Link]) -> None:
    """Recompute the chain of every site from a link that is known to hold.

    Args:
        tally: Where links are counted and faults noted.
        since: One link of each site.
    """
    for link in since:
        _site(tally, link.site, link)


def _site(tally: Tally, site: int, since: Link | None = None) -> None:
    before, seq, newest = START, 0, 0
    if since is not None:
        before, seq, newest = bytes(since.hash), since.seq, since.pk
    models = filled(sealed_models())
    found = Link.objects.filter(site=site, seq__gt=seq).order_by("seq")
    columns_of_link = ("pk", "seq", "operation_id", "form", "outcome", "hash")
    for batch in batched(rows(found.values_list(*columns_of_link)), AT_ONCE):
        made = [_Link._make((*row[:-1], bytes(row[-1]))) for row in batch]
        with bulk.undisturbed():
            written = written_by([link.operation for link in made], models)
        for link in made:
            tally.count += 1
            if link.seq != seq + 1:
                tally.add(
                    LINK,
                    link.pk,
                    f"Links are missing before link {site}/{link.seq}.",
                    f"{site}/{seq + 1}",
                    f"{site}/{link.seq}",
                )
            if link.pk < newest:
                words = "Links are made one after the other: its id comes too early."
                tally.add(LINK, link.pk, words, f"after {newest}", link.pk)
            _link(tally, link, before, written)
            # A link that is wrong is named once; the next is judged by what it stores.
            before, seq, newest = link.hash, link.seq, link.pk
    of_site = Operation.objects.filter(link__site=site)
    if since is not None:  # No act is dated before an earlier one.
        of_site = of_site.filter(link__seq__gte=since.seq)
    dated = of_site.aggregate(at=Max("at"))
    _head(tally, site, f"{seq} {before.hex()} {_moment(dated['at'])}".rstrip())


def _moment(at: datetime | None) -> str:
    return str(dict(canonical_values(["at"], [at])).get("at", ""))


def _link(tally: Tally, link: _Link, before: bytes, written: Written) -> None:
    if link.form != FORM:
        tally.add(LINK, link.pk, "The link has an unknown form.", FORM, link.form)
        return
    operation = written.operations.get(link.operation)
    if operation is None:
        tally.add(
            LINK, link.pk, "The link's operation is not there.", link.operation, "none"
        )
        return
    entries = written.entries[link.operation]
    expected = entries_hash(before, link.seq, operation, link.outcome, entries)
    if expected == link.hash:
        return
    name = dict(json.loads(operation))["name"]
    tally.add(
        LINK,
        link.pk,
        f"Link {link.seq} ({name}) does not follow from the link before it, operation"
        f" {link.operation} and the {len(entries)} rows that name it.",
        expected.hex(),
        link.hash.hex(),
    )


def written_by(
    ids: Sequence[int], models: Sequence[type[Model]] | None = None
) -> Written:
    """Read what some operations are and wrote.

    Args:
        ids: Their ids; at least one.
        models: The guarded tables that have rows; all of them, where nobody looked.

    Returns:
        All of it in canonical form, written out.
    """
    wanted = set(ids)
    names = columns(Operation)
    write, at = writer(names), names.index("id")
    operations = {
        row[at]: write(row) for row in _near(Operation, "id", ids) if row[at] in wanted
    }
    entries: dict[int, list[tuple[str, int, str]]] = defaultdict(list)
    for model in sealed_models() if models is None else models:
        names = columns(model)
        write, label = writer(names), model._meta.label_lower
        pk, owner = names.index("id"), names.index("operation_id")
        for row in _near(model, "operation_id", ids):
            if row[owner] in wanted:
                entries[row[owner]].append((label, row[pk], write(row)))
    return Written(operations, entries)


def _near(model: type[Model], column: str, ids: Sequence[int]) -> Iterator[Row]:
    """Rows of these ids and a few others, as they are stored."""
    if close(ids):
        statement = _between(connection.vendor, model, column)
        return stored((statement, (min(ids), max(ids))))
    return stored(_with(model, column, ids))


@cache
def _between(_vendor: str, model: type[Model], column: str) -> str:
    """What reads rows from one id to another: written once, not for each batch."""
    return statement_of(_with(model, column, [0]))[0]


def _with(model: type[Model], column: str, ids: Sequence[int]) -> QuerySet[Any, Any]:
    found = model._default_manager.filter(among(column, ids)).order_by()
    return found.values_list(*columns(model))


def keyed(tally: Tally, since: int = 0) -> None:
    """Every link carries its hash by this server's key, from the first that does.

    That is the first link of all, or that of an act which started the key: what came
    before is covered by the plain chain then. With any other the server only went on,
    after somebody had written anew what came before.

    Args:
        tally: Where links are counted and faults noted.
        since: Id of the first link that is looked at.
    """
    key = keys.key()
    if key is None:
        tally.note = (
            f"There is no key here ({keys.path()}): only the plain chain was followed."
        )
        return
    begun = False
    links = Link.objects.filter(pk__gte=since).order_by("pk")
    found = links.values_list("pk", "seq", "hash", "keyed")
    pk = seq = None
    for pk, seq, plain, by_key in rows(found):
        right, found_here = keys.keyed(bytes(plain), key), bytes(by_key or b"")
        if not begun and found_here == right:
            begun = True
            if seq != 1 and pk != since:
                _started(tally, pk, seq)
        if not begun:
            continue
        tally.count += 1
        if found_here != right:
            words = f"Link {seq} was not written with the key of this server."
            tally.add(LINK, pk, words, right.hex(), found_here.hex())
    if pk is not None and not begun:
        words = (
            "No link was written with the key of this server: the journal was"
            " rewritten, or the key is another's."
        )
        tally.add(LINK, pk, words, "a link by the key", f"{seq} links by none")


def _started(tally: Tally, pk: int, seq: int) -> None:
    named = Operation.objects.filter(link__pk=pk).values_list("name", flat=True)
    for name in named.exclude(name__in=(keys.START, RESTORE)):
        words = (
            f"Link {seq} is the first with the key of this server, and its act started"
            " none: the journal before it was rewritten."
        )
        tally.add(LINK, pk, words, f"{keys.START} or {RESTORE}", name)


def _head(tally: Tally, site: int, last: str) -> None:
    head = JournalHead.objects.filter(site=site).first()
    if head is None:
        tally.add(HEAD, None, f"Site {site} has no journal head.", last, "none")
        return
    tally.same(
        HEAD,
        head.pk,
        f"The journal head of site {site} is not its last link and newest act.",
        last,
        f"{head.seq} {bytes(head.hash).hex()} {_moment(head.at)}".rstrip(),
    )


def operations(tally: Tally, after: int = 0) -> None:
    """Every operation has a link, of its own site.

    Args:
        tally: Where operations are counted and faults noted.
        after: Id of the operation after which is looked.
    """
    made, unsealed, elsewhere = _operations(after or None)
    tally.count = how_many(made)
    for pk, name in rows(unsealed):
        tally.add(OPERATION, pk, f"Operation {name} has no link.", "a link", "none")
    for pk, site, own in rows(elsewhere):
        tally.add(LINK, pk, "The link is in another site's chain.", own, site)


@composed
def _operations(after: int | None) -> Iterator[QuerySet[Any, Any]]:
    """Operations behind one, those without a link, and links of another site's."""
    made = Operation.objects.filter(pk__gt=after or 0)
    yield made.order_by().values_list("pk")
    unsealed = made.filter(link__isnull=True).order_by("pk")
    yield unsealed.values_list("pk", "name")
    sealed = Link.objects.filter(operation_id__gt=after or 0)
    elsewhere = sealed.exclude(site=F("operation__site")).order_by("pk")
    yield elsewhere.values_list("pk", "site", "operation__site")


def orphans(tally: Tally) -> None:
    """Every guarded row names an operation that is there.

    A row that names somebody else's operation breaks the hash of that one's link.

    Args:
        tally: Where guarded rows are counted and faults noted.
    """
    models: list[type[Model]] = [*sealed_models(), Link]
    for model in filled(models):
        count, named = _counted(model)
        tally.count += count
        if named == count:
            continue
        known = Operation.objects.filter(pk=OuterRef("operation_id"))
        lost = model._default_manager.filter(~Exists(known)).order_by("pk")
        for pk, operation in rows(lost.values_list("pk", "operation_id")):
            tally.add(
                model._meta.db_table,
                pk,
                "The row names an operation that is not there.",
                "an operation",
                operation,
            )


def _counted(model: type[Model]) -> tuple[int, int]:
    """How many rows a table has, and how many name an operation that is there."""
    quoted = connection.ops.quote_name
    table, operation = quoted(model._meta.db_table), quoted(OPERATION)
    with connection.cursor() as cursor:
        cursor.execute(
            f"SELECT count(*), count(o.id) FROM {table} AS t"  # noqa: S608 -- ours
            f" LEFT JOIN {operation} AS o ON o.id = t.operation_id"
        )
        count, named = cursor.fetchone()
        return count, named
