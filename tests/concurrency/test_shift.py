"""A shift of 20 boxes at two benches that want the same bags, through the pages."""

from __future__ import annotations

import uuid

import pytest
from django.db.models import Sum
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from kitting.models import Bench, Box, BoxLine, Operation
from kitting.packing.queries.bench import screen
from tests import factories
from tests.benches import Packing, make_packing, newest_number
from tests.concurrency.threads import times

pytestmark = pytest.mark.django_db(transaction=True)

BENCHES = 2
BOXES = 10
"""At each of them."""
MOST_SCANS = 300
"""For one box: who comes too late fetches the bag once more."""


class Packer:
    """Somebody who does what the screen asks, whatever the other one does meanwhile."""

    def __init__(self, client: Client, at: Packing, bench: Bench) -> None:
        self.client, self.at, self.bench = client, at, bench
        revisions = (at.band, at.visor, at.manual)
        names = [revision.part.name for revision in revisions]
        self.bags = dict(zip(names, (bag.number for bag in at.bags), strict=True))

    def scan(self, text: str) -> int:
        address = reverse("kitting:bench-scan", args=[self.bench.code])
        box, key = newest_number(self.bench), str(uuid.uuid4())
        sent = {"scan": text, "box": box, "op_key": key}
        return self.client.post(
            address, sent, headers={"HX-Request": "true"}
        ).status_code

    def next(self) -> str:
        now = timezone.now()
        seen = screen(self.bench, today=factories.TODAY, now=now)
        if seen.asked is not None:
            return self.bags[seen.asked.part]
        return {
            "choose": f"ACT-BOX-{self.at.size.sets}",
            "close": "ACT-CLOSE",
            "label": str(seen.box and seen.box.serial),
        }[seen.step]

    def pack(self) -> list[int]:
        """Pack boxes; gives the statuses of all answers."""
        answers = []
        mine = Box.objects.filter(bench=self.bench, stage="labelled")
        while mine.count() < BOXES and len(answers) < BOXES * MOST_SCANS:
            answers.append(self.scan(self.next()))
        return answers


def test_two_benches_pack_out_of_the_same_bags(
    monkeypatch: pytest.MonkeyPatch, make_user, client_for
) -> None:
    monkeypatch.setattr(timezone, "now", lambda: factories.NOW)
    at = make_packing(pieces=BENCHES * BOXES * 12)
    benches = [at.bench, factories.make_bench()]
    client = client_for(make_user("packer", group="packer"))
    packers = [Packer(client, at, bench) for bench in benches]
    results = times(BENCHES, lambda n: packers[n].pack())
    assert results.errors == []
    assert {status for answers in results.values for status in answers} <= {
        200,
        409,
        422,
    }
    for bench in benches:
        assert bench.boxes.filter(stage="labelled").count() == BOXES
    inside = BoxLine.objects.values_list("lot__part__name").annotate(Sum("pieces"))
    every = BENCHES * BOXES
    parts = [revision.part.name for revision in (at.band, at.visor, at.manual)]
    assert dict(inside) == dict(zip(parts, (6 * every, 12 * every, every), strict=True))
    brought = Operation.objects.filter(name="bring_bag")
    assert brought.count() > 3 * BENCHES, "they took bags from each other"
    assert factories.prove() == []
