"""The trace of one lot in a filled database, against hand-written SQL."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from typing import Any

from django.db import connection, connections
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from benchmarks.filling import Filled
from benchmarks.measure import Row, medians, ms, seconds
from dispatch.recall.services import open_case
from dispatch.trace.queries import trace
from tests import factories

TIMES = 15

# The lots made from it, and from each of those its bags, boxes and movements.
LOTS = """
WITH RECURSIVE reached(id) AS (
    SELECT id FROM kitting_lot WHERE number = %s
    UNION SELECT o.lot_id FROM kitting_lotorigin o JOIN reached ON o.from_lot_id = reached.id
)
"""
BOXES = (
    LOTS
    + """
SELECT b.serial, b.sscc, b.stage, sum(l.pieces), z.sets, s.number, c.name, s.sent_at
FROM kitting_boxline l JOIN kitting_box b ON b.id = l.box_id
JOIN kitting_boxsize z ON z.id = b.size_id
LEFT JOIN dispatch_shipmentbox x ON x.box_id = b.id AND x.live
LEFT JOIN dispatch_shipment s ON s.id = x.shipment_id
LEFT JOIN dispatch_consignee c ON c.id = s.consignee_id
WHERE l.lot_id IN (SELECT id FROM reached)
GROUP BY b.id, b.serial, b.sscc, b.stage, z.sets, s.number, c.name, s.sent_at
ORDER BY b.id
"""
)
BAGS = (
    LOTS
    + """
SELECT g.number, t.number, g.stage, g.pieces, p.name
FROM kitting_bag g JOIN kitting_lot t ON t.id = g.lot_id
LEFT JOIN kitting_place p ON p.id = g.place_id
WHERE g.lot_id IN (SELECT id FROM reached) ORDER BY g.id
"""
)
RUNS = (
    LOTS
    + """
SELECT DISTINCT r.number, r.stage, r.closed_at FROM kitting_run r
JOIN kitting_runbag x ON x.run_id = r.id JOIN kitting_bag g ON g.id = x.bag_id
WHERE g.lot_id IN (SELECT id FROM reached)
"""
)
MOVES = """
SELECT kind, delta > 0, sum(pieces) FROM kitting_movement
WHERE lot_id = (SELECT id FROM kitting_lot WHERE number = %s) GROUP BY 1, 2
"""


def by_hand(number: str) -> list[list[tuple[Any, ...]]]:
    """The same answer by hand: boxes with whom they went to, bags, runs, balance."""
    answers = []
    with connection.cursor() as cursor:
        for statement in (BOXES, BAGS, RUNS, MOVES):
            cursor.execute(statement, [number])
            answers.append(cursor.fetchall())
    return answers


def statements_of(number: str) -> list[tuple[str, Any]]:
    """Every statement that a trace runs, with its values."""
    ran: list[tuple[str, Any]] = []

    def note(execute: Any, sql: str, params: Any, many: bool, context: Any) -> Any:
        ran.append((sql, params))
        return execute(sql, params, many, context)

    with connection.execute_wrapper(note):
        trace(number)
    return ran


def run_again(statements: list[tuple[str, Any]]) -> None:
    with connection.cursor() as cursor:
        for statement, values in statements:
            cursor.execute(statement, values)
            cursor.fetchall()


def rows(filled: Filled) -> list[Row]:
    """The query and the page."""
    number = filled.lot.number
    hits = len(trace(number).boxes)
    assert hits == len(by_hand(number)[0])
    client = Client()
    client.force_login(
        factories.make_person("manager"),
        backend="lotward.rights.RightsBackend",
    )
    page = f"{reverse('dispatch:recall')}?q={number}"
    assert client.get(page).status_code == 200
    statements = statements_of(number)
    with ThreadPoolExecutor(1) as server:  # a thread with a connection, as a server has
        ours, alone, hand, whole = medians(
            [
                lambda: trace(number),
                lambda: run_again(statements),
                lambda: by_hand(number),
                lambda: server.submit(client.get, page).result(),
            ],
            TIMES,
        )
        server.submit(connections.close_all).result()
    return [
        Row(
            f"trace of a lot, {hits} of {filled.boxes:,} boxes",
            ms(ours),
            f"hand-written SQL {ms(hand)}",
            f"{ours / hand:.2f} × the time",
        ),
        Row(
            f"its {len(statements)} statements alone",
            ms(alone),
            f"hand-written SQL {ms(hand)}",
            f"{alone / hand:.2f} × the time",
            "≤ 2 ×",
        ),
        Row("its page of the recall lookup", ms(whole), "", "", "≤ 100 ms"),
    ]


def case_rows(filled: Filled) -> list[Row]:
    """Opening a case on that lot; its holds stay, so whatever packs goes before."""
    number, lot = filled.lot.number, filled.lot.pk
    hits = len(trace(number).boxes)
    found = []

    def work() -> None:
        sign = factories.sign(now=timezone.now())
        said = {"hazard": "May crack", "reason": "A complaint"}
        found.append(open_case(scope=[("lot", lot)], sign=sign, **said))

    whole, hand = seconds(work), seconds(lambda: by_hand(number))
    assert found[0].boxes == hits
    return [
        Row(
            f"opening a case on it, {hits} boxes listed",
            ms(whole),
            f"hand-written SQL that finds them {ms(hand)}",
            f"{whole / hand:.0f} × the time",
            "≤ 2,000 ms",
        )
    ]
