"""A bag that was open for too long, set back at the bench where it is refused."""

from __future__ import annotations

import uuid
from datetime import timedelta

import pytest

from kitting.models import Bag, OpenBag, Operation, Part, Print
from tests import factories, printers
from tests.benches import Packing, in_box, key_of, packed_before, state, words
from tests.databases import once_a_module
from tests.kitting.packing.bench.test_bench_cancels import purpose

pytestmark = pytest.mark.django_db


@pytest.fixture
def overdue(at: Packing) -> Bag:
    """A bag that stands on a shelf, opened nine hours ago; its part may be open eight."""
    return overdue_since(at.band_bag)


def overdue_since(bag: Bag) -> Bag:
    Part.objects.filter(pk=bag.lot.part_id).update(open_hours=8)
    since = factories.NOW - timedelta(hours=9)
    Bag.objects.filter(pk=bag.pk).update(opened_at=since)
    factories.seal_set_up("kitting_bag")
    bag.refresh_from_db()
    return bag


def new_of(bag: Bag) -> Bag:
    return bag.lot.bags.exclude(pk=bag.pk).get()


@pytest.mark.smoke
def test_the_refused_bag_is_set_back_by_one_touch(scan, at, overdue) -> None:
    scan("ACT-BOX-6")
    refused = scan(overdue.number)
    assert state(refused) == "wrong"
    sent = key_of(refused, "Set it back")
    done = scan(sent["scan"], purpose=sent["purpose"])
    new = new_of(overdue)
    assert (new.stage, new.pieces, new.place) == ("arrived", 100, at.bench.place)
    assert "Stick the label of bag" in words(done)
    assert "Then the bag goes to a checker." in words(done)
    assert Print.objects.get(bag=new).kind == "bag"
    assert in_box() == 0
    last = words(scan("ACT-NEXT"))
    assert "is set back: bag" in last
    assert factories.prove() == []


def test_by_scans_alone(scan, overdue) -> None:
    asked = scan("ACT-SET-BACK")
    assert "Which bag is set back?" in words(asked)
    done = scan(overdue.number, purpose=purpose(asked))
    assert state(done) == "right"
    assert new_of(overdue).stage == "arrived"


def test_an_open_bag_is_offered_by_its_line_and_by_undo(scan, at) -> None:
    scan(at.band_bag.number)
    Part.objects.filter(pk=at.band.part_id).update(open_hours=8)
    since = factories.NOW - timedelta(hours=9)
    Bag.objects.filter(pk=at.band_bag.pk).update(opened_at=since)
    shown = scan("ACT-BOX-6")
    assert "bag open too long: set it back" in words(shown)
    assert "Set the open bag back" in words(shown)
    assert "Set a bag back" in words(scan("ACT-UNDO"))
    asked = scan("ACT-SET-BACK")
    assert at.band_bag.number in key_of(asked, "Headband")["scan"]
    scan(at.band_bag.number, purpose=purpose(asked))
    assert not OpenBag.objects.filter(bag=at.band_bag).exists()


def test_the_scan_of_the_new_label_says_that_it_is_on(scan, at, overdue) -> None:
    scan("ACT-BOX-6")
    done = scan(overdue.number, purpose=purpose(scan("ACT-SET-BACK")))
    on = scan(new_of(overdue).number, purpose=purpose(done))
    assert (state(on), on.context["next"]) == ("ask", "none_to_scan")
    other = scan(at.visor_bag.number, purpose=purpose(done))  # goes on as ever
    assert (state(other), in_box()) == ("right", 12)


def test_the_label_comes_out_at_the_bench_that_has_stock_for_it(
    scan, at, overdue
) -> None:
    printer = printers.make_printer("ipp://p.example/ipp/print", printers.BAG_ROLL)
    printer.bench = at.bench
    printer.save(update_fields=["bench"])
    done = scan(overdue.number, purpose=purpose(scan("ACT-SET-BACK")))
    assert f"It comes out at {printer.name}." in words(done)
    job = Print.objects.get(bag=new_of(overdue)).job
    assert job is not None
    assert job.printer == printer


def test_the_same_scan_sent_again_sets_back_once(scan, overdue) -> None:
    asked, key = purpose(scan("ACT-SET-BACK")), str(uuid.uuid4())
    for _ in range(2):
        assert state(scan(overdue.number, purpose=asked, key=key)) == "right"
    assert overdue.lot.bags.count() == 2
    assert Operation.objects.filter(name="set_back").count() == 1
    assert Print.objects.filter(kind="bag").count() == 1


def test_a_bag_that_is_not_overdue_stays_and_says_so(scan, at) -> None:
    refused = scan(at.visor_bag.number, purpose=purpose(scan("ACT-SET-BACK")))
    assert "was not open for longer than its part allows" in words(refused)
    assert "Set it back" not in words(refused)


# -- Pieces of an overdue bag in the open box ---------------------------------------------


@once_a_module
def filled(at: Packing) -> Bag:
    """A full box that stood open for so long that the headbands in it may not go out."""
    packed_before(at, "ACT-BOX-6", *(bag.number for bag in at.bags))
    return overdue_since(at.band_bag)


def test_overdue_pieces_come_out_of_the_box_and_their_bag_is_set_back(
    scan, at, filled
) -> None:
    refused = scan("ACT-CLOSE")
    assert state(refused) == "wrong"
    assert f"take out 6 × Headband ({filled.number})" in words(refused)
    inside = in_box()
    out = scan(key_of(refused, "Taken out: go on")["scan"])
    assert in_box() == inside - 6
    assert "Which bag is set back?" in words(out)
    done = scan(filled.number, purpose=purpose(out))
    assert "Stick the label of bag" in words(done)
    assert new_of(filled).pieces == 100
    assert "Headband: " in words(scan("ACT-NEXT"))
    scan(at.bag(at.band).number)
    assert state(scan("ACT-CLOSE")) == "right"
    assert factories.prove() == []


def test_a_bag_is_not_set_back_while_the_box_has_pieces_of_it(scan, filled) -> None:
    for refused in (
        scan(filled.number, purpose=purpose(scan("ACT-SET-BACK"))),
        scan(filled.number),
    ):
        assert f"take out 6 × Headband ({filled.number})" in words(refused)
    assert not filled.lot.bags.exclude(pk=filled.pk).exists()


def test_a_bag_that_the_box_emptied_comes_back_and_is_set_back(scan, at) -> None:
    bag = at.bag(at.band, pieces=6)
    for read in ("ACT-BOX-6", bag.number, at.visor_bag.number, at.manual_bag.number):
        scan(read)
    overdue_since(bag)
    shown = scan("ACT-TAKE-OUT")
    scan(bag.number, purpose=purpose(shown))
    assert new_of(bag).pieces == 6
    assert factories.prove() == []


def test_of_pieces_that_lie_among_others_only_the_cancelling_is_left(scan, at) -> None:
    few = at.bag(at.band, pieces=4)
    for read in ("ACT-BOX-6", few.number, at.band_bag.number):
        scan(read)
    overdue_since(few)
    shown = scan("ACT-NEXT")
    assert "Open for too long: cancel the box" in words(shown)
    assert key_of(shown, "Cancel the box")["scan"] == "ACT-CANCEL"
    refused = scan("ACT-TAKE-OUT")
    assert state(refused) == "wrong"
    assert in_box() == 6
    assert "Open for too long: cancel the box" in words(refused)
