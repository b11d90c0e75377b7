"""An open box handed over to another bench: one act, nothing lost, nobody walks twice."""

from __future__ import annotations

from typing import Any

import pytest

from kitting.domain.errors import LotwardError
from kitting.domain.stages import BoxStage
from kitting.ledger import holds
from kitting.models import (
    Bag,
    Bench,
    Box,
    BoxHanded,
    BoxLine,
    Movement,
    OpenBag,
    RecipeLine,
)
from kitting.models.catalogue import Per
from kitting.packing.queries.undo import acts_at
from kitting.packing.services import boxes, undo, voiding
from kitting.packing.services.hand_over import HandedOver, hand_over
from tests import factories
from tests.benches import Packing, make_packing
from tests.databases import once_a_module
from tests.factories import sign
from tests.kitting.ledger.test_guards import refused

pytestmark = pytest.mark.django_db


@once_a_module
def at() -> Packing:
    return make_packing()


@once_a_module
def other() -> Bench:
    return factories.make_bench()


def give(box: Box, to: Bench, **more: Any) -> HandedOver:
    box.refresh_from_db()
    what = {"bench_id": box.bench_id, "box_id": box.pk, "to_id": to.pk} | more
    return hand_over(**what, sign=sign())


def refusal(box: Box, to: Bench, **more: Any) -> str:
    before = Movement.objects.count(), BoxHanded.objects.count()
    with pytest.raises(LotwardError) as error:
        give(box, to, **more)
    assert before == (Movement.objects.count(), BoxHanded.objects.count())
    return error.value.code


def inside(box: Box) -> list[tuple[str, int]]:
    return list(BoxLine.objects.filter(box=box).values_list("bag__number", "pieces"))


def open_at(bench: Bench) -> set[str]:
    rows = OpenBag.objects.filter(bench=bench)
    return set(rows.values_list("bag__number", flat=True))


def test_the_box_goes_on_at_the_other_bench_with_all_that_is_in_it(at, other) -> None:
    box = factories.make_open_box(at.size, at.bench, at.band_bag, at.visor_bag)
    before = inside(box)
    done = give(box, other)
    box.refresh_from_db()
    assert (box.bench, box.stage, inside(box)) == (other, BoxStage.OPEN, before)
    assert (done.box, done.came_from, done.went_to) == (
        box.number,
        at.bench.code,
        other.code,
    )
    boxes.bring_bag(bench_id=other.pk, bag_id=at.manual_bag.pk, sign=sign())
    boxes.close_box(box_id=box.pk, sign=sign(bench_id=other.pk))
    boxes.start_box(bench_id=at.bench.pk, size_id=at.size.pk, sign=sign())
    assert factories.prove() == []


def test_bags_that_the_other_bench_lacks_go_along_and_the_others_stay(
    at, other
) -> None:
    own = at.bag(at.visor)
    boxes.bring_bag(bench_id=other.pk, bag_id=own.pk, sign=sign())
    box = factories.make_open_box(at.size, at.bench, at.band_bag, at.visor_bag)
    done = give(box, other)
    assert done.bags == at.band_bag.number
    assert open_at(other) == {own.number, at.band_bag.number}
    assert open_at(at.bench) == {at.visor_bag.number}
    band, visor = (Bag.objects.get(pk=b.pk) for b in (at.band_bag, at.visor_bag))
    assert (band.place_id, visor.place_id) == (other.place_id, at.bench.place_id)
    assert OpenBag.objects.get(bag=band).taken_from == at.bench
    assert factories.prove() == []


def test_a_bag_that_nothing_may_be_packed_from_stays(at, other) -> None:
    box = factories.make_open_box(at.size, at.bench, at.band_bag)
    boxes.bring_bag(bench_id=at.bench.pk, bag_id=at.visor_bag.pk, sign=sign())
    line = BoxLine.objects.get(bag=at.visor_bag)
    voiding.cancel_box(box_id=box.pk, reason="Wrong size", sign=sign())
    assert line.pieces
    holds.place_hold(target="bag", value=at.visor_bag.pk, reason="Haze", sign=sign())
    started = boxes.start_box(bench_id=at.bench.pk, size_id=at.size.pk, sign=sign())
    box = Box.objects.get(pk=started.box_id)
    assert give(box, other).bags == at.band_bag.number
    assert open_at(at.bench) == {at.visor_bag.number}
    assert factories.prove() == []


def test_a_bag_of_a_part_that_is_not_in_this_box_stays(at, other) -> None:
    alien = factories.make_bag()
    boxes.bring_bag(bench_id=at.bench.pk, bag_id=alien.pk, sign=sign())
    started = boxes.start_box(bench_id=at.bench.pk, size_id=at.size.pk, sign=sign())
    assert give(Box.objects.get(pk=started.box_id), other).bags == ""
    assert open_at(at.bench) == {alien.number}


def test_it_is_taken_back_by_handing_it_back(at, other) -> None:
    box = factories.make_open_box(at.size, at.bench, at.band_bag)
    give(box, other)
    give(box, at.bench)
    box.refresh_from_db()
    assert (box.bench, open_at(at.bench)) == (at.bench, {at.band_bag.number})
    assert open_at(other) == set()
    assert BoxHanded.objects.filter(box=box).count() == 2
    assert factories.prove() == []


def test_what_is_held_stays_where_it_is(at, other) -> None:
    box = factories.make_open_box(at.size, at.bench, at.band_bag)
    holds.place_hold(target="bag", value=at.band_bag.pk, reason="Haze", sign=sign())
    assert refusal(box, other) == "held_in_box"
    holds.place_hold(target="box", value=box.pk, reason="Wet", sign=sign())
    assert refusal(box, other) == "box_on_hold"


def test_only_to_a_bench_that_is_free(at, other) -> None:
    box = factories.make_open_box(at.size, at.bench, at.band_bag)
    assert refusal(box, at.bench) == "hand_over_to_itself"
    factories.make_open_box(at.size, other)
    assert refusal(box, other) == "bench_has_a_box"
    closed = factories.make_bench()
    Bench.objects.filter(pk=closed.pk).update(active=False)
    assert refusal(box, closed) == "bench_closed"
    third = factories.make_bench()
    assert refusal(box, third, bench_id=other.pk) == "bench_has_another_box"


def test_a_box_that_is_closed_stays(at, other) -> None:
    box = factories.make_open_box(at.size, at.bench, *at.bags)
    boxes.close_box(box_id=box.pk, sign=sign())
    assert refusal(box, other) == "only_open_box_handed_over"
    voided = factories.make_open_box(at.size, factories.make_bench())
    voiding.cancel_box(box_id=voided.pk, reason="Wrong size", sign=sign())
    assert refusal(voided, other) == "only_open_box_handed_over"


def test_the_same_key_hands_over_once(at, other) -> None:
    box = factories.make_open_box(at.size, at.bench, at.band_bag)
    signed = sign(bench_id=at.bench.pk)
    what = {"bench_id": at.bench.pk, "box_id": box.pk, "to_id": other.pk}
    first = hand_over(**what, sign=signed)
    give(box, at.bench)
    assert hand_over(**what, sign=signed) == first
    box.refresh_from_db()
    assert (box.bench, BoxHanded.objects.count()) == (at.bench, 2)


# -- What the database refuses --------------------------------------------------------


def test_the_database_lets_no_box_go_to_another_bench_without_the_act(
    at, other
) -> None:
    box = factories.make_open_box(at.size, at.bench)
    where = Box.objects.filter(pk=box.pk)
    assert refused(lambda: where.update(bench=other))
    assert refused(lambda: where.update(bench=None))
    give(box, other)
    # What let it go once lets it go no more, neither on nor back.
    third = factories.make_bench()
    for bench in (at.bench, third, None):
        assert refused(lambda b=bench: where.update(bench=b))
    give(box, third)
    assert where.get().bench == third


# -- Undo -----------------------------------------------------------------------------


def codes_of_undo(bench: Bench) -> str:
    last = acts_at(bench.pk).last
    assert last is not None
    with pytest.raises(LotwardError) as error:
        undo.undo(bench_id=bench.pk, act_id=last.pk, sign=sign())
    return error.value.code


def test_neither_bench_undoes_what_was_before_the_hand_over(at, other) -> None:
    own = at.bag(at.visor)
    there, here = sign(bench_id=other.pk), sign(bench_id=at.bench.pk)
    boxes.bring_bag(bench_id=other.pk, bag_id=own.pk, sign=there)
    box = factories.make_open_box(at.size, at.bench)
    boxes.bring_bag(bench_id=at.bench.pk, bag_id=at.band_bag.pk, sign=here)
    give(box, other)
    for bench in (at.bench, other):
        last = acts_at(bench.pk).last
        assert last is not None
        assert last.name == "hand_over"
        assert codes_of_undo(bench) == "act_stays"
    give(box, at.bench)
    for bench in (at.bench, other):
        assert codes_of_undo(bench) == "act_stays"


def test_what_was_done_since_at_the_bench_that_took_it_is_undone_there(
    at, other
) -> None:
    box = factories.make_open_box(at.size, at.bench, at.band_bag)
    give(box, other)
    there = sign(bench_id=other.pk)
    boxes.bring_bag(bench_id=other.pk, bag_id=at.visor_bag.pk, sign=there)
    last = acts_at(other.pk).last
    assert last is not None
    undo.undo(bench_id=other.pk, act_id=last.pk, sign=sign())
    assert [bag for bag, _pieces in inside(box)] == [at.band_bag.number]
    assert codes_of_undo(other) == "act_stays"
    assert factories.prove() == []


# -- People ---------------------------------------------------------------------------


def test_another_person_at_the_same_bench_goes_on_with_the_box(at) -> None:
    """Each act has the person who did it; the box belongs to nobody."""
    first, second = (factories.make_person("packer") for _ in range(2))
    mine, theirs = (sign(by=who, bench_id=at.bench.pk) for who in (first, second))
    started = boxes.start_box(bench_id=at.bench.pk, size_id=at.size.pk, sign=mine)
    boxes.bring_bag(bench_id=at.bench.pk, bag_id=at.band_bag.pk, sign=theirs)
    box = Box.objects.get(pk=started.box_id)
    packed = Movement.objects.get(box=box)
    event = box.events.get()
    assert (event.operation.by, packed.operation.by) == (first, second)


def test_a_carton_of_another_size_stays(at, other) -> None:
    small, large = (factories.make_bag() for _ in range(2))
    for sets, bag in ((6, small), (24, large)):
        RecipeLine.objects.create(
            recipe=at.recipe,
            part=bag.lot.part,
            revision=bag.lot.revision,
            pieces=1,
            per=Per.BOX,
            sets=sets,
        )
    box = factories.make_open_box(at.size, at.bench, at.band_bag, small)
    boxes.bring_bag(bench_id=at.bench.pk, bag_id=large.pk, sign=sign())
    give(box, other)
    assert open_at(other) == {at.band_bag.number, small.number}
    assert open_at(at.bench) == {large.number}
