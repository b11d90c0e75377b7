"""Hot requests walk no table that grows with the work, whatever the planner knows.

SQLite decides by the schema and by statistics, never by the rows: a copy of the schema
without a row is asked how it would go about each statement, once knowing nothing and
once with the statistics of a database of a million boxes. PostgreSQL is forbidden to
walk tables, and does so all the same where no index serves.
"""

from __future__ import annotations

import re
import sqlite3
import uuid
from collections import defaultdict
from collections.abc import Callable, Iterator
from functools import partial

import pytest
from django.apps import apps
from django.db import connection
from django.db.backends.sqlite3._functions import register
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from benchmarks import filling
from dispatch.models import ShipmentBox
from kitting.ledger import holds, planner
from kitting.models import BoxLine, Hold, Lift, Operation, User
from tests import benches, factories
from tests.benches import newest_number
from tests.databases import guards_away, once_a_module
from tests.test_queries import LISTS, hold_all_kinds, too_many

pytestmark = pytest.mark.django_db

BOXES = 500
SCALE = 1_000_000 // BOXES
GROWS = frozenset(
    {
        *("kitting_lot", "kitting_check", "kitting_bag", "kitting_movement"),
        *("kitting_box", "kitting_boxline", "kitting_boxevent", "kitting_boxput"),
        *("kitting_operation", "kitting_link", "kitting_print"),
        "kitting_rowseal",
        *("dispatch_shipment", "dispatch_shipmentbox", "dispatch_shipscan"),
        *("dispatch_shipevent",),
    }
)
"""Tables with rows for each lot, each box or its journey."""

COUNTED = re.compile(r'^SELECT COUNT\(\*\)|^SELECT "kitting_box"."stage" AS')
"""How many boxes there are in all, and by stage, is counted over an index alone."""

Explain = Callable[[str], str]


@once_a_module
def filled() -> filling.Filled:
    """Of the newest boxes some are held by one of their bags; one lot was rejected."""
    made = filling.fill(boxes=BOXES)
    factories.reject(factories.make_lot())
    bag = BoxLine.objects.latest("pk").bag_id
    held = holds.place_hold
    held(target="bag", value=bag, reason="Brittle", sign=factories.sign(now=None))
    return made


@pytest.fixture(params=["without statistics", "with statistics"])
def explain(
    request: pytest.FixtureRequest, filled: filling.Filled
) -> Iterator[Explain]:
    yield from EXPLAINED[connection.vendor](knows=request.param == "with statistics")


def _explained_by_postgresql(*, knows: bool) -> Iterator[Explain]:
    with connection.cursor() as cursor:
        if knows:
            cursor.execute("ANALYZE")
        cursor.execute("SET LOCAL enable_seqscan = off")

        def told(sql: str) -> str:
            cursor.execute(f"EXPLAIN {sql}")
            return "\n".join(line for (line,) in cursor.fetchall())

        yield told


def _explained_by_sqlite(*, knows: bool) -> Iterator[Explain]:
    copy = sqlite3.connect(":memory:")
    register(copy)
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT sql FROM sqlite_master WHERE sql IS NOT NULL"
            " AND name NOT LIKE 'sqlite_%' AND type IN ('table', 'index')"
        )
        for (sql,) in cursor.fetchall():
            copy.execute(sql)
        if knows:
            planner.refresh()
            cursor.execute("SELECT tbl, idx, stat FROM sqlite_stat1")
            copy.execute("ANALYZE")
            rows = [(table, idx, _scaled(table, stat)) for table, idx, stat in cursor]
            copy.executemany("INSERT INTO sqlite_stat1 VALUES (?, ?, ?)", rows)
            copy.execute("ANALYZE sqlite_schema")

    def told(sql: str) -> str:
        return "\n".join(row[3] for row in copy.execute(f"EXPLAIN QUERY PLAN {sql}"))

    yield told
    copy.close()


EXPLAINED = {"sqlite": _explained_by_sqlite, "postgresql": _explained_by_postgresql}


def _scaled(table: str, stat: str) -> str:
    """Statistics of a table as large as with a million boxes."""
    rows, *rest = stat.split(" ")
    if table not in GROWS:
        return stat
    every = [
        str(int(one) * SCALE) if one == rows and one != "1" else one for one in rest
    ]
    return " ".join([str(int(rows) * SCALE), *every])


def walked(sql: str, plan: str) -> set[str]:
    """The tables that grow and are walked from end to end."""
    names: dict[str, set[str]] = defaultdict(set)
    for table, alias in re.findall(r'\b([a-z]+_\w+)"? (\w+)', sql):
        names[alias].add(table)
    scanned = re.findall(r"(?:SCAN|Seq Scan on) (\w+)", plan)
    return {table for name in scanned for table in {name} | names[name]} & GROWS


def asked_by(request: Callable[[], object]) -> list[str]:
    with CaptureQueriesContext(connection) as queries:
        request()
    asked = (query["sql"].strip() for query in queries)
    return [sql for sql in asked if sql.startswith(("SELECT", "WITH", "UPDATE"))]


@pytest.fixture
def client(client_for: Callable[[User], Client]) -> Client:
    return client_for(factories.make_person())


HELD = ("kitting_boxline_lot", "kitting_boxline_bag")
"""Of the boxes that holds reach."""

PAGES = {
    "/": (
        *("kitting_box_packed_on", "kitting_box_stage_size", "kitting_operation_at"),
        *("kitting_boxevent_operation", "kitting_lot_stage", "kitting_check_verdict"),
        *("kitting_bag_stage_lot", *HELD),
    ),
    "/boxes/": ("kitting_box_stage", *HELD),
    "/boxes/?stage=sent": ("kitting_box_stage", "kitting_box_stage_size", *HELD),
    "/boxes/?stage=ready": ("kitting_box_stage", *HELD),
    "/recall/?q={lot}": ("kitting_boxline_lot", "kitting_movement_lot_kind"),
    "/log/": ("dispatch_shipment_sent",),
    "/log/?newer={sent}": ("dispatch_shipment_sent",),
    "/log/?stage=sent&older={sent}": ("dispatch_shipment_stage",),
    "/log/?consignee={whom}": ("dispatch_shipment_whom",),
    "/log/?q=nowhere": (),
    "/log/?q={serial}": ("sqlite_autoindex_kitting_box", "dispatch_shipmentbox_"),
    "/log/?lot={lot}": ("kitting_boxline_lot",),
    "/journal/": ("kitting_movement_operation_id", "kitting_boxevent_operation"),
    "/journal/?act=restore": ("kitting_operation_name",),
    "/journal/?by={by}": ("kitting_operation_by_id",),
    "/journal/?from=2026-01-14&to=2026-01-14": ("kitting_operation_at",),
    "/journal/?about={lot}": (
        *("kitting_movement_lot_kind", "kitting_check_lot", "kitting_hold_lot"),
        "kitting_rowseal_row",
    ),
    "/shipments/": ("dispatch_shipment_stage", "kitting_box_stage", *HELD),
    "/lots/{lot}/": (
        "kitting_bag_lot",
        "kitting_check_lot",
        "kitting_movement_lot_kind",
    ),
}
"""Every index that the page stands on, by the beginning of its name."""

HOLDS = (
    *("kitting_lot_source", "kitting_lot_revision", "kitting_lot_method"),
    *(
        "kitting_run_protocol",
        "sqlite_autoindex_kitting_runbag",
        "kitting_lotorigin_back",
    ),
)
"""Of what holds reach; every act at a bench asks."""

START = ("kitting_box_one_unlabelled", "kitting_lot_revision", *HOLDS)
SCAN = ("kitting_lot_revision", *HOLDS)
CLOSE = ("kitting_box_bench", *HOLDS)


def without(
    statements: list[str], pins: tuple[str, ...], explain: Explain
) -> list[object]:
    """What walks a table that grows, and pinned indexes that none of them uses."""
    plans = {sql: explain(sql) for sql in statements}
    walks = [
        (tables, sql, plan)
        for sql, plan in plans.items()
        if (tables := walked(sql, plan))
        and not COUNTED.match(sql)
        and (" LIMIT " not in sql or "TEMP B-TREE" in plan)  # else: the newest few
    ]
    used = re.findall(r"INDEX (\w+)", "\n".join(plans.values()))
    unused = [pin for pin in pins if not any(name.startswith(pin) for name in used)]
    return [*walks, *(unused if connection.vendor == "sqlite" else ())]


def test_no_hot_page_walks_what_grows(
    client: Client, filled: filling.Filled, explain: Explain
) -> None:
    found = {}
    for page, pins in PAGES.items():
        address = page.format(**_named(filled))
        found[page] = without(asked_by(partial(client.get, address)), pins, explain)
    assert found == {page: [] for page in PAGES}


def _named(filled: filling.Filled) -> dict[str, object]:
    sent = ShipmentBox.objects.filter(live=True).latest("pk")
    return {
        "lot": filled.lot.number,
        "by": Operation.objects.values_list("by__username", flat=True)[0],
        "sent": sent.shipment,
        "whom": sent.shipment.consignee.code,
        "serial": sent.box.serial,
        "product": sent.box.size.product.code,
    }


@pytest.mark.usefixtures("filled")
def test_no_act_at_a_bench_walks_what_grows(client: Client, explain: Explain) -> None:
    at = benches.make_packing(gtin="09521234000044")
    address = reverse("kitting:bench-scan", args=[at.bench.code])

    def scan(text: str) -> None:
        data = {"op_key": uuid.uuid4(), "scan": text, "box": newest_number(at.bench)}
        answer = client.post(address, data, headers={"HX-Request": "true"})
        assert answer.status_code == 200, text

    acts = {
        f"ACT-BOX-{at.recipe.product.code}-6": START,
        **{bag.number: SCAN for bag in at.bags},
        "ACT-CLOSE": CLOSE,
    }
    for text, pins in acts.items():
        asked = asked_by(partial(scan, text))
        assert len(asked) > 5  # one of them asks for all that decides
        assert without(asked, pins, explain) == [], text


IN_ORDER = {
    "/boxes/?stage=sent": "kitting_box_stage",
    "/log/?older={sent}": "dispatch_shipment_sent",
    "/log/?newer=": "dispatch_shipment_sent",
    "/log/?as=csv": "dispatch_shipment_sent",
    "/log/?stage=sent&older={sent}": "dispatch_shipment_stage",
    "/log/?product={product}&older={sent}": "dispatch_shipment_sent",
    "/log/?consignee={whom}&older={sent}": "dispatch_shipment_whom",
}
"""The index whose order that of the rows is."""


@pytest.mark.skipif(connection.vendor != "sqlite", reason="PostgreSQL counts its rows")
@pytest.mark.parametrize(("page", "index"), IN_ORDER.items())
def test_rows_come_in_order_without_a_sort(
    client: Client, filled: filling.Filled, explain: Explain, page: str, index: str
) -> None:
    address = page.format(**_named(filled))
    asked = asked_by(lambda: list(client.get(address)))
    (rows,) = (sql for sql in asked if re.search(r"LIMIT 5[01]$|DESC, \S+ DESC$", sql))
    plan = explain(rows)
    assert index in plan
    assert "TEMP B-TREE" not in plan
    assert "Sort" not in plan


def test_a_walk_is_seen(explain: Explain) -> None:
    for sql in (
        'SELECT * FROM "kitting_boxevent" WHERE "kitting_boxevent"."reason" = \'x\'',
        'SELECT * FROM "kitting_boxevent" U0 WHERE U0."reason" = \'x\'',
    ):
        assert walked(sql, explain(sql)) == {"kitting_boxevent"}


def test_no_page_asks_more_for_many_boxes_and_holds(
    filled: filling.Filled, everybody: Client
) -> None:
    hold_all_kinds(filled.lot)
    recall = reverse("dispatch:recall")
    pages = [f"{recall}?q={filled.lot.number}", *(reverse(name) for name in LISTS)]
    assert too_many(everybody, pages) == {}


@pytest.mark.usefixtures("filled")
def test_what_is_empty_is_not_taken_for_large(client: Client) -> None:
    """Before the first hold, or the operations would be walked to find none."""
    with guards_away(), connection.cursor() as cursor:
        for model in (Lift, Hold):
            cursor.execute(f"DELETE FROM {model._meta.db_table}")
    explained = EXPLAINED[connection.vendor](knows=True)
    explain = next(explained)
    assert without(asked_by(partial(client.get, "/")), (), explain) == []


def test_no_index_of_a_large_table_is_the_beginning_of_another() -> None:
    needless = [
        f"{model.__name__}.{field.name}"
        for model in apps.get_models()
        if model._meta.db_table in GROWS
        for each in (*model._meta.indexes, *model._meta.constraints)
        if getattr(each, "fields", ()) and each.condition is None  # type: ignore[attr-defined]
        for field in [model._meta.get_field(each.fields[0])]  # type: ignore[attr-defined]
        if field.db_index and not field.unique  # type: ignore[union-attr]
    ]
    assert needless == []
