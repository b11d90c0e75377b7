"""Repacked pieces keep lot, stage, run, wear and holds, and none is lost."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest

from dispatch.trace.balance import balance_of
from dispatch.trace.queries import trace
from kitting.checking.services import checks
from kitting.disinfection.services import runs
from kitting.domain.errors import LotwardError
from kitting.ledger import holds
from kitting.ledger.reach import standing_reach
from kitting.lots.services import repack as repacking
from kitting.lots.services.blanks import give_out_numbers
from kitting.lots.services.lots import NewBag
from kitting.models import Bag, Box, Movement, OpenBag, Operation, Revision, RunBag
from kitting.packing.services import boxes
from tests import factories
from tests.assertions import assert_refused
from tests.factories import NOW, sign

pytestmark = pytest.mark.django_db

AMPLE = 500_000_000
"""µJ/cm² that a part may take: more than any run of these tests gives."""


def repack(bag: Bag, pieces: int, **changes: Any) -> repacking.Repacked:
    values = {"sign": sign(), **changes}
    done = repacking.repack(bag_id=bag.pk, pieces=pieces, **values)
    bag.refresh_from_db()
    return done


def refused(bag: Bag, pieces: int, **changes: Any) -> LotwardError:
    before = Operation.objects.count(), Movement.objects.count(), Bag.objects.count()
    with pytest.raises(LotwardError) as caught:
        repack(bag, pieces, **changes)
    now = Operation.objects.count(), Movement.objects.count(), Bag.objects.count()
    assert now == before
    return caught.value


def bag_of(number: str) -> Bag:
    return Bag.objects.select_related("lot__part").get(number=number)


def two_bags(revision: Revision, container: str = "tote") -> tuple[Bag, Bag]:
    """Two bags of 40 and 20 pieces of an accepted lot."""
    bags = (NewBag(40, container=container), NewBag(20, container=container))
    lot = factories.accept(factories.make_lot(revision, bags=bags))
    first, second = lot.bags.order_by("pk")
    return first, second


def clear(*bags: Bag, container: str = "tote") -> None:
    """Send bags through a run that is released."""
    protocol = factories.make_protocol(bags[0].lot.revision, container=container)
    run = factories.open_run(protocol)
    factories.expose(run, *bags)
    factories.close_run(run)
    for bag in bags:
        bag.refresh_from_db()


def assert_balanced(bag: Bag, received: int) -> None:
    balance = balance_of(bag.lot)
    assert (balance.received, balance.in_bags, balance.difference) == (
        received,
        received,
        0,
    )
    for each in bag.lot.bags.all():
        assert balance_of(bag.lot, each).difference == 0


def assert_kept(bag: Bag, received: int) -> None:
    assert_balanced(bag, received)
    assert factories.prove() == []


# -- Splitting ------------------------------------------------------------------------


@pytest.mark.smoke
def test_pieces_keep_lot_and_stage_in_new_bags(subtests: pytest.Subtests) -> None:
    for stage in ("arrived", "accepted", "cleared", "rejected"):
        with subtests.test(stage=stage):
            keeps_lot_and_stage(stage)
    assert factories.prove() == []


def keeps_lot_and_stage(stage: str) -> None:
    revision = factories.make_revision()
    lot = factories.make_lot(revision, bags=(NewBag(40),))
    bag = lot.bags.select_related("lot__part", "lot__revision").get()
    if stage == "rejected":
        factories.reject(lot)
    elif stage != "arrived":
        factories.accept(lot)
    if stage == "cleared":
        clear(bag)
    key = sign()
    done = repack(bag, 12, bags=3, container="open tray", sign=key)
    assert repack(bag, 12, bags=3, container="open tray", sign=key) == done
    assert (done.left, done.new, done.stage) == (4, True, stage)
    for number in done.into:
        new = bag_of(number)
        assert (new.lot, new.stage, new.pieces) == (lot, stage, 12)
        assert (new.container, new.place_id) == ("open tray", bag.place_id)
        assert new.cleared_run_id == bag.cleared_run_id
    assert (bag.pieces, bag.stage) == (4, stage)
    assert_balanced(bag, 40)


def test_the_last_piece_uses_the_bag_up() -> None:
    bag = factories.make_bag(pieces=20)
    boxes.bring_bag(bench_id=factories.make_bench().pk, bag_id=bag.pk, sign=sign())
    done = repack(bag, 20)
    assert (bag.stage, bag.pieces, done.left) == ("used_up", 0, 0)
    assert not OpenBag.objects.filter(bag=bag).exists()
    assert_kept(bag, 20)


def test_a_blank_label_gives_the_new_bag_its_number() -> None:
    bag = factories.make_bag(pieces=20)
    [blank] = give_out_numbers(count=1, sign=sign()).numbers
    assert repack(bag, 5, into=blank).into == [blank]
    assert bag_of(blank).pieces == 5
    assert_kept(bag, 20)


# -- Joining --------------------------------------------------------------------------


def test_pieces_join_those_of_a_bag_of_the_same_lot() -> None:
    first, second = two_bags(factories.make_revision())
    done = repack(second, 20, into=first.number)
    first.refresh_from_db()
    assert (done.new, done.into) == (False, [first.number])
    assert (first.pieces, second.pieces, second.stage) == (60, 0, "used_up")
    assert (first.container, second.container) == ("tote", "tote")
    assert_kept(first, 60)


def test_what_is_not_alike_is_not_joined() -> None:
    revision = factories.make_revision()
    first, second = two_bags(revision)
    elsewhere = two_bags(revision)[0]
    error = refused(first, 1, into=elsewhere.number)
    assert_refused(error, "repack_other_lot", other=elsewhere.number)
    error = refused(first, 1, into=first.number)
    assert_refused(error, "repack_into_itself", bag=first.number)
    clear(second)
    error = refused(first, 1, into=second.number)
    assert_refused(error, "repack_other_stage", other_stage="cleared")
    clear(first)
    error = refused(first, 1, into=second.number)  # another run cleared it
    assert_refused(error, "repack_other_stage", stage="cleared")
    for changes in ({"bags": 2}, {"again": True}):
        error = refused(first, 1, into=second.number, **changes)
        assert_refused(error, "repack_into_one", bag=second.number)


def test_a_bag_that_is_used_up_takes_nothing() -> None:
    first, second = two_bags(factories.make_revision())
    repack(second, 20)
    error = refused(first, 1, into=second.number)
    assert_refused(error, "bag_wrong_stage", bag=second.number)


# -- Sealed packs -----------------------------------------------------------------------


@pytest.mark.smoke
def test_a_sealed_pack_that_a_run_cleared_is_accepted_again_once_opened() -> None:
    bag, other = two_bags(factories.make_revision(), "film pack")
    clear(bag, container="film pack")
    done = repack(bag, 15, container="open tray")
    assert (done.stage, bag.stage, bag.cleared_run_id) == ("accepted", "accepted", None)
    tray = bag_of(done.into[0])
    assert (tray.stage, tray.passes) == ("accepted", bag.passes)
    kinds = bag.movements.order_by("nth").values_list("kind", flat=True)
    assert list(kinds)[-2:] == ["set_back", "repacked"]
    # Its pieces go on with those that no run has cleared yet.
    repack(tray, 15, into=other.number)
    assert_kept(bag, 60)


def test_a_sealed_pack_that_no_run_cleared_stays_as_it_is() -> None:
    bag, _ = two_bags(factories.make_revision(), "film pack")
    assert repack(bag, 15).stage == "accepted"
    manual = factories.make_bag(pieces=9)
    Bag.objects.filter(pk=manual.pk).update(container="film pack")
    assert repack(manual, 4).stage == "cleared"


def test_a_pack_is_not_opened_while_an_open_box_may_give_pieces_back() -> None:
    revision = factories.make_revision()
    bag, _ = two_bags(revision, "film pack")
    clear(bag, container="film pack")
    size = factories.make_size(factories.make_recipe([(revision, 1, "set")]), 6)
    box = factories.make_open_box(size, None, bag)
    error = refused(bag, 4)
    assert_refused(error, "pack_in_open_box", bag=bag.number, box=str(box))
    boxes.close_box(box_id=box.pk, sign=sign())
    assert repack(bag, 4).stage == "accepted"
    assert factories.prove() == []


def test_packs_laid_in_trays_can_be_cleared_under_a_protocol_for_trays() -> None:
    revision = factories.make_revision()
    pack, _ = two_bags(revision, "film pack")
    run = factories.open_run(factories.make_protocol(revision, container="open tray"))
    with pytest.raises(LotwardError) as caught:
        runs.put_on(run_id=run.pk, bag_id=pack.pk, sign=sign())
    assert_refused(caught.value, "not_covered")
    trays = [bag_of(n) for n in repack(pack, 20, bags=2, container="open tray").into]
    factories.expose(run, *trays)
    factories.close_run(run)
    assert {bag_of(tray.number).stage for tray in trays} == {"cleared"}
    assert_kept(pack, 60)


# -- What goes along -------------------------------------------------------------------


def test_pieces_take_their_runs_along_with_their_wear() -> None:
    revision = factories.make_revision(factories.make_part(max_dose_uj_cm2=AMPLE))
    bag, fresh = two_bags(revision)
    clear(bag)
    run = bag.cleared_run
    done = repack(bag, 10, again=True)
    assert (done.stage, bag.stage) == ("accepted", "cleared")
    new = bag_of(done.into[0])
    stay = RunBag.objects.get(bag=new)
    assert (stay.run, stay.original, stay.live) == (run, bag, False)
    assert (new.passes, new.cleared_run, new.opened_at) == (1, None, None)
    # A second hand-over names the bag that was in the run, not the one between.
    third = bag_of(repack(new, 4).into[0])
    assert RunBag.objects.get(bag=third).original == bag
    # Joined with fresh pieces, all count as worn.
    repack(third, 4, into=fresh.number)
    fresh.refresh_from_db()
    assert (fresh.passes, fresh.pieces) == (1, 24)
    revision.part.max_dose_uj_cm2 = 1_400_000
    revision.part.save()
    again = factories.open_run(factories.make_protocol(revision))
    for worn in (new, fresh):
        with pytest.raises(LotwardError) as caught:
            runs.put_on(run_id=again.pk, bag_id=worn.pk, sign=sign())
        assert_refused(caught.value, "dose_over_largest", bag=worn.number)
    assert_kept(bag, 60)


def test_what_needs_no_disinfection_is_not_disinfected_again() -> None:
    bag = factories.make_bag(pieces=9)
    assert_refused(refused(bag, 4, again=True), "nothing_to_set_back")


def test_cleared_pieces_count_as_opened_and_the_earlier_moment_stays() -> None:
    revision = factories.make_revision(factories.make_part(open_hours=8))
    first, second = two_bags(revision)
    clear(first, second)
    later = NOW + timedelta(hours=5)
    new = bag_of(repack(first, 10, sign=sign(now=NOW)).into[0])
    assert (new.opened_at, first.opened_at) == (NOW, NOW)
    other = bag_of(repack(second, 10, sign=sign(now=later)).into[0])
    assert other.opened_at == later
    repack(new, 10, into=other.number, sign=sign(now=later))
    other.refresh_from_db()
    assert (other.opened_at, other.pieces) == (NOW, 20)
    assert_kept(first, 60)


# -- Holds -------------------------------------------------------------------------------


@pytest.mark.smoke
@pytest.mark.parametrize("placed_before", [True, False])
def test_held_pieces_stay_held_wherever_they_go(placed_before: bool) -> None:
    bag, other = two_bags(factories.make_revision())
    values: dict[str, Any] = {"target": "bag", "value": bag.pk, "reason": "Damp"}
    if placed_before:
        holds.place_hold(**values, sign=sign())
    new = bag_of(repack(bag, 30).into[0])
    last = bag_of(repack(new, 10).into[0])
    if not placed_before:
        holds.place_hold(**values, sign=sign())
    reach = standing_reach()
    assert all(reach.bag(each) for each in (bag, new, last))
    assert not reach.bag(other)
    for one, into in ((last, other), (other, last)):
        error = refused(one, 1, into=into.number)
        assert_refused(error, "repack_mixes_held", other=into.number)
    assert repack(last, 10, into=new.number).pieces == 10  # held as the other is
    assert_kept(bag, 60)


def test_a_hold_on_a_bag_reaches_none_that_it_gave_nothing_to() -> None:
    bag, other = two_bags(factories.make_revision())
    early = bag_of(repack(other, 5).into[0])
    repack(bag, 5, into=other.number)
    late = bag_of(repack(other, 5).into[0])
    holds.place_hold(target="bag", value=bag.pk, reason="Damp", sign=sign())
    reach = standing_reach()
    assert [reach.bag(each) for each in (other, late, early)] == [True, True, False]


def test_what_was_made_from_repacked_material_is_held_with_its_bag() -> None:
    revision = factories.make_revision()
    bag, _ = two_bags(revision)
    new = bag_of(repack(bag, 40).into[0])
    made = factories.make_lot(made_from=((new.lot_id, 40),))
    holds.place_hold(target="bag", value=bag.pk, reason="Damp", sign=sign())
    assert made.pk in standing_reach().lots


def test_what_was_made_from_a_bag_stays_under_its_run_after_it_was_set_back() -> None:
    bag, other = two_bags(factories.make_revision(), "film pack")
    clear(bag, container="film pack")
    run = bag.cleared_run
    made = factories.make_lot(made_from=((bag.lot_id, 5),))
    repack(bag, 15)
    after = factories.make_lot(made_from=((bag.lot_id, 5),))
    holds.place_hold(target="run", value=run.pk, reason="Dim lamp", sign=sign())  # type: ignore[union-attr]
    lots = standing_reach().lots
    assert (made.pk in lots, after.pk in lots) == (True, False)
    assert other.lot_id not in lots


# -- Boxes and traces ---------------------------------------------------------------------


@pytest.mark.smoke
def test_boxes_name_the_run_and_the_trace_follows_the_pieces() -> None:
    revision = factories.make_revision()
    bag, _ = two_bags(revision)
    clear(bag)
    size = factories.make_size(factories.make_recipe([(revision, 1, "set")]), 6)
    new = bag_of(repack(bag, 10).into[0])
    box = factories.make_open_box(size, None, new)
    assert box.lines.get().run == bag.cleared_run
    found = trace(bag.number)
    assert [row.number for row in found.bags] == [bag.number, new.number]
    assert [row.serial for row in found.boxes] == [str(Box.objects.get())]
    assert found.balance is not None
    assert (found.balance.received, found.balance.difference) == (30, 0)
    assert [row.number for row in trace(new.number).bags] == [new.number]
    holds.place_hold(target="bag", value=bag.pk, reason="Damp", sign=sign())
    line = box.lines.get()
    assert standing_reach().line(line)
    assert factories.prove() == []


# -- What is refused ----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"pieces": 0}, "pieces_out_of_range"),
        ({"pieces": 41}, "not_enough_pieces"),
        ({"pieces": 14, "bags": 3}, "not_enough_pieces"),
        ({"bags": 0}, "bags_out_of_range"),
        ({"bags": 51}, "bags_out_of_range"),
        ({"container": "bucket"}, "container_unknown"),
        ({"into": "rubbish"}, "number_malformed"),
        ({"into": "B1099999X"}, "number_check_wrong"),
        ({"moves": 1}, "bag_moved_since"),
    ],
)
def test_what_makes_no_sense_is_refused(changes: dict[str, Any], code: str) -> None:
    bag, _ = two_bags(factories.make_revision())
    assert refused(bag, **{"pieces": 4, **changes}).code == code


@pytest.mark.parametrize("stage", ["in_run", "exposed"])
def test_nothing_is_repacked_before_its_run_has_ended(stage: str) -> None:
    revision = factories.make_revision()
    bag, other = two_bags(revision)
    run = factories.open_run(factories.make_protocol(revision))
    if stage == "exposed":
        factories.expose(run, bag)
    else:
        runs.put_on(run_id=run.pk, bag_id=bag.pk, sign=sign())
    assert_refused(refused(bag, 4), "bag_wrong_stage", bag=bag.number)
    error = refused(other, 4, into=bag.number)
    assert_refused(error, "bag_wrong_stage", bag=bag.number)


def test_a_lot_is_checked_with_its_new_bags() -> None:
    lot = factories.make_lot(bags=(NewBag(40),))
    repack(lot.bags.get(), 10, bags=2)
    checks.give_verdict(lot_id=lot.pk, accept=True, found=0, reason="", sign=sign())
    assert {bag.stage for bag in lot.bags.all()} == {"accepted"}
    assert factories.prove() == []
