"""A bench cleared at the end of a shift: each open bag is scanned, then its place."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from kitting.models import Bag, OpenBag, Operation, Place
from kitting.models.catalogue import PlaceKind
from tests import factories
from tests.assertions import assert_problem
from tests.benches import Packing, fill, hold, key_of, state, step, words
from tests.factories import sign
from tests.kitting.packing.bench.test_bench_cancels import purpose

pytestmark = pytest.mark.django_db

Scan = Callable[..., Any]


@pytest.fixture
def shelf() -> Place:
    return factories.make_place()


@pytest.fixture
def put(scan: Scan) -> Callable[..., Any]:
    """Name a bag of those that are to be put away, then scan or touch where it goes."""

    def send(bag: str, where: str, **sent: Any) -> Any:
        named = scan(bag, purpose=purpose(scan("ACT-CLEAR")))
        assert named.context["next"] == "put"
        return scan(where, purpose=purpose(named), **sent)

    return send


def place_of(bag: Bag) -> Place | None:
    bag.refresh_from_db()
    return bag.place


@pytest.mark.smoke
def test_every_open_bag_gets_its_place_by_two_scans(
    scan: Scan, at: Packing, shelf: Place
) -> None:
    for bag in at.bags:
        scan(bag.number)
    shown = scan("ACT-CLEAR")
    assert (shown.context["next"], state(shown)) == ("clear", "ask")
    for bag in at.bags:
        assert f"bag {bag.number}: 100 left" in words(shown)
        named = scan(bag.number, purpose=purpose(shown))
        assert "scan the place where it goes" in words(named)
        assert OpenBag.objects.filter(bag=bag).exists()
        shown = scan(shelf.code, purpose=purpose(named))
        assert state(shown) == "right"
        assert f"Bag {bag.number} is put away" in words(shown)
        assert place_of(bag) == shelf
    assert (shown.context["menu"], step(shown)) == ("", "choose")
    assert not OpenBag.objects.exists()
    assert_problem(scan("ACT-CLEAR"), "no_open_bag")
    assert factories.prove() == []


@pytest.mark.parametrize("how", ["ACT-YES", "place"])
def test_a_bag_that_stays_at_the_bench_is_not_open_any_more(
    scan: Scan, at: Packing, put: Any, how: str
) -> None:
    scan(at.band_bag.number)
    response = put("ACT-1", at.bench.place.code if how == "place" else how)
    assert state(response) == "right"
    assert place_of(at.band_bag) == at.bench.place
    assert not OpenBag.objects.exists()


@pytest.mark.parametrize("to", ["ACT-EMPTY", "a touch"])
def test_a_bag_that_is_empty_is_counted_and_the_next_one_is_asked_for(
    scan: Scan, at: Packing, put: Any, to: str
) -> None:
    for bag in (at.band_bag, at.visor_bag):
        scan(bag.number)
    if to == "a touch":
        asked = purpose(scan("ACT-CLEAR"))
        shown = scan(at.band_bag.number, purpose=asked)
        assert "100 are missing" in words(shown)
        to = key_of(shown, "It is empty")["scan"]
    done = put(at.band_bag.number, to)
    assert (state(done), done.context["next"]) == ("right", "clear")
    at.band_bag.refresh_from_db()
    assert (at.band_bag.pieces, at.band_bag.stage) == (0, "used_up")
    last = Operation.objects.latest("pk")
    assert last.name == "miss_pieces"
    assert [row.bag for row in OpenBag.objects.all()] == [at.visor_bag]
    assert state(put(at.visor_bag.number, "ACT-EMPTY")) == "right"
    assert step(scan("ACT-NEXT")) == "choose"
    assert_problem(scan("ACT-CLEAR"), "no_open_bag")
    assert factories.prove() == []


def test_a_box_that_is_not_finished_is_named(scan: Scan, at: Packing) -> None:
    box = scan("ACT-BOX-6").context["screen"].box
    fill(scan, at)
    said = f"Box {box.number} is not finished: label it, or cancel it."
    assert said in words(scan("ACT-CLEAR"))


def test_the_same_scan_sent_again_puts_no_other_bag_away(
    scan: Scan, at: Packing, shelf: Place, put: Any
) -> None:
    for bag in at.bags:
        scan(bag.number)
    key = str(sign().key)
    put(at.band_bag.number, shelf.code, key=key)
    acts = Operation.objects.count()
    again = scan(shelf.code, purpose=f"put:{at.band_bag.number}", key=key)
    assert state(again) == "right"
    assert Operation.objects.count() == acts
    assert OpenBag.objects.count() == 2


def test_what_is_held_goes_to_quarantine_only(
    scan: Scan, at: Packing, shelf: Place, put: Any
) -> None:
    scan(at.band_bag.number)
    hold("bag", at.band_bag.pk)
    assert_problem(put(at.band_bag.number, shelf.code), "quarantine_only")
    cage = factories.make_place(PlaceKind.QUARANTINE)
    assert state(put(at.band_bag.number, cage.code)) == "right"
    assert place_of(at.band_bag) == cage


def test_wrong_answers_put_nothing_away(
    scan: Scan, at: Packing, shelf: Place, put: Any
) -> None:
    scan(at.band_bag.number)
    asked = purpose(scan("ACT-CLEAR"))
    other = scan(at.visor_bag.number, purpose=asked)
    assert_problem(other, "bag_not_open_here", status=409)
    assert_problem(scan("ACT-2", purpose=asked), "nothing_asked")
    assert_problem(scan("ACT-YES", purpose=asked), "nothing_asked")
    assert_problem(scan(shelf.code, purpose=asked), "not_for_the_bench")
    assert_problem(scan(shelf.code, purpose="put"), "nothing_asked")
    assert_problem(scan(shelf.code), "not_for_the_bench")
    assert scan("ACT-NO", purpose=asked).context["menu"] == ""
    assert place_of(at.band_bag) == at.bench.place
    assert OpenBag.objects.count() == 1


def test_a_held_bag_that_another_one_replaced_is_put_away_as_well(
    scan: Scan, at: Packing
) -> None:
    cage = factories.make_place(PlaceKind.QUARANTINE)
    scan(at.band_bag.number)
    hold("bag", at.band_bag.pk)
    other = at.bag(at.band)
    scan(other.number)
    asked = purpose(scan("ACT-CLEAR"))
    asked = purpose(scan(other.number, purpose=asked))
    scan("ACT-YES", purpose=asked)
    assert not OpenBag.objects.exists()
    named = scan(at.band_bag.number, purpose=purpose(scan("ACT-CLEAR")))
    assert "scan the place where it goes" in words(named)
    assert state(scan(cage.code, purpose=purpose(named))) == "right"
    assert place_of(at.band_bag) == cage


def test_after_a_wrong_scan_the_next_bag_is_still_one_to_put_away(
    scan: Scan, at: Packing
) -> None:
    scan(at.band_bag.number)
    wrong = scan(at.visor_bag.number, purpose=purpose(scan("ACT-CLEAR")))
    assert_problem(wrong, "bag_not_open_here", status=409)
    named = scan(at.band_bag.number, purpose=purpose(wrong))
    assert "scan the place where it goes" in words(named)


def test_after_a_wrong_scan_a_touch_goes_on_clearing(scan: Scan, at: Packing) -> None:
    scan(at.band_bag.number)
    asked = purpose(scan("ACT-CLEAR"))
    wrong = scan(at.visor_bag.number, purpose=asked)
    assert state(wrong) == "wrong"
    again = scan(key_of(wrong, "Go on")["scan"], purpose=asked)
    assert again.context["next"] == "clear"
