"""A bench's open bag: dropped as soon as it is empty, whoever empties it."""

from __future__ import annotations

import pytest

from kitting.domain.stages import BagStage
from kitting.ledger.proof.faults import Tally
from kitting.lots.proof import lots as proof
from kitting.models import Bench, OpenBag
from kitting.packing.services import boxes
from tests import factories
from tests.factories import sign

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(("used", "stays"), [(100, False), (99, True)])
def test_a_bag_that_a_lot_is_made_from_is_open_only_while_it_holds_pieces(
    used: int, stays: bool
) -> None:
    bench, bag = factories.make_bench(), factories.make_bag(pieces=100)
    boxes.bring_bag(bench_id=bench.pk, bag_id=bag.pk, sign=sign())
    part = factories.make_part(needs_check=False, needs_clearing=False)
    factories.make_lot(factories.make_revision(part), made_from=((bag.lot_id, used),))
    bag.refresh_from_db()
    assert (bag.stage == BagStage.USED_UP) is not stays
    assert OpenBag.objects.filter(bag=bag).exists() is stays
    tally = Tally("open bags", "bags")
    proof.open_at_benches(tally)
    assert (tally.count, tally.faults) == (int(stays), [])


def test_a_bag_that_goes_to_another_bench_says_where_it_was() -> None:
    first, second, third = (factories.make_bench() for _ in range(3))
    bag = factories.make_bag(pieces=100)

    def bring(bench: Bench) -> tuple[str, Bench | None]:
        done = boxes.bring_bag(bench_id=bench.pk, bag_id=bag.pk, sign=sign())
        row = OpenBag.objects.get(bag=bag)
        assert row.bench == bench
        return done.from_bench, row.taken_from

    assert bring(first) == ("", None)
    assert bring(first) == ("", None)  # scanned there twice
    assert bring(second) == (first.code, first)
    assert bring(second) == ("", first)  # it is still missed there
    assert bring(third) == (second.code, second)
    assert bring(second) == (third.code, third)
    boxes.take_off_bench(bench_id=second.pk, bag_id=bag.pk, sign=sign())
    assert bring(first) == ("", None)


def test_another_bag_of_the_part_is_no_word_of_a_bench() -> None:
    bench = factories.make_bench()
    revision = factories.make_revision(
        factories.make_part(needs_check=False, needs_clearing=False)
    )
    for bag in [factories.make_bag(revision) for _ in range(2)]:
        done = boxes.bring_bag(bench_id=bench.pk, bag_id=bag.pk, sign=sign())
        assert done.from_bench == ""
    assert OpenBag.objects.get().taken_from is None
