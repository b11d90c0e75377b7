"""The shipping log with very many shipments: its pages at any depth, and its files."""

from __future__ import annotations

import tracemalloc
from collections.abc import Callable
from typing import Any

from django.db import connection, transaction
from django.db.models import Model
from django.test import Client
from django.urls import reverse

from benchmarks.measure import Row, medians, ms, seconds
from dispatch.models import Shipment, ShipmentBox
from kitting.ledger.guards import drop_guards, install_guards
from kitting.models import Box, BoxLine
from tests import factories

TIMES = 9
LIMIT = "≤ 100 ms"
APART = 10**8
"""How far the ids of one copy are from those of the next."""

# What is on every shipment that was sent, by hand.
PAGE = """
SELECT s.number, s.sent_at, c.code, c.name, s.reference, s.boxes, s.sets, s.sent_by
FROM dispatch_shipment s JOIN dispatch_consignee c ON c.id = s.consignee_id
WHERE s.sent_at <= %s AND (s.sent_at < %s OR s.id < %s)
ORDER BY s.sent_at DESC, s.id DESC LIMIT 51
"""
FILE = """
SELECT s.number, s.sent_at, c.code, c.name, s.reference, s.boxes, s.sets, s.lots,
s.sent_by, s.stage
FROM dispatch_shipment s JOIN dispatch_consignee c ON c.id = s.consignee_id
WHERE s.sent_at IS NOT NULL ORDER BY s.sent_at DESC, s.id DESC
"""


def grow(shipments: int) -> int:
    """Copy what was sent, with the boxes and what is in them, until there is so much."""
    sent = Shipment.objects.filter(sent_at__isnull=False)
    was = sent.count()
    first = {each: _next(each) for each in (Box, BoxLine, Shipment, ShipmentBox)}
    drop_guards()  # what is copied was closed long ago
    with connection.constraint_checks_disabled(), transaction.atomic():
        for nth in range(1, -(-shipments // was)):
            for model, below in first.items():
                _copy(model, below, nth)
    install_guards()
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")
    return sent.count()


def _next(model: type[Model]) -> int:
    newest = model._default_manager.order_by("-pk").values_list("pk", flat=True)
    return int(newest[0]) + 1


def _copy(model: type[Model], below: int, nth: int) -> None:
    apart = f"+ {nth * APART}"
    other = {
        "id": f"id {apart}",
        "number": f"number || '-{nth}'",
        "serial": f"serial || '-{nth}'",
        "sscc": "NULL",
        "bench_id": "NULL",
        "sent_at": f"datetime(sent_at, '-{nth} minutes')",
    }
    if model in (BoxLine, ShipmentBox):
        other |= {"box_id": f"box_id {apart}", "shipment_id": f"shipment_id {apart}"}
    columns = [field.column for field in model._meta.local_concrete_fields]
    table, said = model._meta.db_table, ", ".join(columns)
    given = ", ".join(other.get(column, column) for column in columns)
    with connection.cursor() as cursor:
        cursor.execute(
            f"INSERT INTO {table} ({said}) SELECT {given} FROM {table} WHERE id < {below}"
        )


def _fetched(statement: str, *values: Any) -> Callable[[], object]:
    def work() -> None:
        with connection.cursor() as cursor:
            cursor.execute(statement, values)
            while cursor.fetchmany(1000):
                pass

    return work


def rows(shipments: int) -> list[Row]:
    """The newest page, one in the middle, the oldest; what finds a box; the file."""
    count = grow(shipments)
    client = Client()
    client.force_login(
        factories.make_person("clerk"), backend="lotward.rights.RightsBackend"
    )
    log = reverse("dispatch:log")
    middle = Shipment.objects.filter(sent_at__isnull=False).order_by("sent_at", "pk")[
        count // 2
    ]
    box = Box.objects.filter(shipment_boxes__shipment__sent_at__isnull=False).earliest(
        "pk"
    )
    lot = box.lines.all()[0].lot
    boxes = BoxLine.objects.filter(lot=lot).count()

    def page(**asked: str) -> Callable[[], object]:
        assert client.get(log, asked).status_code == 200
        return lambda: client.get(log, asked)

    at = middle.sent_at
    pages = {
        f"newest page of {count:,} shipments": page(),
        "page in the middle": page(older=middle.number),
        "oldest page": page(newer=""),
        "shipment of a serial": page(q=str(box.serial)),
        "words that no shipment has": page(q="nowhere"),
        f"shipments with a lot that is in {boxes:,} boxes": page(lot=lot.number),
        "shipments of a stage": page(stage="sent", older=middle.number),
        "shipments with a product": page(product=box.size.product.code),
    }
    by_hand = _fetched(PAGE, at, at, middle.pk)
    newest, *others, hand = medians([*pages.values(), by_hand], TIMES)
    first, *names = pages
    beside = f"newest page {ms(newest)}"
    return [
        Row(first, ms(newest), f"its rows by hand-written SQL {ms(hand)}", "", LIMIT),
        *(
            Row(name, ms(taken), beside, f"{taken / newest:.2f} × the time", LIMIT)
            for name, taken in zip(names, others, strict=True)
        ),
        *_file(client, log, count),
    ]


def _file(client: Client, log: str, count: int) -> list[Row]:
    def file() -> None:
        answer: Any = client.get(log, {"as": "csv"})
        assert sum(part.count("\n") for part in map(bytes.decode, answer)) == count + 1

    ours, hand = medians([file, _fetched(FILE)], 3)
    tracemalloc.start()
    seconds(file)
    _now, most = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    return [
        Row(
            f"CSV of {count:,} shipments",
            f"{ours:.2f} s",
            f"its rows by hand-written SQL {hand:.2f} s",
            f"{ours / hand:.2f} × the time",
            "≤ 3 s",
        ),
        Row(
            "memory for it",
            f"{most / 2**20:.1f} MiB",
            "",
            "",
            "the same for any number",
        ),
    ]
