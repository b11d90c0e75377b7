from __future__ import annotations

from collections.abc import Callable

import pytest

from kitting.domain.errors import LotwardError, Missing, OnHold, Refused, WrongStage
from kitting.ledger import holds
from kitting.ledger.reach import held_boxes, refuse_held_bag, standing_reach
from kitting.lots.services import blanks, lots
from kitting.models import Bag, Box, Hold, Lift, Lot, Operation, Revision
from kitting.packing.services import boxes
from tests import factories
from tests.factories import sign, sign_by_another

pytestmark = pytest.mark.django_db


def place(target: str, value: int | str) -> holds.Held:
    return holds.place_hold(target=target, value=value, reason="Crack", sign=sign())


def cleared_bag() -> Bag:
    """A bag that a released run cleared, of a lot with a method and a source."""
    revision = factories.make_revision()
    method = factories.make_released_method()
    lot = factories.accept(
        factories.make_lot(revision, method_id=method.pk, source="Print bench 7")
    )
    run = factories.open_run(factories.make_protocol(revision))
    factories.expose(run, lot.bags.get())
    factories.close_run(run)
    return lot.bags.get()


TARGETS: dict[str, Callable[[Bag], int | str]] = {
    "lot": lambda bag: bag.lot_id,
    "bag": lambda bag: bag.pk,
    "run": lambda bag: bag.cleared_run_id or 0,
    "revision": lambda bag: bag.lot.revision_id,
    "method": lambda bag: bag.lot.method_id or 0,
    "source": lambda bag: bag.lot.source,
    "protocol": lambda bag: bag.cleared_run.protocol_id if bag.cleared_run else 0,
}


@pytest.mark.parametrize("target", TARGETS)
def test_a_hold_on_anything_that_made_a_bag_stops_the_bag(target: str) -> None:
    bag, other = cleared_bag(), factories.make_bag()
    place(target, TARGETS[target](bag))
    with pytest.raises(OnHold) as refusal:
        refuse_held_bag(bag, standing_reach())
    assert refusal.value.code == "bag_on_hold"
    refuse_held_bag(other, standing_reach())
    bench = factories.make_bench()
    with pytest.raises(OnHold):
        boxes.bring_bag(bench_id=bench.pk, bag_id=bag.pk, sign=sign())
    assert not bench.open_bags.exists()


@pytest.mark.parametrize("target", [*TARGETS, "box"])
def test_a_hold_reaches_the_boxes_packed_from_it(target: str) -> None:
    bag = cleared_bag()
    recipe = factories.make_recipe([(bag.lot.revision, 1, "set")])
    size = factories.make_size(recipe)
    box = factories.make_open_box(size, None, bag)
    untouched = factories.make_closed_box()
    value = box.pk if target == "box" else TARGETS[target](bag)
    held = place(target, value)
    assert (held.boxes_here, held.boxes_gone) == (1, 0)
    assert set(held_boxes(standing_reach())) == {box.pk} != {untouched.pk}


def test_a_hold_on_a_material_reaches_what_is_made_from_what_is_made_from_it() -> None:
    sheet = factories.make_lot(
        factories.make_revision(
            factories.make_part(unit="mm", needs_check=False, needs_clearing=False)
        )
    )
    film = made_from(sheet)
    visor = made_from(film)
    bag = visor.bags.get()
    place("lot", sheet.pk)
    with pytest.raises(OnHold):
        refuse_held_bag(bag, standing_reach())
    assert sheet.bags.get().pieces == 100 - 5


def made_from(material: Lot) -> Lot:
    part = factories.make_part(needs_check=False, needs_clearing=False)
    return factories.make_lot(
        factories.make_revision(part), made_from=((material.pk, 5),)
    )


def test_holds_stack_and_each_is_lifted_by_name() -> None:
    bag = factories.make_bag()
    first, second = place("lot", bag.lot_id), place("bag", bag.pk)
    holds.lift_hold(hold_id=first.hold_id, reason="Measured", sign=sign_by_another())
    with pytest.raises(OnHold):
        refuse_held_bag(bag, standing_reach())
    holds.lift_hold(hold_id=second.hold_id, reason="Recounted", sign=sign_by_another())
    refuse_held_bag(bag, standing_reach())
    assert Lift.objects.count() == 2


def test_a_hold_says_how_many_boxes_have_left() -> None:
    box = factories.make_labelled_box()
    factories.send(factories.make_shipment(box))
    line = box.lines.get()
    held = place("lot", line.lot_id)
    assert (held.boxes_here, held.boxes_gone) == (0, 1)


@pytest.mark.parametrize(
    ("target", "value", "reason", "code"),
    [
        ("ward", 1, "Crack", "hold_target_unknown"),
        ("lot", 999, "Crack", "row_missing"),
        ("lot", 999, "  ", "reason_missing"),
    ],
)
def test_a_hold_that_makes_no_sense_is_refused(
    target: str, value: int, reason: str, code: str
) -> None:
    with pytest.raises(LotwardError) as refusal:
        holds.place_hold(target=target, value=value, reason=reason, sign=sign())
    assert refusal.value.code == code
    assert not Hold.objects.exists()
    assert not Operation.objects.exists()


def test_a_hold_is_lifted_once_and_with_a_reason() -> None:
    held = place("revision", Revision.objects.get(pk=factories.make_revision().pk).pk)
    with pytest.raises(Refused):
        holds.lift_hold(hold_id=held.hold_id, reason="", sign=sign_by_another())
    holds.lift_hold(hold_id=held.hold_id, reason="Checked", sign=sign_by_another())
    with pytest.raises(WrongStage):
        holds.lift_hold(hold_id=held.hold_id, reason="Checked", sign=sign_by_another())
    with pytest.raises(Missing):
        holds.lift_hold(
            hold_id=held.hold_id + 1, reason="Checked", sign=sign_by_another()
        )


def test_a_bag_that_came_in_by_a_blank_label_is_held_with_its_lot() -> None:
    number = blanks.give_out_numbers(count=1, sign=sign()).numbers[0]
    part = factories.make_part(needs_check=False, needs_clearing=False)
    lot = factories.make_lot(
        factories.make_revision(part), bags=(lots.NewBag(3, number=number),)
    )
    place("lot", lot.pk)
    bag = Bag.objects.get(number=number)
    with pytest.raises(OnHold):
        refuse_held_bag(bag, standing_reach())
    assert not Box.objects.exists()
