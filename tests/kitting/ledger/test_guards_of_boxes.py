"""What the database refuses about rows that do change: lots, bags, boxes, their lines."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import pytest
from django.db import IntegrityError, connection

from kitting.ledger.guards import IDENTITY
from kitting.models import Bag, Box, BoxLine
from tests.kitting.ledger.test_guards import insert, refused, run_sql, settle, stored
from tests.ledgers import History

pytestmark = pytest.mark.django_db

sqlite_only = pytest.mark.skipif(
    connection.vendor != "sqlite", reason="SQLite's REPLACE only"
)


def other_value(box: Box, column: str) -> Any:
    value = getattr(box, column)
    return value + timedelta(days=1) if hasattr(value, "year") else f"{value[:-1]}X"


@pytest.mark.parametrize("column", IDENTITY)
def test_the_identity_of_a_box_is_written_once(column: str, history: History) -> None:
    box = history.labelled
    before = stored(box)
    assert before[column]
    boxes = Box.objects.filter(pk=box.pk)
    for value in (other_value(box, column), "" if column == "batch" else None):
        assert refused(lambda v=value: boxes.update(**{column: v}))
        if value is not None:
            statement = f"UPDATE kitting_box SET {column} = %s WHERE id = %s"
            assert refused(lambda v=value, s=statement: run_sql(s, v, box.pk))
    setattr(box, column, other_value(box, column))
    assert refused(lambda: box.save(update_fields=[column]))
    assert refused(lambda: Box.objects.bulk_update([box], [column]))
    assert stored(box) == before


def test_a_box_without_identity_may_get_one(history: History) -> None:
    box = history.opened
    Box.objects.filter(pk=box.pk).update(batch="1-X-26014-1")
    box.refresh_from_db()
    assert box.batch == "1-X-26014-1"


def test_a_box_may_change_what_is_not_its_identity(history: History) -> None:
    box = history.labelled
    assert Box.objects.filter(pk=box.pk).update(use_by=date(2027, 1, 1)) == 1


@pytest.mark.parametrize("name", ["sent", "labelled", "voided"])
def test_a_box_past_open_never_opens_again(name: str, history: History) -> None:
    box = getattr(history, name)
    boxes = Box.objects.filter(pk=box.pk)
    # Away from the bench, where another open box would be in the way.
    assert refused(lambda: boxes.update(stage="open", bench=None))
    statement = "UPDATE kitting_box SET stage = 'open', bench_id = NULL WHERE id = %s"
    assert refused(lambda: run_sql(statement, box.pk))


# -- Lines --------------------------------------------------------------------------


def line_values(box: Box, bag: Bag, **changes: Any) -> dict[str, Any]:
    return {
        "box_id": box.pk,
        "bag_id": bag.pk,
        "lot_id": bag.lot_id,
        "run_id": None,
        "pieces": 1,
        **changes,
    }


def _spare_bag(history: History) -> Bag:
    return history.band_lot.bags.get(stage="in_run")


LineAct = Callable[[History, BoxLine], Any]
FROZEN: dict[str, LineAct] = {
    "pieces by SQL": lambda _h, line: run_sql(
        "UPDATE kitting_boxline SET pieces = pieces + 1 WHERE id = %s", line.pk
    ),
    "pieces of all": lambda _h, _line: BoxLine.objects.update(pieces=1),
    "delete by SQL": lambda _h, line: run_sql(
        "DELETE FROM kitting_boxline WHERE id = %s", line.pk
    ),
    "delete by the ORM": lambda _h, line: line.delete(),
    "bulk update": lambda _h, line: BoxLine.objects.bulk_update([line], ["pieces"]),
    "moved to an open box": lambda h, line: run_sql(
        "UPDATE kitting_boxline SET box_id = %s, bag_id = %s WHERE id = %s",
        h.opened.pk,
        _spare_bag(h).pk,
        line.pk,
    ),
    "one more": lambda h, line: insert(
        "kitting_boxline", line_values(line.box, _spare_bag(h)), "INSERT"
    ),
}


@pytest.mark.parametrize("act", FROZEN.values(), ids=FROZEN)
@pytest.mark.parametrize("name", ["sent", "labelled", "voided"])
def test_the_lines_of_a_box_past_open_are_frozen(
    name: str, act: LineAct, history: History
) -> None:
    line = getattr(history, name).lines.get(lot=history.band_lot)
    before = stored(line)
    assert refused(lambda: act(history, line))
    assert stored(line) == before


@pytest.mark.skipif(connection.vendor != "postgresql", reason="PostgreSQL's TRUNCATE")
@pytest.mark.parametrize(
    "table", ["kitting_boxline", "kitting_lot", "kitting_bag", "kitting_box"]
)
def test_tables_of_things_are_not_emptied(table: str, history: History) -> None:
    settle()
    assert refused(lambda: run_sql(f"TRUNCATE {table} CASCADE"))


@sqlite_only
@pytest.mark.parametrize("verb", ["INSERT OR REPLACE", "REPLACE"])
def test_no_line_of_an_open_box_replaces_a_frozen_one(
    verb: str, history: History
) -> None:
    """REPLACE over a frozen line's id, by a line that an open box may well have."""
    line = history.sent.lines.get(lot=history.band_lot)
    before = stored(line)
    fresh = line_values(history.opened, _spare_bag(history), id=line.pk)
    assert refused(lambda: insert("kitting_boxline", fresh, verb))
    mine = history.opened.lines.first()
    assert refused(
        lambda: run_sql(
            "UPDATE OR REPLACE kitting_boxline SET id = %s WHERE id = %s",
            line.pk,
            mine.pk,
        )
    )
    assert stored(line) == before


@sqlite_only
def test_no_line_is_replaced_by_its_own_bag(history: History) -> None:
    for line in history.opened.lines.all():
        again = {**stored(line), "id": line.pk + 10_000, "pieces": 1}
        assert refused(
            lambda v=again: insert("kitting_boxline", v, "INSERT OR REPLACE")
        )


def test_a_line_is_of_its_bags_lot(history: History) -> None:
    wrong = line_values(
        history.opened, _spare_bag(history), lot_id=history.visor_lot.pk
    )
    assert refused(lambda: insert("kitting_boxline", wrong, "INSERT"))
    line = history.opened.lines.get(lot=history.band_lot)
    lines = BoxLine.objects.filter(pk=line.pk)
    assert refused(lambda: lines.update(lot=history.visor_lot))
    right = line_values(history.opened, _spare_bag(history))
    assert insert("kitting_boxline", right, "INSERT") == 1


@pytest.mark.parametrize("column", ["box", "bag", "run", "id"])
def test_a_line_of_an_open_box_stays_what_it_is(column: str, history: History) -> None:
    line = history.opened.lines.get(lot=history.band_lot)
    values = {
        "box": history.sent.pk,
        "bag": history.visor_lot.bags.get().pk,
        "run": history.failed.pk,
        "id": line.pk + 10_000,
    }
    lines = BoxLine.objects.filter(pk=line.pk)
    assert refused(lambda: lines.update(**{column: values[column]}))


def test_the_lines_of_an_open_box_change_and_go(history: History) -> None:
    line = history.opened.lines.first()
    assert BoxLine.objects.filter(pk=line.pk).update(pieces=2) == 1
    assert line.delete()[0] == 1


# -- Rows that may change but never go ----------------------------------------------


def kept(history: History) -> list[Any]:
    bag = history.visor_lot.bags.get()
    return [history.visor_lot, bag, history.sent, history.opened, history.gone]


def test_lots_bags_boxes_and_shipments_never_go(history: History) -> None:
    for row in kept(history):
        before = stored(row)
        table = row._meta.db_table
        assert refused(
            lambda t=table, r=row: run_sql(f"DELETE FROM {t} WHERE id = %s", r.pk)
        )
        rows = type(row)._default_manager.filter(pk=row.pk)
        assert refused(lambda found=rows: found._raw_delete(found.db))
        assert stored(row) == before


@sqlite_only
def test_nothing_replaces_a_row_that_never_goes(history: History) -> None:
    for row in kept(history):
        values = stored(row)
        table = row._meta.db_table
        for taken in (values, {**values, "id": row.pk + 10_000}):
            assert refused(
                lambda t=table, v=taken: insert(t, v, "INSERT OR REPLACE")
            ), table
        assert stored(row) == values


@sqlite_only
@pytest.mark.parametrize("column", ["id", "number", "serial", "sscc"])
def test_no_update_replaces_another_box(column: str, history: History) -> None:
    victim, culprit = history.sent, history.opened
    before = stored(victim)
    statement = f"UPDATE OR REPLACE kitting_box SET {column} = %s WHERE id = %s"
    assert refused(lambda: run_sql(statement, before[column], culprit.pk))
    assert stored(victim) == before


@sqlite_only
def test_a_second_open_box_replaces_no_first_one_at_the_bench(history: History) -> None:
    before = stored(history.opened)
    second = {**before, "id": history.opened.pk + 10_000, "number": "X9"}
    assert refused(lambda: insert("kitting_box", second, "INSERT OR REPLACE"))
    elsewhere = {**second, "bench_id": None}
    assert insert("kitting_box", elsewhere, "INSERT") == 1
    moved = "UPDATE OR REPLACE kitting_box SET bench_id = %s WHERE id = %s"
    assert refused(lambda: run_sql(moved, before["bench_id"], second["id"]))
    assert stored(history.opened) == before


def test_the_lot_of_a_bag_is_fixed(history: History) -> None:
    bag = history.visor_lot.bags.get()
    bags = Bag.objects.filter(pk=bag.pk)
    assert refused(lambda: bags.update(lot=history.band_lot))
    assert bags.update(lot=history.visor_lot, place=None) == 1


def test_a_guard_speaks_as_an_integrity_error(history: History) -> None:
    with pytest.raises(IntegrityError, match="guarded: kitting_lot"):
        run_sql("DELETE FROM kitting_lot WHERE id = %s", history.visor_lot.pk)
