"""Acts that a wrong clock, or a long wait, would make into something they are not."""

from __future__ import annotations

from datetime import timedelta

import pytest

from kitting.disinfection.services import runs
from kitting.domain.errors import Refused
from kitting.models import Bag, Box, Run, RunBag
from kitting.packing.services import boxes, voiding
from tests import factories
from tests.assertions import assert_refused
from tests.factories import NOW, sign

pytestmark = pytest.mark.django_db

HOUR = timedelta(hours=1)


@pytest.fixture
def bag() -> Bag:
    part = factories.make_part(needs_check=False, needs_clearing=True)
    return factories.make_lot(factories.make_revision(part)).bags.get()


@pytest.fixture
def run(bag: Bag) -> Run:
    return factories.open_run(factories.make_protocol(bag.lot.revision))


def test_a_clock_set_back_puts_nothing_on_before_its_run(run: Run, bag: Bag) -> None:
    """Set right again a second later, it would count an hour on the line."""
    for act in (runs.put_on, runs.scan_bag):
        with pytest.raises(Refused) as caught:
            act(run_id=run.pk, bag_id=bag.pk, sign=sign(now=NOW - HOUR))
        assert_refused(caught.value, "clock_behind", run=run.number)
    assert not RunBag.objects.exists()
    assert runs.put_on(run_id=run.pk, bag_id=bag.pk, sign=sign(now=run.opened_at))


def test_nothing_comes_off_before_it_went_on(run: Run, bag: Bag) -> None:
    runs.put_on(run_id=run.pk, bag_id=bag.pk, sign=sign(now=NOW + HOUR))
    with pytest.raises(Refused) as caught:
        runs.take_off(run_id=run.pk, bag_id=bag.pk, short=True, sign=sign(now=NOW))
    assert_refused(caught.value, "clock_behind", run=run.number)
    off = sign(now=NOW + HOUR)
    assert runs.take_off(run_id=run.pk, bag_id=bag.pk, short=True, sign=off)


@pytest.fixture
def box() -> Box:
    """A complete open box, all from one bag that may be open for two hours."""
    part = factories.make_part(needs_check=False, needs_clearing=False, open_hours=2)
    bag = factories.make_lot(factories.make_revision(part)).bags.get()
    recipe = factories.make_recipe([(bag.lot.revision, 1, "set")])
    return factories.make_open_box(factories.make_size(recipe), None, bag)


def test_a_box_that_stood_open_for_too_long_is_not_closed(box: Box) -> None:
    bag = box.lines.get().bag
    late = NOW + timedelta(hours=2, seconds=1)
    with pytest.raises(Refused) as caught:
        boxes.close_box(box_id=box.pk, sign=sign(now=late))
    assert_refused(caught.value, "bag_open_too_long", bag=bag.number, hours=2)
    assert voiding.cancel_box(box_id=box.pk, reason="Too late", sign=sign(now=late))


def test_a_box_is_closed_until_the_last_moment(box: Box) -> None:
    in_time = NOW + timedelta(hours=2)
    assert boxes.close_box(box_id=box.pk, sign=sign(now=in_time)).serial
