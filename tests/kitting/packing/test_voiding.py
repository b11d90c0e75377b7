"""Boxes that come to nothing: cancelled while open, voided once closed."""

from __future__ import annotations

import pytest
from django.db import connection

from kitting.domain.errors import Conflict, Refused, WrongStage
from kitting.domain.prints import DESTROYED
from kitting.domain.stages import BagStage, BoxStage, MovementKind
from kitting.lots.services.lots import NewBag
from kitting.models import Bag, Box, BoxEvent, BoxLine, Link, Movement, OpenBag
from kitting.packing.services import boxes, voiding
from kitting.packing.services.labels import print_box_label
from kitting.places.services import places
from tests import factories
from tests.assertions import assert_refused
from tests.benches import hold, make_packing
from tests.databases import guards_away, once_a_module
from tests.factories import sign

pytestmark = pytest.mark.django_db


@once_a_module
def at():
    return make_packing()


@once_a_module
def box(at) -> Box:
    return factories.make_open_box(at.size, at.bench, *at.bags)


def cancel(box: Box, reason: str = "Wrong size", **told: object):
    return voiding.cancel_box(box_id=box.pk, reason=reason, **told, sign=sign())


def void(box: Box, reason: str = "Crushed", label: str = ""):
    return voiding.void_box(box_id=box.pk, reason=reason, label=label, sign=sign())


def test_a_box_cancelled_gives_every_piece_back(at, box: Box) -> None:
    done = cancel(box)
    assert done.stage == "voided"
    said = [
        f"{n} × {bag.lot.part.name} ({bag.number})"
        for n, bag in zip((6, 12, 1), at.bags, strict=True)
    ]
    assert (done.back, done.scrapped) == (", ".join(said), "")
    box.refresh_from_db()
    assert (box.stage, box.serial) == (BoxStage.VOIDED, None)
    assert not BoxLine.objects.filter(box=box).exists()
    for bag in at.bags:
        bag.refresh_from_db()
        assert (bag.pieces, bag.stage) == (100, BagStage.CLEARED)
    back = Movement.objects.filter(box=box, kind=MovementKind.UNPACKED)
    assert sorted(back.values_list("delta", flat=True)) == [1, 6, 12]
    assert box.events.latest("nth").reason == "Wrong size"


@pytest.fixture
def mixed(at) -> tuple[Box, Bag, Bag]:
    """A box with headbands of two lots, 4 and 2, and the bags that they came from."""
    few, more = at.bag(at.band, 4), at.bag(at.band, 90)
    box = factories.make_open_box(at.size, at.bench, few, more, *at.bags[1:])
    lots = BoxLine.objects.filter(box=box, lot__part=at.band.part)
    assert sorted(lots.values_list("pieces", flat=True)) == [2, 4]
    return box, few, more


def test_two_lots_that_cannot_be_told_apart_are_scrapped(at, mixed) -> None:
    box, few, more = mixed
    with pytest.raises(Refused) as error:
        cancel(box)
    both = f"4 × Headband ({few.number}), 2 × Headband ({more.number})"
    assert_refused(error.value, "lots_undecided", out=both)
    done = cancel(box, apart=False)
    assert (done.scrapped, done.apart) == (both, False)
    scrapped = Movement.objects.filter(kind=MovementKind.SCRAPPED)
    assert sorted(scrapped.values_list("bag", "delta", "reason")) == [
        (few.pk, -4, "Wrong size"),
        (more.pk, -2, "Wrong size"),
    ]
    for bag, left in ((few, 0), (more, 88), *((bag, 100) for bag in at.bags[1:])):
        bag.refresh_from_db()
        assert bag.pieces == left
    assert factories.prove() == []


def test_two_lots_that_somebody_can_tell_apart_go_back(mixed) -> None:
    box, few, more = mixed
    done = cancel(box, apart=True)
    assert (done.scrapped, done.apart) == ("", True)
    for bag, left in ((few, 4), (more, 90)):
        bag.refresh_from_db()
        assert (bag.pieces, bag.stage) == (left, BagStage.CLEARED)
    assert factories.prove() == []
    link = Link.objects.get(operation__name="cancel_box")
    with guards_away():
        said = link.outcome.replace('"apart": true', '"apart": false')
        Link.objects.filter(pk=link.pk).update(outcome=said)
    checks = {(fault.check, fault.found) for fault in factories.prove()}
    assert ("cancelled boxes", "6") in checks


def test_what_is_damaged_is_scrapped_and_not_asked_about(at, mixed) -> None:
    box, few, more = mixed
    stranger = factories.make_part().pk
    with pytest.raises(Conflict) as error:
        cancel(box, damaged=[stranger])
    assert_refused(error.value, "page_is_old")
    done = cancel(box, "Damaged", damaged=[at.band.part_id])
    assert done.scrapped == f"4 × Headband ({few.number}), 2 × Headband ({more.number})"
    for bag, left in ((few, 0), (more, 88), *((bag, 100) for bag in at.bags[1:])):
        bag.refresh_from_db()
        assert bag.pieces == left
    assert factories.prove() == []


def test_pieces_that_are_held_never_lie_among_free_ones(at) -> None:
    """Of one lot, of two bags: by its lot nobody tells which pieces are held."""
    lot = factories.make_lot(at.band, bags=(NewBag(4), NewBag(90)))
    few, more = lot.bags.order_by("pieces")
    box = factories.make_open_box(at.size, at.bench, few, more, *at.bags[1:])
    hold("bag", few.pk)
    done = cancel(box)
    assert done.scrapped == f"4 × Headband ({few.number}), 2 × Headband ({more.number})"
    assert [bag.pieces for bag in lot.bags.order_by("pieces")] == [0, 88]


def test_held_pieces_go_back_into_their_held_bag(at, box: Box) -> None:
    hold("lot", at.band_bag.lot_id)
    assert cancel(box).scrapped == ""
    at.band_bag.refresh_from_db()
    assert at.band_bag.pieces == 100


@pytest.mark.parametrize("held", [False, True])
def test_nothing_goes_back_into_a_bag_that_another_run_has_cleared_since(
    at, box: Box, *, held: bool
) -> None:
    run = factories.open_run(factories.make_protocol(at.band))
    with guards_away(), connection.constraint_checks_disabled():
        BoxLine.objects.filter(bag=at.band_bag).update(run=run)
    if held:
        hold("run", run.pk)
    done = cancel(box)
    assert done.scrapped == f"6 × Headband ({at.band_bag.number})"
    at.band_bag.refresh_from_db()
    assert at.band_bag.pieces == 94


@pytest.mark.parametrize(("held", "left"), [(False, 100), (True, 94)])
def test_held_pieces_never_go_into_a_bag_that_is_to_be_cleared_again(
    at, box: Box, *, held: bool, left: int
) -> None:
    """The hold is on the run that had cleared them: of the bag it is the past."""
    run = factories.open_run(factories.make_protocol(at.band))
    with guards_away(), connection.constraint_checks_disabled():
        BoxLine.objects.filter(bag=at.band_bag).update(run=run)
        Bag.objects.filter(pk=at.band_bag.pk).update(stage=BagStage.ACCEPTED)
    if held:
        hold("run", run.pk)
    cancel(box)
    at.band_bag.refresh_from_db()
    assert at.band_bag.pieces == left


def test_what_a_bag_that_went_away_gets_back_is_said_with_its_place(
    at, box: Box
) -> None:
    shelf = factories.make_place()
    places.put_bag(bag_id=at.band_bag.pk, place_id=shelf.pk, sign=sign())
    assert f"({at.band_bag.number}) {shelf.name}," in cancel(box).back


# -- The label of a voided box -------------------------------------------------------


def test_the_label_of_a_voided_box_comes_back_by_a_scan() -> None:
    box, other = factories.make_labelled_box(), factories.make_labelled_box()
    for label, code in (
        ("", "old_label_stays"),
        (str(other.serial), "old_label_is_another"),
        (box.number, "old_label_is_another"),
    ):
        with pytest.raises(Refused) as error:
            void(box, label=label)
        assert_refused(error.value, code, box=str(box))
    void(box, label=f"00{box.sscc}" if box.sscc else str(box.serial))
    void(other, label=DESTROYED)
    told = BoxEvent.objects.filter(after="voided").order_by("pk")
    assert [each.label for each in told] == ["scanned", "destroyed"]
    assert factories.prove() == []


def test_a_box_that_was_never_printed_has_no_label_to_come_back() -> None:
    box = factories.make_closed_box()
    void(box)
    assert box.events.latest("nth").label is None


@pytest.mark.parametrize("act", ["cancel", "void", "see_label"])
def test_the_same_act_sent_again_gives_an_outcome_of_the_same_kinds(
    act: str, at, box: Box
) -> None:
    twice = sign()
    acts = {
        "cancel": lambda: voiding.cancel_box(box_id=box.pk, reason="x", sign=twice),
        "void": lambda: voiding.void_box(
            box_id=box.pk, reason="x", label=str(box.serial), sign=twice
        ),
        "see_label": lambda: boxes.see_label(
            box_id=box.pk, read=str(box.serial), sign=twice
        ),
    }
    if act != "cancel":
        boxes.close_box(box_id=box.pk, sign=sign())
        print_box_label(box_id=box.pk, sign=sign())
        box.refresh_from_db()
    first, again = acts[act](), acts[act]()
    assert repr(first) == repr(again)
    assert type(first.stage) is type(again.stage) is str


def test_a_bag_that_was_used_up_comes_back_to_life_but_is_not_open(at) -> None:
    bag = at.bag(at.band, 6)
    box = factories.make_open_box(at.size, at.bench, bag)
    bag.refresh_from_db()
    assert bag.stage == BagStage.USED_UP
    cancel(box)
    bag.refresh_from_db()
    assert (bag.stage, bag.pieces) == (BagStage.CLEARED, 6)
    assert not OpenBag.objects.filter(bag=bag).exists()


def test_an_empty_box_is_cancelled_as_well(at) -> None:
    box = factories.make_open_box(at.size, at.bench)
    assert cancel(box).stage == "voided"


def test_a_closed_box_is_not_cancelled(box: Box) -> None:
    boxes.close_box(box_id=box.pk, sign=sign())
    with pytest.raises(WrongStage) as error:
        cancel(box)
    assert_refused(error.value, "box_wrong_stage", stage="closed")


def test_a_scan_that_came_in_between_stops_the_calling_off(
    at, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The bags were locked before the box: a bag that came in meanwhile is not held."""
    box = factories.make_open_box(at.size, at.bench, at.band_bag)
    lock_row = voiding.locking.lock_row

    def slowly(model, pk, *beside):
        if model is Box:
            BoxLine.objects.create(
                box=box, bag=at.visor_bag, lot=at.visor_bag.lot, pieces=1
            )
        return lock_row(model, pk, *beside)

    monkeypatch.setattr(voiding.locking, "lock_row", slowly)
    with pytest.raises(Conflict) as error:
        cancel(box)
    assert_refused(error.value, "page_is_old")


@pytest.mark.parametrize("stage", ["closed", "labelled"])
def test_a_voided_box_scraps_its_pieces_and_gives_none_back(stage: str) -> None:
    make = getattr(factories, f"make_{stage}_box")
    box = make()
    line = box.lines.get()
    void(box, label=str(box.serial))
    box.refresh_from_db()
    assert box.stage == BoxStage.VOIDED
    line.bag.refresh_from_db()
    assert line.bag.pieces == 0
    scrapped = Movement.objects.get(box=box, kind=MovementKind.SCRAPPED)
    assert (scrapped.pieces, scrapped.delta, scrapped.reason) == (6, 0, "Crushed")
    assert BoxLine.objects.filter(box=box).count() == 1  # what was in it stays known


def test_an_open_box_is_cancelled_rather_than_voided(box: Box) -> None:
    with pytest.raises(WrongStage) as error:
        void(box)
    assert_refused(error.value, "box_wrong_stage", stage="open")


def test_a_box_that_was_filled_and_closed_in_between_is_not_voided(
    at, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its old lines would scrap too few pieces; on PostgreSQL with real threads, see
    tests/concurrency/test_voiding.py."""
    box = factories.make_open_box(at.size, at.bench, at.band_bag)
    lock_row = voiding.locking.lock_row

    def slowly(model, pk, *beside):
        if model is Box:
            BoxLine.objects.create(
                box=box, bag=at.visor_bag, lot=at.visor_bag.lot, pieces=1
            )
            Box.objects.filter(pk=pk).update(
                stage=BoxStage.CLOSED,
                serial="K1000001Z",
                batch="1-A-26014-1",
                packed_on=factories.TODAY,
                closed_at=factories.NOW,
            )
        return lock_row(model, pk, *beside)

    monkeypatch.setattr(voiding.locking, "lock_row", slowly)
    with pytest.raises(Conflict) as error:
        void(box)
    assert_refused(error.value, "page_is_old")
    box.refresh_from_db()
    assert box.stage == BoxStage.OPEN


def test_a_box_in_a_shipment_is_not_voided() -> None:
    box = factories.make_labelled_box()
    factories.make_shipment(box)
    with pytest.raises(WrongStage) as error:
        void(box)
    assert_refused(error.value, "box_wrong_stage", stage="loaded")


@pytest.mark.parametrize(
    ("reason", "code"), [(" \t", "reason_missing"), ("x" * 201, "entry_too_long")]
)
def test_a_reason_is_needed_and_has_its_length(
    box: Box, reason: str, code: str
) -> None:
    with pytest.raises(Refused) as error:
        cancel(box, reason)
    assert_refused(error.value, code)
    boxes.close_box(box_id=box.pk, sign=sign())
    with pytest.raises(Refused) as error:
        void(box, reason)
    assert_refused(error.value, code)


def test_calling_off_twice_with_one_key_is_one_act(box: Box) -> None:
    once = sign()
    first = voiding.cancel_box(box_id=box.pk, reason="Wrong size", sign=once)
    again = voiding.cancel_box(box_id=box.pk, reason="Wrong size", sign=once)
    assert again == first
    assert box.events.count() == 2
