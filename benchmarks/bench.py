"""A box's way across a bench, as the server sees it: whole requests, by a browser."""

from __future__ import annotations

import statistics
import uuid
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from django.db import connection
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from benchmarks.measure import Row, ms, seconds
from kitting.models import Box
from tests import benches, factories

BOXES = 40
SETS = 6
GTIN = "09521234000099"
"""One that the filled database has not."""

START = "starting a box by scan"
SCAN = "scan of a bag, a box open"
CLOSE = "closing a box by scan, label drawn and read back"
LABEL = "scan of the label of a closed box"
LIMITS = {
    SCAN: "≤ 25 ms, ≤ 16 queries",
    CLOSE: "≤ 150 ms, ≤ 28 queries",
}


@dataclass
class Taken:
    """What the requests of one kind took."""

    whole: list[float] = field(default_factory=list)
    asking: list[float] = field(default_factory=list)
    """Of that, the statements alone."""
    queries: list[int] = field(default_factory=list)

    def row(self, what: str) -> Row:
        whole, asking = map(statistics.median, (self.whole, self.asking))
        return Row(
            what,
            f"{ms(whole)} median, {max(self.queries)} queries",
            f"its statements {ms(asking)}",
            f"{whole / asking:.1f} × the time",
            LIMITS.get(what, ""),
        )


class Scanner:
    """Somebody at a bench, who scans."""

    def __init__(self, at: benches.Packing) -> None:
        self.at = at
        self.client = Client()
        self.client.force_login(
            factories.make_person("packer"),
            backend="lotward.rights.RightsBackend",
        )
        self.taken = {what: Taken() for what in (START, SCAN, CLOSE, LABEL)}

    def scan(self, what: str, text: str) -> None:
        address = reverse("kitting:bench-scan", args=[self.at.bench.code])
        box = benches.newest_number(self.at.bench)
        data = {"op_key": str(uuid.uuid4()), "scan": text, "box": box}
        answers: list[Any] = []
        asking: list[float] = []

        def timed(execute: Any, *args: Any) -> Any:
            result = []
            asking.append(seconds(lambda: result.append(execute(*args))))
            return result[0]

        def post() -> None:
            headers = {"HX-Request": "true"}
            answers.append(self.client.post(address, data, headers=headers))

        with connection.execute_wrapper(timed):
            whole = seconds(post)
        assert answers[0].status_code == 200, answers[0].content[:500]
        taken = self.taken[what]
        taken.whole.append(whole)
        taken.asking.append(sum(asking))
        taken.queries.append(len(asking))

    def pack(self) -> None:
        """Pack one box wholly by scans, out of fresh bags."""
        at = self.at
        needs = ((at.band, SETS), (at.visor, 2 * SETS), (at.manual, 1))
        fresh = [benches.bag_of(revision, pieces) for revision, pieces in needs]
        self.scan(START, f"ACT-BOX-{at.recipe.product.code}-{SETS}")
        for bag in fresh:
            self.scan(SCAN, bag.number)
        self.scan(CLOSE, "ACT-CLOSE")
        box = Box.objects.get(bench=at.bench, stage="closed")
        self.scan(LABEL, f"]C100{box.sscc}")


def rows() -> Iterator[Row]:
    """Pack some boxes in a database that is full already."""
    factories.NOW = timezone.now()
    factories.TODAY = factories.NOW.date()
    at = benches.make_packing(pieces=SETS, sets=SETS, gtin=GTIN)
    scanner = Scanner(at)
    for _ in range(BOXES):
        scanner.pack()
    for what, taken in scanner.taken.items():
        yield taken.row(what)
