"""Cancelling at the bench: what is damaged, which lots are told apart, what goes where."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest
from django.urls import reverse

from kitting.domain.commands import CANCEL_REASONS
from kitting.models import Bag, Box, Operation
from kitting.packing.services.practice import SAID
from kitting.places.services import places
from tests import factories
from tests.assertions import assert_problem
from tests.benches import (
    Packing,
    fill,
    hold,
    in_box,
    lift,
    page_of,
    state,
    step,
    words,
)
from tests.factories import sign
from tests.kitting.packing.bench.test_practice import Packer

pytestmark = pytest.mark.django_db

Scan = Callable[..., Any]


def purpose(response: Any) -> str:
    """What the screen sends along with the next scan."""
    return str(words(response).split('name="purpose" value="')[1].split('"')[0])


def left(*bags: Bag) -> list[int]:
    for bag in bags:
        bag.refresh_from_db()
    return [bag.pieces for bag in bags]


@pytest.mark.usefixtures("full_box")
@pytest.mark.smoke
def test_the_screen_says_per_bag_what_goes_back(scan: Scan, at: Packing) -> None:
    response = scan("ACT-CANCEL-SIZE")
    assert (state(response), response.context["next"]) == ("right", "cancelled")
    said = [f"{n} × {p}" for n, p in ((6, "Headband"), (12, "Visor"), (1, "Manual"))]
    both = zip(said, at.bags, strict=True)
    back = ", ".join(f"{each} ({bag.number})" for each, bag in both)
    assert f"Back into the bag: {back}." in words(response)
    assert "Into the waste" not in words(response)
    assert state(scan("ACT-BOX-6")) == "right"  # Any right scan goes on from there.


@pytest.mark.usefixtures("full_box")
def test_of_a_damaged_box_what_is_named_is_scrapped(scan: Scan, at: Packing) -> None:
    """One part by a touch, another by a scan of its bag, a third taken back again."""
    asked = scan("ACT-CANCEL-DAMAGED")
    assert asked.context["next"] == "damaged"
    assert re.search(r'class="zone-act" disabled>\s*Cancel the box', words(asked))
    for bag in (at.band_bag, at.manual_bag, at.visor_bag, at.manual_bag):
        asked = scan(bag.number, purpose=purpose(asked))
        assert state(asked) == "ask"
    named = [bool(note) for _part, note in asked.context["parts"]]
    assert (named, in_box()) == ([True, True, False], 19)
    response = scan("ACT-CANCEL-DAMAGED", purpose=purpose(asked))
    assert left(*at.bags) == [94, 88, 100]
    out = f"6 × Headband ({at.band_bag.number}), 12 × Visor ({at.visor_bag.number})"
    assert f"Into the waste: {out}." in words(response)
    assert f"Back into the bag: 1 × Manual ({at.manual_bag.number})." in words(response)
    assert factories.prove() == []


def test_two_bags_of_a_damaged_part_are_one_key(scan: Scan, at: Packing) -> None:
    few = at.bag(at.band, 2)
    scan("ACT-BOX-6")
    scan(few.number)
    scan(at.band_bag.number)
    asked = scan("ACT-CANCEL-DAMAGED")
    assert [part.inside for part, _note in asked.context["parts"]] == [6]
    asked = scan(at.band_bag.number, purpose=purpose(asked))
    asked = scan(few.number, purpose=purpose(asked))
    assert purpose(asked) == "damaged"  # The same part: named, and taken back.
    asked = scan(few.number, purpose=purpose(asked))
    scan("ACT-CANCEL-DAMAGED", purpose=purpose(asked))
    assert left(few, at.band_bag) == [0, 96]


def test_a_number_names_the_part_that_is_shown_in_that_place(
    scan: Scan, at: Packing
) -> None:
    few = at.bag(at.band, 2)
    scan("ACT-BOX-6")
    for bag in (few, *at.bags):
        scan(bag.number)
    asked = scan("ACT-2", purpose="damaged")
    named = [(part.part, bool(note)) for part, note in asked.context["parts"]]
    assert named == [("Headband", False), ("Visor", True), ("Manual", False)]


def test_a_damaged_part_is_named_by_any_bag_and_stays_named(
    scan: Scan, at: Packing
) -> None:
    few = at.bag(at.band, 2)
    scan("ACT-BOX-6")
    for bag in (few, *at.bags):
        scan(bag.number)
    asked = scan("ACT-CANCEL-DAMAGED")
    for bag in (at.band_bag, few, at.band_bag):  # its first bag alone takes that back
        asked = scan(bag.number, purpose=purpose(asked))
        named = [note for part, note in asked.context["parts"] if note]
        assert len(named) == (bag != few), bag
    scan("ACT-CANCEL-DAMAGED", purpose=purpose(asked))
    assert left(few, at.band_bag, at.visor_bag) == [0, 96, 100]


@pytest.mark.parametrize("menu", ["ACT-UNDO", "ACT-CANCEL", "ACT-COUNT"])
def test_no_leaves_a_question(scan: Scan, at: Packing, menu: str) -> None:
    scan("ACT-BOX-6")
    asked = scan(menu)
    assert asked.context["next"] != "scan"
    gone = scan("ACT-NO", purpose=purpose(asked))
    assert (gone.context["next"], state(gone)) == ("scan", "ask")


@pytest.mark.parametrize(
    ("answer", "kept"), [("ACT-YES", [2, 100]), ("ACT-NO", [0, 96])]
)
@pytest.mark.parametrize("damaged", [False, True])
def test_whether_lots_are_told_apart_is_asked_and_the_answer_is_one_act(
    scan: Scan, at: Packing, answer: str, kept: list[int], *, damaged: bool
) -> None:
    few = at.bag(at.band, 2)
    scan("ACT-BOX-6")
    for bag in (few, *at.bags):
        scan(bag.number)
    if damaged:
        named = scan(at.visor_bag.number, purpose="damaged")
        asked = scan("ACT-CANCEL-DAMAGED", purpose=purpose(named))
    else:
        asked = scan("ACT-CANCEL-PARTS")
    assert (asked.context["next"], state(asked), in_box()) == ("apart", "ask", 19)
    lots = f"2 × Headband ({few.number}), 4 × Headband ({at.band_bag.number})"
    assert lots in words(asked)
    key = str(sign().key)
    shown = Box.objects.get().number
    for _sent in range(2):
        response = scan(answer, purpose=purpose(asked), key=key, box=shown)
        assert (state(response), response.context["next"]) == ("right", "cancelled")
    assert Operation.objects.filter(name="cancel_box").count() == 1
    assert left(few, at.band_bag) == kept
    assert left(at.visor_bag) == [88 if damaged else 100]
    assert factories.prove() == []


def test_what_nobody_was_asked_about_is_asked_before_it_goes_back(
    scan: Scan, at: Packing
) -> None:
    """Another tablet of the bench put two lots of one more part in meanwhile."""
    scan("ACT-BOX-6")
    for bag in (at.bag(at.band, 2), at.band_bag):
        scan(bag.number)
    asked = scan("ACT-CANCEL-PARTS")
    for bag in (at.bag(at.visor, 2), at.visor_bag):
        scan(bag.number)
    again = scan("ACT-YES", purpose=purpose(asked))
    assert (again.context["next"], in_box()) == ("apart", 18)
    assert f"10 × Visor ({at.visor_bag.number})" in words(again)
    done = scan("ACT-YES", purpose=purpose(again))
    assert (done.context["next"], in_box()) == ("cancelled", 0)


def test_an_answer_without_a_question_does_nothing(scan: Scan, at: Packing) -> None:
    scan("ACT-BOX-6")
    scan(at.band_bag.number)
    for text in ("ACT-YES", "ACT-NO", "ACT-1"):
        assert_problem(scan(text), "nothing_asked")
        assert_problem(scan(text, purpose="apart::NONSENSE"), "nothing_asked")
    for text in ("ACT-0", "ACT-9"):
        assert_problem(scan(text, purpose="damaged"), "nothing_asked")
    assert_problem(scan(at.visor_bag.number, purpose="damaged"), "bag_not_in_box")
    assert scan("ACT-NEXT", purpose="what ever it is").status_code == 422
    assert in_box() == 6


@pytest.mark.usefixtures("full_box")
def test_an_answer_that_comes_after_the_box_was_closed_is_refused(
    scan: Scan, at: Packing
) -> None:
    asked = scan(at.band_bag.number, purpose="damaged")
    scan("ACT-CLOSE")
    late = scan("ACT-CANCEL-DAMAGED", purpose=purpose(asked))
    assert_problem(late, "closed_box_not_cancelled", status=409)
    assert in_box() == 19


def test_what_the_act_refuses_for_another_reason_is_no_question(
    scan: Scan, at: Packing, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(CANCEL_REASONS, "SIZE", " ")
    scan("ACT-BOX-6")
    scan(at.band_bag.number)
    assert_problem(scan("ACT-CANCEL-SIZE"), "reason_missing")
    assert in_box() == 6


def test_what_is_damaged_is_named_in_practice_as_well(client: Any, at: Packing) -> None:
    practising = Packer(client)
    for text in ("ACT-BOX-6", SAID, SAID, SAID):
        practising.scan(text)
    assert "What is damaged?" in words(practising.scan("ACT-CANCEL-DAMAGED"))
    named = practising.scan("ACT-2")
    assert [bool(note) for _part, note in named.context["parts"]] == [
        False,
        True,
        False,
    ]
    done = practising.scan("ACT-CANCEL-DAMAGED")
    assert step(done) == "choose"
    assert "Into the waste: 12 × Visor (TEST)." in words(done)


def test_nothing_comes_back_out_of_a_box_that_is_held_itself(
    scan: Scan, at: Packing
) -> None:
    """In their bags the pieces would be free: it goes to quarantine whole."""
    factories.make_place("quarantine")
    scan("ACT-BOX-6")
    fill(scan, at)
    hold("box", Box.objects.get().pk)
    assert_problem(scan("ACT-CANCEL-SIZE"), "box_on_hold")
    assert (in_box(), left(*at.bags)) == (19, [94, 88, 99])
    assert step(scan("ACT-QUARANTINE")) == "choose"


# -- On the page of a box that was put away ----------------------------------------------


def test_a_box_put_away_is_cancelled_by_the_same_questions(
    client: Any, scan: Scan, at: Packing, client_for: Any
) -> None:
    cage, few = factories.make_place("quarantine"), at.bag(at.band, 2)
    scan("ACT-BOX-6")
    for bag in (few, *at.bags):
        scan(bag.number)
    box = Box.objects.get()
    put = hold("box", box.pk)
    places.put_box(box_id=box.pk, place_id=cage.pk, sign=sign())
    lift(put)
    manager = client_for(factories.make_person("manager"))
    address = reverse("kitting:box-void", args=[box.number])
    shown = words(manager.get(address))
    assert "Can lots of one part be told apart?" in shown
    assert f"12 Visor: {at.visor_bag.number}, {at.bench.place.name}." in shown
    data = {"reason": "Crushed", "password": "pass", "op_key": str(sign().key)}
    assert_problem(manager.post(address, data), "lots_undecided")
    data |= {"apart": "no", "damaged": [str(at.visor.part_id)]}
    for _sent in range(2):
        assert manager.post(address, data).status_code == 302
    assert left(few, at.band_bag, at.visor_bag, at.manual_bag) == [0, 96, 88, 100]
    assert state(client.get(page_of(at))) == "ask"


def test_a_box_put_away_that_is_held_itself_gives_nothing_back(
    scan: Scan, at: Packing, client_for: Any
) -> None:
    """In their bags its pieces would be free."""
    cage = factories.make_place("quarantine")
    scan("ACT-BOX-6")
    fill(scan, at)
    box = Box.objects.get()
    hold("box", box.pk)
    places.put_box(box_id=box.pk, place_id=cage.pk, sign=sign())
    manager = client_for(factories.make_person("manager"))
    address = reverse("kitting:box-void", args=[box.number])
    assert "so all of it is scrapped" in words(manager.get(address))
    data = {"reason": "Wet", "password": "pass", "op_key": str(sign().key)}
    assert manager.post(address, data).status_code == 302
    assert left(*at.bags) == [94, 88, 99]
    assert factories.prove() == []


def test_the_page_of_voiding_asks_the_label_back(client_for: Any) -> None:
    manager = client_for(factories.make_person("manager"))
    plain, box = factories.make_closed_box(), factories.make_labelled_box()
    never = manager.get(reverse("kitting:box-void", args=[plain.number]))
    assert 'name="label"' not in words(never)
    address = reverse("kitting:box-void", args=[box.number])
    data = {"reason": "Crushed", "password": "pass", "op_key": str(sign().key)}
    assert_problem(manager.post(address, data), "old_label_stays")
    data["label"] = str(plain.number)
    assert_problem(manager.post(address, data), "old_label_is_another")
    data["label"] = str(box.serial)
    for _sent in range(2):
        assert manager.post(address, data).status_code == 302
    assert box.events.latest("nth").label == "scanned"
