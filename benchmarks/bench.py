"""One scan at the bench and the closing of a box, as the server sees them."""

from __future__ import annotations

import statistics
import uuid
from collections.abc import Iterator

from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from benchmarks.measure import Row, ms, seconds
from kitting.models import Box
from kitting.packing.queries.bench import newest_box
from tests import benches, factories

BOXES = 40
SETS = 6


def rows() -> list[Row]:
    """Pack some boxes wholly by scans, in a database that is full already."""
    factories.NOW = timezone.now()
    factories.TODAY = factories.NOW.date()
    at = benches.make_packing(pieces=SETS, sets=SETS)
    client = Client()
    client.force_login(
        factories.make_person("packer"),
        backend="lotward.rights.RightsBackend",
    )
    address = reverse("kitting:bench-scan", args=[at.bench.code])

    def scan(text: str) -> float:
        newest = newest_box(at.bench.pk)
        shown = newest.number if newest else ""
        data = {"op_key": str(uuid.uuid4()), "scan": text, "box": shown}
        answers = []
        headers = {"HX-Request": "true"}
        taken = seconds(
            lambda: answers.append(client.post(address, data, headers=headers))
        )
        assert answers[0].status_code == 200, answers[0].content[:500]
        return taken

    bags, closings = [], []
    needs = ((at.band, SETS), (at.visor, 2 * SETS), (at.manual, 1))
    for _ in range(BOXES):
        fresh = [benches.bag_of(revision, pieces) for revision, pieces in needs]
        scan(f"ACT-BOX-{at.recipe.product.code}-{SETS}")
        bags += [scan(bag.number) for bag in fresh]
        closings.append(scan("ACT-CLOSE"))
        box = Box.objects.get(bench=at.bench, stage="closed")
        scan(f"]C100{box.sscc}")
    return list(_rows(bags, closings, _queries_of(scan, at)))


def _queries_of(scan: object, at: benches.Packing) -> int:
    bag = benches.bag_of(at.band, SETS)
    with CaptureQueriesContext(connection) as queries:
        scan(bag.number)  # type: ignore[operator]
    return len(queries)


def _rows(bags: list[float], closings: list[float], queries: int) -> Iterator[Row]:
    yield Row(
        "scan of a bag at the bench, screen included",
        f"{ms(statistics.median(bags))} median",
        f"{queries} queries",
        "",
        "≤ 25 ms, ≤ 12 queries",
    )
    yield Row(
        "closing a box by scan, label drawn and read back",
        f"{ms(statistics.median(closings))} median",
        f"{len(closings)} boxes",
        "",
        "≤ 150 ms",
    )
