"""Seals: every row is as the act left it that touched it last."""

from __future__ import annotations

import json
from collections.abc import Iterator
from functools import cache
from typing import Any

from django.db import connection
from django.db.models import Exists, Model, OuterRef, QuerySet

from kitting.ledger.proof.faults import Tally
from kitting.ledger.proof.streams import (
    Ids,
    Row,
    Statement,
    batched,
    filled,
    grouped,
    only,
    rows,
    side_by_side,
    statement_of,
    stored,
)
from kitting.ledger.seals import copy, sealed_columns, sealed_models
from kitting.models import Link, Operation, RowSeal, Touched


def hold(tally: Tally) -> None:
    """Every row is as the last act left it that touched it, and no other touched it.

    Args:
        tally: Where rows are counted and faults noted.
    """
    if not Link.objects.exists():
        return  # The first act seals all that it finds.
    models = sealed_models()
    tables = {model._meta.db_table for model in filled([*models.values()])}
    tables |= set(RowSeal.objects.order_by().values_list("of", flat=True).distinct())
    for table in sorted(tables & models.keys()):
        _table(tally, table, models[table])
    _touched(tally)


def hold_since(tally: Tally, link: int) -> None:
    """Every row that an act touched since a link is as the last of them left it.

    Args:
        tally: Where rows are counted and faults noted.
        link: Id of the link.
    """
    newer = RowSeal.objects.filter(operation__link__pk__gt=link)
    pairs = newer.order_by("of", "row").values_list("of", "row").distinct()
    for table, found in grouped(rows(pairs)):
        model = sealed_models().get(table)
        for some in batched(row for (row,) in found):
            if model is not None:
                _table(tally, table, model, some)
    _touched(tally)


def _table(tally: Tally, table: str, model: type[Model], ids: Ids = None) -> None:
    names = sealed_columns(model)
    at = names.index("id")
    if ids is None:
        every, last = _whole(connection.vendor, table, model)
    else:
        every, last = map(statement_of, _both(table, model, ids))
    for pk, (row, copies) in side_by_side(
        ((row[at], [(copy(names, row),)]) for row in stored(every)),
        ((pk, [(text, operation)]) for pk, text, operation in stored(last)),
    ):
        tally.count += len(row)
        _compare(tally, table, pk, row[0][0] if row else "", copies)


@cache
def _whole(_vendor: str, table: str, model: type[Model]) -> list[Statement]:
    """What reads all of a table and its copies: half the time of a small proof."""
    return [statement_of(found) for found in _both(table, model)]


def _both(
    table: str, model: type[Model], ids: Ids = None
) -> Iterator[QuerySet[Any, Any]]:
    every = only(model._base_manager.order_by("pk"), "pk", ids)
    yield every.values_list(*sealed_columns(model))
    # A counter has a copy for each number that it gave: its last one is enough.
    last = only(last_copies(table), "row", ids)
    yield last.values_list("row", "text", "operation_id")


def _touched(tally: Tally) -> None:
    for table, pk in rows(Touched.objects.order_by("pk").values_list("of", "row")):
        words = "It was made, changed or removed by no act."
        tally.add(table, pk, words, "an act", "none")


def last_copies(table: str) -> QuerySet[RowSeal]:
    """The last copy of every row of a table, in the order of the rows.

    Args:
        table: Its name.

    Returns:
        Copies; that of a row which an act removed is empty.
    """
    newer = RowSeal.objects.filter(of=OuterRef("of"), row=OuterRef("row"))
    last = RowSeal.objects.filter(~Exists(newer.filter(pk__gt=OuterRef("pk"))))
    return last.filter(of=table).order_by("row")


def _compare(tally: Tally, table: str, pk: int, now: str, seals: list[Row]) -> None:
    if not seals:
        tally.add(table, pk, "No act made this row.", "none", now)
        return
    text, operation = seals[0]
    if text == now:
        return
    by = _named(operation)
    if not text or not now:
        words = f"{by} removed it." if now else f"It is gone, though {by} left it."
        tally.add(table, pk, words, text or "none", now or "none")
        return
    try:
        was, has = json.loads(text), json.loads(now)
    except ValueError:  # the chain names the copy as well
        tally.add(table, pk, f"The copy that {by} made of it is none.", now, text)
        return
    for name in sorted(was.keys() | has.keys()):
        words = f"Its {name} is not as {by} left it."
        tally.same(table, pk, words, was.get(name, "none"), has.get(name, "none"))


def _named(operation: int) -> str:
    act = Operation.objects.filter(pk=operation).first()
    return f"act {operation}" if act is None else f"act {operation} ({act})"
