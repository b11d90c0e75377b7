"""Bags onto a bench, boxes started, filled, closed and labelled."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from kitting.domain import gs1
from kitting.domain.errors import (
    Conflict,
    Missing,
    OnHold,
    OperationKeyReused,
    Refused,
    WrongStage,
)
from kitting.domain.stages import BagStage, BoxStage, MovementKind
from kitting.ledger import holds
from kitting.models import (
    Box,
    BoxLine,
    Movement,
    OpenBag,
    Operation,
    RecipeLine,
    Workshop,
)
from kitting.models.catalogue import Per
from kitting.packing.services import boxes
from kitting.packing.services.labels import print_box_label
from tests import factories
from tests.assertions import assert_refused
from tests.benches import make_packing, revision_of
from tests.databases import once_a_module
from tests.factories import NOW, TODAY, sign

pytestmark = pytest.mark.django_db


@once_a_module
def at():
    return make_packing()


def bring(at, bag, **changes):
    return boxes.bring_bag(bench_id=at.bench.pk, bag_id=bag.pk, sign=sign(**changes))


def start(at, **changes):
    started = boxes.start_box(
        bench_id=at.bench.pk, size_id=at.size.pk, sign=sign(**changes)
    )
    return Box.objects.get(pk=started.box_id)


def close(box, **changes):
    closed = boxes.close_box(box_id=box.pk, sign=sign(**changes))
    box.refresh_from_db()
    return closed


def full_box(at):
    box = start(at)
    for bag in at.bags:
        bring(at, bag)
    return box


def in_box(box) -> dict[str, int]:
    lines = BoxLine.objects.filter(box=box).select_related("lot__part")
    return {line.lot.part.name: line.pieces for line in lines}


def nothing_written(before: int) -> bool:
    return Operation.objects.count() == before


# -- Bags ---------------------------------------------------------------------------


def test_a_bag_brought_to_a_bench_stands_there_and_is_open(at) -> None:
    brought = bring(at, at.band_bag)
    at.band_bag.refresh_from_db()
    assert (brought.bag, brought.part) == (at.band_bag.number, "Headband")
    assert brought.taken == 0
    assert at.band_bag.place == at.bench.place
    assert at.band_bag.opened_at == NOW
    assert OpenBag.objects.get(bench=at.bench).bag == at.band_bag
    moved = Movement.objects.filter(bag=at.band_bag).latest("nth")
    assert (moved.kind, moved.delta) == (MovementKind.PLACED, 0)
    assert moved.place == at.bench.place


def test_a_bag_that_is_there_already_moves_no_second_time(at) -> None:
    bring(at, at.band_bag)
    moves = at.band_bag.movements.count()
    bring(at, at.band_bag, now=NOW + timedelta(hours=1))
    at.band_bag.refresh_from_db()
    assert at.band_bag.movements.count() == moves
    assert at.band_bag.opened_at == NOW


def test_a_second_bag_of_a_part_takes_the_place_of_the_first(at) -> None:
    other = at.bag(at.band)
    bring(at, at.band_bag)
    bring(at, other)
    assert list(OpenBag.objects.values_list("bag", flat=True)) == [other.pk]


def test_a_bag_open_at_one_bench_moves_to_another(at) -> None:
    bring(at, at.band_bag)
    second = factories.make_bench()
    boxes.bring_bag(bench_id=second.pk, bag_id=at.band_bag.pk, sign=sign())
    assert OpenBag.objects.get().bench == second


def test_a_box_fills_from_a_bag_and_takes_no_more_than_it_needs(at) -> None:
    box = start(at)
    assert bring(at, at.band_bag).taken == 6
    assert bring(at, at.visor_bag).taken == 12
    assert bring(at, at.manual_bag).taken == 1
    assert in_box(box) == {"Headband": 6, "Visor": 12, "Manual": 1}
    at.visor_bag.refresh_from_db()
    assert at.visor_bag.pieces == 88
    assert bring(at, at.visor_bag).taken == 0


def test_a_bag_that_is_emptied_is_used_up_and_open_no_more(at) -> None:
    box = start(at)
    small = at.bag(at.visor, 5)
    assert bring(at, small).taken == 5
    small.refresh_from_db()
    assert (small.stage, small.pieces) == (BagStage.USED_UP, 0)
    assert not OpenBag.objects.filter(bag=small).exists()
    assert bring(at, at.visor_bag).taken == 7
    assert sum(box.lines.values_list("pieces", flat=True)) == 12


def test_pieces_of_one_bag_stand_in_one_line_of_a_box(at) -> None:
    """Twice the same bag, because the recipe's need grew between the two scans."""
    box = start(at)
    bring(at, at.band_bag)
    RecipeLine.objects.filter(recipe=at.recipe, part=at.band.part).update(pieces=2)
    assert bring(at, at.band_bag).taken == 6
    assert BoxLine.objects.get(box=box).pieces == 12


def test_only_a_cleared_bag_is_packed_from(at) -> None:
    part = factories.make_part(needs_check=False, needs_clearing=True)
    bag = factories.make_lot(factories.make_revision(part)).bags.get()
    with pytest.raises(WrongStage) as error:
        bring(at, bag)
    assert_refused(error.value, "bag_not_cleared", bag=bag.number, stage="accepted")


def test_a_bag_on_hold_is_refused_and_nothing_is_written(at) -> None:
    holds.place_hold(
        target="lot", value=at.band_bag.lot_id, reason="Rough edge", sign=sign()
    )
    before = Operation.objects.count()
    with pytest.raises(OnHold) as error:
        bring(at, at.band_bag)
    assert_refused(error.value, "bag_on_hold", bag=at.band_bag.number)
    assert nothing_written(before)
    assert not OpenBag.objects.exists()


@pytest.mark.parametrize(("days", "refused"), [(0, False), (1, True)])
def test_a_bag_is_packed_up_to_its_use_by_day(at, days: int, refused: bool) -> None:
    """The use-by date is the last day of use: ISO 15223-1, 5.1.4 (common reading)."""
    bag = at.bag(at.band, use_by=TODAY)
    now = NOW + timedelta(days=days)
    if not refused:
        assert bring(at, bag, now=now).bag == bag.number
        return
    with pytest.raises(Refused) as error:
        bring(at, bag, now=now)
    assert_refused(error.value, "lot_past_use_by", bag=bag.number, use_by=TODAY)


@pytest.mark.parametrize(("minutes", "refused"), [(480, False), (481, True)])
def test_a_bag_may_be_open_for_its_hours(at, minutes: int, refused: bool) -> None:
    at.band.part.open_hours = 8
    at.band.part.save(update_fields=["open_hours"])
    bring(at, at.band_bag)
    later = NOW + timedelta(minutes=minutes)
    if not refused:
        assert bring(at, at.band_bag, now=later).taken == 0
        return
    with pytest.raises(Refused) as error:
        bring(at, at.band_bag, now=later)
    assert_refused(error.value, "bag_open_too_long", hours=8)


def test_a_part_that_the_box_does_not_need_is_refused(at) -> None:
    start(at)
    strange = factories.make_bag()
    with pytest.raises(Refused) as error:
        bring(at, strange)
    assert_refused(error.value, "part_not_in_recipe", bag=strange.number)


def test_a_revision_that_is_not_pinned_is_refused_and_a_substitute_is_not(at) -> None:
    box = start(at)
    newer = factories.make_revision(at.band.part, "B")
    bag = at.bag(newer)
    with pytest.raises(Refused) as error:
        bring(at, bag)
    assert_refused(error.value, "revision_not_pinned", revision="B", wanted="A")
    factories.substitute(at.recipe, at.band.part, newer)
    assert bring(at, bag).taken == 6
    assert in_box(box) == {"Headband": 6}


def test_a_bag_or_bench_that_is_not_there_is_said(at) -> None:
    with pytest.raises(Missing):
        boxes.bring_bag(bench_id=at.bench.pk, bag_id=1, sign=sign())
    with pytest.raises(Missing):
        boxes.bring_bag(bench_id=1, bag_id=at.band_bag.pk, sign=sign())


def test_a_bag_brought_while_a_closed_box_waits_is_only_opened(at) -> None:
    box = full_box(at)
    close(box)
    assert bring(at, at.visor_bag).taken == 0
    assert in_box(box)["Visor"] == 12


def test_a_bag_taken_off_the_bench_keeps_its_pieces_and_gives_no_more(at) -> None:
    bring(at, at.band_bag)
    boxes.take_off_bench(bench_id=at.bench.pk, bag_id=at.band_bag.pk, sign=sign())
    assert not OpenBag.objects.exists()
    at.band_bag.refresh_from_db()
    assert (at.band_bag.place, at.band_bag.pieces) == (at.bench.place, 100)
    assert in_box(start(at)) == {}


def test_only_an_open_bag_of_this_bench_is_taken_off(at) -> None:
    with pytest.raises(WrongStage) as error:
        boxes.take_off_bench(bench_id=at.bench.pk, bag_id=at.band_bag.pk, sign=sign())
    assert_refused(error.value, "bag_not_open_here", bag=at.band_bag.number)


# -- Boxes --------------------------------------------------------------------------


def test_a_box_fills_at_once_from_the_open_bags(at) -> None:
    for bag in at.bags:
        bring(at, bag)
    started = boxes.start_box(bench_id=at.bench.pk, size_id=at.size.pk, sign=sign())
    assert started.taken == 19
    box = Box.objects.get(pk=started.box_id)
    assert (box.stage, box.recipe, box.bench) == (BoxStage.OPEN, at.recipe, at.bench)
    assert in_box(box) == {"Headband": 6, "Visor": 12, "Manual": 1}
    packed = Movement.objects.filter(box=box, kind=MovementKind.PACKED)
    assert sum(packed.values_list("delta", flat=True)) == -19


def test_a_box_passes_over_open_bags_that_may_not_be_packed(at) -> None:
    strange = factories.make_bag()
    empty_soon = at.bag(at.manual, 1)
    for bag in (at.band_bag, at.visor_bag, strange, empty_soon):
        bring(at, bag)
    holds.place_hold(target="bag", value=at.band_bag.pk, reason="Torn", sign=sign())
    box = start(at)
    assert in_box(box) == {"Visor": 12, "Manual": 1}
    assert not OpenBag.objects.filter(bag=empty_soon).exists()


def test_a_bench_has_one_box_that_is_not_labelled(at) -> None:
    box = start(at)
    with pytest.raises(Conflict) as error:
        start(at)
    assert_refused(error.value, "bench_has_a_box", bench=at.bench.name)
    assert Box.objects.get() == box


def test_a_size_needs_a_recipe_in_force(at) -> None:
    at.recipe.in_force = False
    at.recipe.save(update_fields=["in_force"])
    with pytest.raises(Refused) as error:
        start(at)
    assert_refused(error.value, "no_recipe_in_force", product=at.size.product.name)
    with pytest.raises(Missing):
        boxes.start_box(bench_id=at.bench.pk, size_id=1, sign=sign())


@pytest.mark.parametrize("taken", [("band", "visor"), ("visor", "manual"), ()])
def test_a_box_closes_only_complete_to_the_piece(at, taken: tuple[str, ...]) -> None:
    box = start(at)
    for name in taken:
        bring(at, getattr(at, f"{name}_bag"))
    with pytest.raises(Refused) as error:
        close(box)
    assert_refused(error.value, "box_not_complete", box=box.number)
    box.refresh_from_db()
    assert (box.stage, box.serial) == (BoxStage.OPEN, None)


def test_a_closed_box_has_its_identity(at) -> None:
    box = full_box(at)
    closed = close(box)
    assert (box.stage, box.packed_on, box.closed_at) == ("closed", TODAY, NOW)
    assert gs1.sscc_ok(closed.sscc or "")
    # 14 January is day 14 of 2026; a kit batch carries YYDDD (ISO 8601 ordinal date).
    assert "26014" in closed.batch
    assert at.size.product.code in closed.batch
    assert closed.serial == box.serial
    assert box.events.latest("nth").after == "closed"


def test_a_box_without_a_company_prefix_has_no_sscc(at) -> None:
    Workshop.objects.update(gs1_prefix="")
    assert close(full_box(at)).sscc is None


def test_a_box_is_used_by_the_earliest_date_in_it(at) -> None:
    late, early = date(2027, 3, 1), date(2026, 9, 1)
    box = start(at)
    bring(at, at.bag(at.band, use_by=late))
    bring(at, at.bag(at.visor, use_by=early))
    bring(at, at.manual_bag)
    close(box)
    assert box.use_by == early


def test_a_box_with_a_part_that_went_past_its_date_is_not_closed(at) -> None:
    box = start(at)
    bring(at, at.bag(at.band, use_by=TODAY))
    bring(at, at.visor_bag)
    bring(at, at.manual_bag)
    with pytest.raises(Refused) as error:
        close(box, now=NOW + timedelta(days=1))
    assert_refused(error.value, "lot_past_use_by", use_by=TODAY)


@pytest.mark.parametrize("target", ["lot", "bag", "box"])
def test_a_hold_stops_the_closing(at, target: str) -> None:
    box = full_box(at)
    value = {"lot": at.band_bag.lot_id, "bag": at.band_bag.pk, "box": box.pk}[target]
    holds.place_hold(target=target, value=value, reason="Rough edge", sign=sign())
    with pytest.raises(OnHold) as error:
        close(box)
    if target == "box":
        assert_refused(error.value, "box_on_hold", box=box.number)
    else:
        out = f"6 × Headband ({at.band_bag.number})"
        assert_refused(error.value, "held_in_box", box=box.number, out=out)


def test_a_box_closes_once(at) -> None:
    box = full_box(at)
    close(box)
    with pytest.raises(WrongStage) as error:
        close(box)
    assert_refused(error.value, "box_wrong_stage", stage="closed", wanted="closed")


# -- Labels seen --------------------------------------------------------------------


def see(box, read: str):
    return boxes.see_label(box_id=box.pk, read=read, sign=sign())


@pytest.mark.parametrize("name", ["serial", "sscc"])
def test_a_box_is_labelled_when_its_own_printed_label_is_scanned(at, name: str) -> None:
    box = full_box(at)
    close(box)
    print_box_label(box_id=box.pk, sign=sign())
    seen = see(box, getattr(box, name))
    box.refresh_from_db()
    assert (seen.stage, box.stage, box.label_seen_at) == ("labelled", "labelled", NOW)
    assert start(at).pk != box.pk  # the bench is free


def test_a_label_that_was_not_printed_labels_nothing(at) -> None:
    box = full_box(at)
    close(box)
    with pytest.raises(Refused) as error:
        see(box, box.serial)
    assert_refused(error.value, "label_not_printed", box=box.serial)


def test_another_boxs_label_is_refused(at) -> None:
    other = factories.make_closed_box()
    box = full_box(at)
    close(box)
    print_box_label(box_id=box.pk, sign=sign())
    with pytest.raises(Refused) as error:
        see(box, other.serial)
    assert_refused(error.value, "other_label", read=other.serial, box=box.serial)


# -- Keys ---------------------------------------------------------------------------


def test_an_act_sent_again_happens_once_and_gives_its_first_outcome(at) -> None:
    once = sign(bench_id=at.bench.pk)
    box = start(at)

    def again():
        return boxes.bring_bag(bench_id=at.bench.pk, bag_id=at.band_bag.pk, sign=once)

    first, count = again(), Operation.objects.count()
    assert again() == first
    assert Operation.objects.count() == count
    assert in_box(box) == {"Headband": 6}
    with pytest.raises(OperationKeyReused):
        boxes.bring_bag(bench_id=at.bench.pk, bag_id=at.visor_bag.pk, sign=once)


def test_a_resent_closing_is_answered_although_the_box_is_closed(at) -> None:
    box, once = full_box(at), sign()
    first = boxes.close_box(box_id=box.pk, sign=once)
    assert boxes.close_box(box_id=box.pk, sign=once) == first


def test_a_recipe_may_need_nothing_of_an_open_part(at) -> None:
    only = factories.make_recipe([(revision_of("Bag"), 1, Per.BOX)])
    size = factories.make_size(only, 1)
    bring(at, at.band_bag)
    started = boxes.start_box(bench_id=at.bench.pk, size_id=size.pk, sign=sign())
    assert started.taken == 0
