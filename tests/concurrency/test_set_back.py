"""A bag that was open for too long is set back once, and stays held where it is held."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from uuid import uuid4

import pytest
from django.db import connection, transaction

from kitting.domain.stages import BagStage
from kitting.ledger import holds
from kitting.ledger.operations import Sign
from kitting.ledger.reach import standing_reach
from kitting.lots.services.set_back import set_back
from kitting.models import Bag
from kitting.packing.services import boxes as packing
from tests import factories
from tests.concurrency.threads import at_once, meeting, times

pytestmark = pytest.mark.django_db(transaction=True)

control = pytest.mark.skipif(
    connection.vendor == "sqlite",
    reason="SQLite lets one writer in at a time: the race cannot happen there",
)


def _overdue() -> tuple[Bag, Sign]:
    """A cleared bag that was open for nine hours, of a part that may be for eight."""
    part = factories.make_part(needs_check=False, needs_clearing=False, open_hours=8)
    bag = factories.make_bag(factories.make_revision(part), pieces=20)
    bench = factories.make_bench()
    packing.bring_bag(bench_id=bench.pk, bag_id=bag.pk, sign=factories.sign())
    return bag, factories.sign(now=factories.NOW + timedelta(hours=9))


@control
def test_control_without_the_bags_lock_it_is_set_back_twice() -> None:
    """Both read twenty pieces, and both put them into a new bag."""
    bag, _late = _overdue()
    meet = meeting(2)

    def move(n: int) -> None:
        with transaction.atomic(durable=True):
            seen = Bag.objects.get(pk=bag.pk)
            meet()
            new = {"lot": seen.lot, "pieces": seen.pieces, "stage": BagStage.ARRIVED}
            Bag.objects.create(number=f"B-TWIN-{n}", **new)
            Bag.objects.filter(pk=bag.pk).update(pieces=0, stage=BagStage.USED_UP)

    assert times(2, move).errors == []
    pieces = Bag.objects.filter(lot=bag.lot).values_list("pieces", flat=True)
    assert sum(pieces) == 40


def test_a_bag_that_is_set_back_at_six_tablets_goes_back_once() -> None:
    bag, late = _overdue()
    signs = [replace(late, key=uuid4()) for _ in range(6)]
    results = times(6, lambda n: set_back(bag_id=bag.pk, sign=signs[n]))
    assert len(results.values) == 1
    codes = {getattr(error, "code", error) for error in results.errors}
    assert codes == {"bag_wrong_stage"}
    assert sum(bag.lot.bags.values_list("pieces", flat=True)) == 20
    assert factories.prove() == []


def test_a_hold_and_a_set_back_never_miss_each_other() -> None:
    """Whichever comes first, the pieces are held in the bag that has them."""
    bag, late = _overdue()
    held = replace(late, key=uuid4())
    what = {"target": "bag", "value": bag.pk, "reason": "Haze", "sign": held}
    results = at_once(
        [lambda: set_back(bag_id=bag.pk, sign=late), lambda: holds.place_hold(**what)]
    )
    assert results.errors == []
    new = Bag.objects.get(number=results.of[0].into)
    assert standing_reach().bag(new)
    assert factories.prove() == []
