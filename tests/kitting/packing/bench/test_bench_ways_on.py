"""The ways on from a held box: pieces out, box away and back; idle screens learn of it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.contrib.sessions.models import Session
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from kitting.domain.errors import Refused, WrongStage
from kitting.lots.services.lots import NewBag
from kitting.models import Box, BoxLine, OpenBag, Operation, Place
from kitting.models.catalogue import PlaceKind
from kitting.packing.services import aside, boxes
from tests import factories
from tests.assertions import assert_part, assert_problem, assert_refused
from tests.benches import (
    Packing,
    hold,
    in_box,
    lift,
    packed_before,
    page_of,
    state,
    step,
    words,
)
from tests.databases import guards_away
from tests.factories import sign
from tests.kitting.packing.bench.test_bench_cancels import purpose

pytestmark = pytest.mark.django_db

Scan = Callable[..., Any]

MOST_ASKED = 6
"""The workshop, the session, the person with rights, the bench, holds, open bags."""


# -- The ways on: held pieces are taken out ---------------------------------------------


@pytest.mark.smoke
def test_held_pieces_go_back_to_their_bag_and_are_asked_for_again(
    scan: Scan, at: Packing
) -> None:
    scan("ACT-BOX-6")
    scan(at.band_bag.number)
    scan(at.visor_bag.number)
    hold("bag", at.band_bag.pk)
    assert 'value="ACT-TAKE-OUT"' in words(scan(at.manual_bag.number))
    response = scan("ACT-TAKE-OUT")
    assert (state(response), step(response)) == ("right", "fill")
    back = f"Back into the bag: 6 × Headband ({at.band_bag.number})"
    assert back in words(response)
    at.band_bag.refresh_from_db()
    assert at.band_bag.pieces == 100
    asked = response.context["screen"].asked
    assert (asked.part, asked.inside, asked.missing) == ("Headband", 0, 6)
    assert_problem(scan(at.band_bag.number), "bag_on_hold")
    for bag in (at.bag(at.band), at.manual_bag):
        assert state(scan(bag.number)) == "right"
    assert state(scan("ACT-CLOSE")) == "right"
    assert factories.prove() == []


def test_a_bag_that_was_used_up_comes_back_to_life_held(
    scan: Scan, at: Packing
) -> None:
    few = at.bag(at.band, 6)
    scan("ACT-BOX-6")
    scan(few.number)
    hold("lot", few.lot_id)
    scan("ACT-TAKE-OUT")
    few.refresh_from_db()
    assert (few.pieces, few.stage) == (6, "cleared")
    assert_problem(scan(few.number), "bag_on_hold")


def test_all_bags_of_a_held_lot_get_their_pieces_back(scan: Scan, at: Packing) -> None:
    lot = factories.make_lot(at.band, bags=(NewBag(2), NewBag(50)))
    scan("ACT-BOX-6")
    for bag in lot.bags.order_by("pieces"):
        scan(bag.number)
    hold("lot", lot.pk)
    assert state(scan("ACT-TAKE-OUT")) == "right"
    assert sorted(lot.bags.values_list("pieces", flat=True)) == [2, 50]
    assert not BoxLine.objects.exists()
    assert factories.prove() == []


def test_taking_out_is_refused_where_nothing_can_be_told_apart(
    scan: Scan, at: Packing
) -> None:
    few = at.bag(at.band, 2)
    scan("ACT-BOX-6")
    scan(few.number)
    scan(at.band_bag.number)
    placed = hold("lot", few.lot_id)
    response = scan("ACT-TAKE-OUT")
    assert_problem(response, "held_among_others")
    assert 'value="ACT-TAKE-OUT"' not in words(response)
    assert in_box() == 6
    lift(placed)
    assert_problem(scan("ACT-TAKE-OUT"), "box_not_stopped", status=409)
    hold("box", Box.objects.get().pk)
    assert_problem(scan("ACT-TAKE-OUT"), "box_on_hold")
    assert in_box() == 6


def test_pieces_go_back_only_into_a_bag_that_is_held_as_well(
    scan: Scan, at: Packing
) -> None:
    """Cleared again since by another run, it would be free, and they with it."""
    scan("ACT-BOX-6")
    scan(at.band_bag.number)
    run = factories.open_run(factories.make_protocol(at.band))
    with guards_away(), connection.constraint_checks_disabled():
        BoxLine.objects.update(run=run)
    hold("run", run.pk)
    assert_problem(scan("ACT-TAKE-OUT"), "held_among_others")


def test_taking_out_twice_by_one_scan_is_one_act(scan: Scan, at: Packing) -> None:
    scan("ACT-BOX-6")
    scan(at.band_bag.number)
    hold("bag", at.band_bag.pk)
    key = str(sign().key)
    first = words(scan("ACT-TAKE-OUT", key=key))
    acts = Operation.objects.count()
    assert "Back into the bag: 6 × Headband" in first
    assert state(scan("ACT-TAKE-OUT", key=key)) == "right"
    assert Operation.objects.count() == acts


# -- The ways on: the held bag goes away ---------------------------------------------------


@pytest.fixture
def cage() -> Place:
    return factories.make_place(PlaceKind.QUARANTINE)


def test_the_held_open_bag_goes_to_quarantine_by_one_scan_of_the_place(
    scan: Scan, at: Packing, cage: Place
) -> None:
    scan("ACT-BOX-6")
    scan(at.band_bag.number)
    hold("bag", at.band_bag.pk)
    shown = scan("ACT-TAKE-OUT")
    assert "bag on hold: put it in quarantine" in words(shown)
    assert "Open bag in quarantine" in words(shown)
    key = str(sign().key)
    for _ in range(2):
        done = scan(cage.code, key=key)
        assert (state(done), step(done)) == ("right", "fill")
        assert f"Bag {at.band_bag.number} is put away" in words(done)
    at.band_bag.refresh_from_db()
    assert at.band_bag.place == cage
    assert not OpenBag.objects.filter(bag=at.band_bag).exists()
    assert Box.objects.get().in_work
    assert factories.prove() == []


def test_with_a_box_that_is_held_it_is_the_box_that_goes(
    scan: Scan, at: Packing, cage: Place
) -> None:
    scan("ACT-BOX-6")
    scan(at.band_bag.number)
    hold("bag", at.band_bag.pk)
    scan(cage.code)
    assert Box.objects.get().place == cage
    at.band_bag.refresh_from_db()
    assert at.band_bag.place == at.bench.place


def test_of_two_held_bags_none_is_guessed(scan: Scan, at: Packing, cage: Place) -> None:
    for bag in (at.band_bag, at.visor_bag):
        scan(bag.number)
        hold("bag", bag.pk)
    assert_problem(scan(cage.code), "bags_held_here")
    asked = scan(at.visor_bag.number, purpose=purpose(scan("ACT-CLEAR")))
    assert state(scan(cage.code, purpose=purpose(asked))) == "right"
    assert f"Bag {at.band_bag.number} is put away" in words(scan(cage.code))


# -- The ways on: the whole box goes away -------------------------------------------------


def held_box(at: Packing, *, closed: bool) -> tuple[Box, int]:
    """A box at the bench, open or waiting for its label, that is held itself."""
    bags = [bag.number for bag in at.bags]
    scans = [*bags, "ACT-CLOSE"] if closed else bags[:1]
    box = packed_before(at, "ACT-BOX-6", *scans)
    return box, hold("box", box.pk)


@pytest.mark.parametrize("closed", [False, True])
@pytest.mark.parametrize("by", ["command", "place"])
def test_a_held_box_goes_to_quarantine_and_frees_the_bench(
    scan: Scan, at: Packing, cage: Place, *, closed: bool, by: str
) -> None:
    box, _placed = held_box(at, closed=closed)
    response = scan("ACT-QUARANTINE" if by == "command" else cage.code)
    assert (state(response), step(response)) == ("right", "choose")
    box.refresh_from_db()
    assert (box.place, box.stage) == (cage, "closed" if closed else "open")
    for text in ("ACT-CLOSE", "ACT-CANCEL", "ACT-QUARANTINE"):
        assert_problem(scan(text), "bench_has_no_box")
    assert state(scan("ACT-BOX-6")) == "right"
    assert in_box() == (19 + 19 if closed else 6 + 6)
    assert factories.prove() == []


@pytest.mark.parametrize("closed", [False, True])
def test_a_box_comes_back_when_its_hold_is_lifted_and_is_finished(
    client: Any, scan: Scan, at: Packing, cage: Place, *, closed: bool
) -> None:
    box, placed = held_box(at, closed=closed)
    scan("ACT-QUARANTINE")
    assert f'name="scan" value="{box.number}"' not in words(client.get(page_of(at)))
    assert_problem(scan(box.number), "box_on_hold")
    scan("ACT-BOX-6")
    lift(placed)
    assert_problem(scan(box.number), "bench_has_a_box", status=409)
    scan("ACT-CANCEL-SIZE")
    assert "Empty the box" in words(client.get(page_of(at)))
    assert f'name="scan" value="{box.number}"' in words(scan("ACT-NEXT"))
    key = str(sign().key)
    shown = Box.objects.latest("pk").number
    for _sent in range(2):
        response = scan(box.number, key=key, box=shown)
        assert (state(response), step(response)) == (
            "right",
            "label" if closed else "fill",
        )
        assert response.context["screen"].box == box
    if not closed:
        for bag in (at.visor_bag, at.manual_bag):
            scan(bag.number)
        scan("ACT-CLOSE")
    box.refresh_from_db()
    assert (box.place, state(scan(box.serial))) == (None, "right")
    assert factories.prove() == []


def test_a_box_goes_on_at_its_own_bench_only(
    client: Any, scan: Scan, at: Packing, cage: Place
) -> None:
    box, placed = held_box(at, closed=False)
    there = {"bench_id": factories.make_bench().pk, "box_id": box.pk}
    with pytest.raises(WrongStage) as wrong:
        aside.bring_box(**there, sign=sign())
    assert_refused(wrong.value, "box_not_put_away", box=str(box))
    scan("ACT-QUARANTINE")
    lift(placed)
    with pytest.raises(Refused) as error:
        aside.bring_box(**there, sign=sign())
    assert_refused(error.value, "box_of_another_bench", bench=at.bench.name)
    with pytest.raises(WrongStage) as wrong:
        boxes.close_box(box_id=box.pk, sign=sign())
    assert_refused(wrong.value, "box_is_put_away", box=str(box))


def test_which_quarantine_is_asked_where_there_are_two(
    scan: Scan, at: Packing, cage: Place
) -> None:
    other = factories.make_place(PlaceKind.QUARANTINE)
    box, _placed = held_box(at, closed=False)
    response = scan("ACT-QUARANTINE")
    for place in (cage, other):
        assert f'value="{place.code}"' in words(response)
    scan(other.code)
    box.refresh_from_db()
    assert box.place == other


def test_put_away_again_is_answered_as_before_however_many_there_are_now(
    scan: Scan, at: Packing, cage: Place
) -> None:
    box, _placed = held_box(at, closed=False)
    sent = {"key": str(sign().key), "box": box.number}
    assert state(scan("ACT-QUARANTINE", **sent)) == "right"
    factories.make_place(PlaceKind.QUARANTINE)
    assert state(scan("ACT-QUARANTINE", **sent)) == "right"
    box.refresh_from_db()
    assert (box.place, Operation.objects.filter(name="put_box").count()) == (cage, 1)


def test_without_a_place_for_quarantine_a_manager_is_asked(
    scan: Scan, at: Packing
) -> None:
    held_box(at, closed=False)
    assert_problem(scan("ACT-QUARANTINE"), "no_quarantine")


def test_a_box_whose_hold_was_lifted_meanwhile_stays_at_the_bench(
    scan: Scan, at: Packing, cage: Place
) -> None:
    box, placed = held_box(at, closed=False)
    lift(placed)
    assert_problem(scan("ACT-QUARANTINE"), "box_at_its_bench", status=409)
    box.refresh_from_db()
    assert box.place is None


def test_a_box_in_quarantine_is_cancelled_on_its_page(
    scan: Scan, at: Packing, cage: Place, client_for: Any
) -> None:
    box, _placed = held_box(at, closed=False)
    manager = client_for(factories.make_person("manager"))
    address = reverse("kitting:box-void", args=[box.number])
    data = {"reason": "Crushed", "password": "pass", "op_key": str(sign().key)}
    assert_problem(manager.post(address, data), "box_wrong_stage", status=409)
    scan("ACT-QUARANTINE")
    page = reverse("kitting:box-detail", args=[box.number])
    assert address in words(manager.get(page))
    assert manager.post(address, data | {"op_key": str(sign().key)}).status_code == 302
    at.band_bag.refresh_from_db()  # its pieces are scrapped: there they would be free
    assert (at.band_bag.pieces, in_box()) == (94, 0)
    assert factories.prove() == []


# -- Idle screens ------------------------------------------------------------------------


def look(client: Any, at: Packing, seen: str, hx: dict[str, str]) -> Any:
    address = reverse("kitting:bench-holds", args=[at.bench.code])
    return client.get(address, {"seen": seen}, headers=hx)


def seen_on(response: Any) -> str:
    return str(words(response).split('data-holds="')[1].split('"')[0])


@pytest.mark.smoke
def test_an_idle_screen_learns_of_a_hold_and_of_its_end(
    client: Any, scan: Scan, at: Packing, hx: dict[str, str]
) -> None:
    scan("ACT-BOX-6")
    seen = seen_on(scan(at.band_bag.number))
    assert look(client, at, seen, hx).status_code == 204
    placed = hold("bag", at.band_bag.pk)
    fresh = look(client, at, seen, hx)
    assert_part(fresh, "bench")
    assert (step(fresh), "take out 6 × Headband" in words(fresh)) == ("held", True)
    seen = seen_on(fresh)
    assert look(client, at, seen, hx).status_code == 204
    second = hold("box", Box.objects.get().pk)
    lift(placed)
    fresh = look(client, at, seen, hx)
    assert 'value="ACT-TAKE-OUT"' not in words(fresh)
    lift(second)
    assert step(look(client, at, seen_on(fresh), hx)) == "fill"


def test_looking_is_no_activity_and_asks_little(
    client: Any, scan: Scan, at: Packing, hx: dict[str, str]
) -> None:
    hold("lot", factories.make_lot().pk)
    seen = seen_on(scan("ACT-BOX-6"))
    before = Session.objects.values_list("pk", "session_data", "expire_date").get()
    acts = Operation.objects.count()
    with CaptureQueriesContext(connection) as asked:
        response = look(client, at, seen, hx)
    assert (response.status_code, response.cookies) == (204, {})
    assert len(asked) <= MOST_ASKED, "\n".join(each["sql"] for each in asked)
    writing = ("INSERT", "UPDATE", "DELETE")
    assert not [each["sql"] for each in asked if each["sql"].startswith(writing)]
    after = Session.objects.values_list("pk", "session_data", "expire_date").get()
    assert (after, Operation.objects.count()) == (before, acts)
