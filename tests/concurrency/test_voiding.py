"""A box that is filled and closed while somebody voids it loses no piece."""

from __future__ import annotations

import threading

import pytest
from django.db import connection, transaction

from kitting.domain.errors import Conflict
from kitting.domain.stages import BoxStage
from kitting.ledger import locking, proof
from kitting.models import Bag, Movement
from kitting.packing.services import boxes, voiding
from tests import factories
from tests.concurrency.threads import at_once
from tests.factories import sign
from tests.patience import PATIENCE_S, until

pytestmark = [
    pytest.mark.django_db(transaction=True),
    pytest.mark.skipif(
        connection.vendor == "sqlite",
        reason="SQLite lets one writer in at a time: the race cannot happen there",
    ),
]


def wait_until_somebody_waits() -> None:
    """Return once a transaction of this database waits for a lock."""

    def somebody_waits() -> bool:
        with connection.cursor() as cursor:
            cursor.execute("SELECT count(*) FROM pg_locks WHERE NOT granted")
            return bool(cursor.fetchone()[0])

    assert until(somebody_waits)


def test_a_box_filled_and_closed_meanwhile_is_not_voided_by_its_old_lines() -> None:
    first = factories.make_bag(needs_check=False, needs_clearing=False)
    second = factories.make_bag(needs_check=False, needs_clearing=False)
    recipe = factories.make_recipe(
        [(first.lot.revision, 1, "set"), (second.lot.revision, 1, "set")]
    )
    box = factories.make_open_box(factories.make_size(recipe), None, first)
    signs = [sign(), sign(), sign()]
    factories.seal_set_up()
    locked = threading.Event()

    def fill_and_close() -> None:
        # The void has read the lines and waits for the bag that is locked here.
        with transaction.atomic():
            locking.lock_row(Bag, first.pk)
            locked.set()
            wait_until_somebody_waits()
            other = threading.Thread(target=bring_and_close)
            other.start()
            other.join(PATIENCE_S)

    def bring_and_close() -> None:
        try:
            boxes.bring_bag(bench_id=box.bench_id, bag_id=second.pk, sign=signs[0])
            boxes.close_box(box_id=box.pk, sign=signs[1])
        finally:
            connection.close()

    def void() -> None:
        locked.wait(PATIENCE_S)
        voiding.void_box(box_id=box.pk, reason="Crushed", sign=signs[2])

    results = at_once([fill_and_close, void])
    box.refresh_from_db()
    assert results.of[0] is None
    assert [type(error) for error in results.errors] == [Conflict]
    assert box.stage == BoxStage.CLOSED
    assert not Movement.objects.filter(kind="scrapped").exists()
    assert [str(fault) for fault in proof.prove()] == []
    voiding.void_box(box_id=box.pk, reason="Crushed", sign=sign())
    assert Movement.objects.filter(kind="scrapped", box=box).count() == 2
