"""Two bags of one part are brought to a bench at once: what decides is read behind locks.

PostgreSQL's manual, 13.2.1: a statement that waited for a row sees that row as it is by
then, and all others as they were when it began.
"""

from __future__ import annotations

import time
from functools import partial
from typing import Any

import pytest
from django.db import connection
from django.db.models import Sum

from kitting.ledger import locking
from kitting.models import Box, BoxLine
from kitting.packing.services import boxes
from tests import factories
from tests.benches import Packing, make_packing
from tests.concurrency.threads import at_once, meeting

pytestmark = pytest.mark.django_db(transaction=True)

control = pytest.mark.skipif(
    connection.vendor == "sqlite",
    reason="SQLite lets one writer in at a time: the race cannot happen there",
)
LASTS_S = 0.3


def brought(at: Packing, box: Box) -> tuple[list[BaseException], int]:
    """Bring two bags of four headbands, of which the box takes six."""
    bags = [at.bag(at.band, 4).pk for _ in range(2)]
    acts = [
        partial(boxes.bring_bag, bag_id=bag, sign=factories.sign(), newest=box)
        for bag in bags
    ]
    found = at_once([partial(act, bench_id=at.bench.pk) for act in acts])
    inside = BoxLine.objects.filter(box=box, bag__in=bags)
    return found.errors, inside.aggregate(all=Sum("pieces"))["all"]


@pytest.fixture
def at() -> Packing:
    return make_packing()


@pytest.fixture
def box(at: Packing) -> Box:
    return factories.make_open_box(at.size, at.bench)


def slowly(real: Any) -> Any:
    """Foresee, and let the other one wait for a while."""

    def foresee(*asked: Any) -> None:
        real(*asked)
        time.sleep(LASTS_S)

    return foresee


def test_what_decides_is_read_behind_the_locks(
    at: Packing, box: Box, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(boxes, "foresee", slowly(boxes.foresee))
    assert brought(at, box) == ([], 6)
    assert factories.prove() == []


@control
def test_control_read_by_the_statement_that_waits_too_much_goes_in(
    at: Packing, box: Box, monkeypatch: pytest.MonkeyPatch
) -> None:
    meet = meeting(2)
    monkeypatch.setattr(locking, "wait_for", lambda *_rows: meet())
    monkeypatch.setattr(boxes, "foresee", slowly(boxes.foresee))
    assert brought(at, box) == ([], 8)
