"""A box handed over at the bench: asked which, done by a touch or a scan, seen at both."""

from __future__ import annotations

import uuid
from typing import Any

import pytest
from django.urls import reverse

from kitting.domain.commands import end_of
from kitting.domain.errors import WrongStage
from kitting.domain.stages import BagStage
from kitting.models import Bag, Bench, Box, BoxHanded, OpenBag
from kitting.packing.services import boxes, miscounts
from kitting.packing.services.hand_over import hand_over
from tests import factories
from tests.benches import Packing, fill, hold, in_box, newest_number, state, step, words
from tests.databases import once_a_module
from tests.factories import sign
from tests.kitting.packing.bench.test_bench_cancels import purpose

pytestmark = pytest.mark.django_db


@once_a_module
def other(at: Packing) -> Bench:
    return factories.make_bench()


@pytest.fixture
def begun(at: Packing) -> Box:
    return factories.make_open_box(at.size, at.bench, at.band_bag)


@pytest.fixture
def look(client, hx):
    """What a bench's idle screen is told that saw that."""

    def get(bench: Bench, seen: str) -> Any:
        address = reverse("kitting:bench-holds", args=[bench.code])
        return client.get(address, {"seen": seen}, headers=hx)

    return get


def mark_of(page: Any) -> str:
    return str(page.context["screen"].seen)


@pytest.mark.smoke
@pytest.mark.usefixtures("begun")
def test_the_box_goes_to_the_bench_that_is_chosen(scan, at, other) -> None:
    asked = scan("ACT-HAND-OVER")
    assert "Which bench finishes the box?" in words(asked)
    assert other.name in words(asked)
    assert "with the bag of: Headband" in words(asked)
    done = scan("ACT-1", purpose=purpose(asked))
    assert (state(done), step(done)) == ("right", "choose")
    box = Box.objects.get()
    assert box.bench == other
    assert f"is at {other.name} now: carry it there" in words(done)
    assert "With it: bag" in words(done)


@pytest.mark.usefixtures("begun")
def test_it_goes_to_the_bench_whose_place_is_scanned(scan, at, other) -> None:
    asked = scan("ACT-HAND-OVER")
    shelf = factories.make_place()
    refused = scan(shelf.code, purpose=purpose(asked))
    assert "is no bench’s place" in words(refused)
    own = scan(at.bench.place.code, purpose=purpose(asked))
    assert "is at this bench already" in words(own)
    scan(other.place.code, purpose=purpose(asked))
    assert Box.objects.get().bench == other


@pytest.mark.usefixtures("begun")
def test_only_free_benches_are_offered(scan, other) -> None:
    factories.make_open_box(Box.objects.get().size, other)
    Bench.objects.filter(pk=factories.make_bench().pk).update(active=False)
    assert "No other bench is free" in words(scan("ACT-HAND-OVER"))
    free = factories.make_bench()
    asked = scan("ACT-HAND-OVER")
    assert [each.bench for each in asked.context["free"]] == [free]


@pytest.mark.usefixtures("begun")
def test_a_bench_that_got_a_box_meanwhile_refuses_it(scan, at, other) -> None:
    asked = scan("ACT-HAND-OVER")
    factories.make_open_box(at.size, other)
    refused = scan("ACT-1", purpose=purpose(asked))
    assert f"{other.name} has a box that is not labelled yet" in words(refused)
    assert not BoxHanded.objects.exists()


@pytest.mark.usefixtures("begun")
@pytest.mark.parametrize("answer", ["ACT-2", "ACT-YES", "ACT-NO", "ACT-NEXT"])
def test_another_answer_hands_nothing_over(answer: str, scan, other) -> None:
    scan(answer, purpose=purpose(scan("ACT-HAND-OVER")))
    assert not BoxHanded.objects.filter(bench=other).exists()


def test_without_an_open_box_there_is_nothing_to_hand_over(scan, at, other) -> None:
    assert "There is no open box" in words(scan("ACT-HAND-OVER"))
    scan("ACT-BOX-6")
    fill(scan, at)
    scan("ACT-CLOSE")
    assert "is not open any more" in words(scan("ACT-HAND-OVER"))
    assert other.active


def test_a_box_that_is_held_stays_and_says_so(scan, at, begun, other) -> None:
    asked = scan("ACT-HAND-OVER")
    hold("bag", at.band_bag.pk)
    for shown in (scan("ACT-HAND-OVER"), scan("ACT-1", purpose=purpose(asked))):
        assert step(shown) == "held"
        assert "On hold: take out 6 × Headband" in words(shown)
    begun.refresh_from_db()
    assert begun.bench == at.bench
    assert other.active


@pytest.mark.usefixtures("begun")
def test_a_hand_over_that_waited_for_the_network_is_refused(client, at, other, hx):
    def send(text: str, asked: str = "") -> Any:
        data = {
            "box": newest_number(at.bench),
            "scan": text,
            "op_key": str(uuid.uuid4()),
            "purpose": asked,
            "waited": "yes",
        }
        address = reverse("kitting:bench-scan", args=[at.bench.code])
        return client.post(address, data, headers=hx)

    for shown in (send("ACT-HAND-OVER"), send("ACT-1", f"hand_over:{other.pk}")):
        assert "A hand-over was scanned without network" in words(shown)
    assert not BoxHanded.objects.exists()


@pytest.mark.usefixtures("begun")
def test_the_same_scan_sent_again_is_answered_as_before(scan, at, other) -> None:
    key, asked = str(uuid.uuid4()), purpose(scan("ACT-HAND-OVER"))
    number = newest_number(at.bench)
    for _ in range(2):
        done = scan("ACT-1", purpose=asked, key=key, box=number)
        assert state(done) == "right"
    assert BoxHanded.objects.count() == 1
    boxes.start_box(bench_id=at.bench.pk, size_id=at.size.pk, sign=sign())
    again = scan("ACT-1", purpose=asked, key=key, box=number)
    assert state(again) == "right"
    assert Box.objects.filter(bench=other).count() == 1


@pytest.mark.usefixtures("begun")
def test_a_scan_that_meant_the_box_is_refused_once_it_is_gone(scan, at, other) -> None:
    number = newest_number(at.bench)
    scan("ACT-1", purpose=purpose(scan("ACT-HAND-OVER")))
    before = in_box()
    for text in (at.visor_bag.number, "ACT-CLOSE", "ACT-CANCEL-SIZE"):
        assert state(scan(text, box=number)) == "wrong"
    assert (in_box(), Box.objects.get().bench) == (before, other)


# -- The bench that takes it ----------------------------------------------------------


@pytest.mark.usefixtures("begun")
def test_both_benches_are_told_at_their_next_look(scan, look, client, at, other):
    here, there = (
        client.get(reverse("kitting:bench", args=[bench.code]))
        for bench in (at.bench, other)
    )
    assert look(other, mark_of(there)).status_code == 204
    scan("ACT-1", purpose=purpose(scan("ACT-HAND-OVER")))
    taken = look(other, mark_of(there))
    assert (taken.status_code, step(taken)) == (200, "fill")
    assert f"It came from {at.bench.name}." in words(taken)
    assert "Visor: scan a bag" in words(taken)
    assert look(other, mark_of(taken)).status_code == 204
    gone = look(at.bench, mark_of(here))
    assert step(gone) == "choose"
    assert f"was taken to {other.name}" in words(gone)


@pytest.mark.usefixtures("begun")
def test_what_lies_open_there_is_asked_for_and_goes_in_by_a_scan(
    client, scan, at, other, hx
) -> None:
    own = at.bag(at.visor)
    boxes.bring_bag(bench_id=other.pk, bag_id=own.pk, sign=sign())
    scan("ACT-1", purpose=purpose(scan("ACT-HAND-OVER")))
    page = client.get(reverse("kitting:bench", args=[other.code]))
    assert [offer.bag for offer in page.context["screen"].offers] == [own.number]
    data = {
        "box": newest_number(other),
        "scan": own.number,
        "op_key": str(uuid.uuid4()),
        "purpose": "",
    }
    address = reverse("kitting:bench-scan", args=[other.code])
    assert state(client.post(address, data, headers=hx)) == "right"
    assert in_box() == 6 + 12


@pytest.mark.usefixtures("begun")
def test_undo_says_how_it_is_taken_back(scan, client, at, other, hx) -> None:
    scan("ACT-1", purpose=purpose(scan("ACT-HAND-OVER")))
    shown = words(scan("ACT-UNDO"))
    assert f"went to {other.name}. That is undone by the bench" in shown
    data = {"box": newest_number(other), "scan": "ACT-UNDO", "purpose": ""}
    data["op_key"] = str(uuid.uuid4())
    address = reverse("kitting:bench-scan", args=[other.code])
    there = words(client.post(address, data, headers=hx))
    assert f"came from {at.bench.name}. That is undone by the bench" in there


# -- Pieces of bags that stayed -------------------------------------------------------


def counted(bench: Bench, bag: Bag, what: str, **more: Any) -> Any:
    act = getattr(miscounts, what)
    return act(bench_id=bench.pk, bag_id=bag.pk, sign=sign(), **more)


def test_a_bad_piece_out_of_a_bag_that_stayed_is_asked_for_again(
    scan, at, begun, other
) -> None:
    """Nobody walks back for it: what lies open at the bench that took it goes in."""
    own = at.bag(at.band)
    boxes.bring_bag(bench_id=other.pk, bag_id=own.pk, sign=sign())
    scan("ACT-1", purpose=purpose(scan("ACT-HAND-OVER")))
    assert OpenBag.objects.get(bag=at.band_bag).bench == at.bench
    done = counted(other, at.band_bag, "scrap_bad", end=end_of("Dropped"))
    assert (done.scrapped, done.out, in_box()) == (1, 1, 5)
    boxes.bring_bag(bench_id=other.pk, bag_id=own.pk, sign=sign())
    assert in_box() == 6
    assert begun.lines.count() == 2
    assert factories.prove() == []


def test_what_is_in_a_bag_that_stayed_nobody_says_from_afar(scan, at, begun, other):
    own = at.bag(at.band)
    boxes.bring_bag(bench_id=other.pk, bag_id=own.pk, sign=sign())
    scan("ACT-1", purpose=purpose(scan("ACT-HAND-OVER")))
    for what, more in (("miss_pieces", {"inside": 1}), ("find_pieces", {"pieces": 1})):
        with pytest.raises(WrongStage, match="bag_not_at_bench"):
            counted(other, at.band_bag, what, **more)
    assert begun.lines.get().pieces == 6


def test_a_box_short_of_a_used_up_bag_is_said_where_the_box_is(at, other) -> None:
    bag = at.bag(at.band, 6)
    box = factories.make_open_box(at.size, at.bench, bag)
    bag.refresh_from_db()
    assert bag.stage == BagStage.USED_UP
    here = {"bench_id": at.bench.pk, "box_id": box.pk, "to_id": other.pk}
    hand_over(**here, sign=sign())
    done = counted(other, bag, "miss_pieces", inside=2)
    assert (done.missing, in_box()) == (2, 4)
    assert factories.prove() == []
