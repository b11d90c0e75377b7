"""The next box starts by itself while the plan wants it, and never across a hold."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.urls import reverse

from kitting.domain.stages import BoxStage
from kitting.models import Box, BoxSize, OpenBag, Operation, Place
from kitting.models.catalogue import PlaceKind
from kitting.packing.services import boxes
from kitting.packing.services.plan import plan_day
from kitting.packing.services.practice import SAID
from tests import factories
from tests.assertions import assert_problem
from tests.benches import (
    Packing,
    fill,
    hold,
    in_box,
    newest_number,
    packed_before,
    page_of,
    state,
    step,
    words,
)
from tests.databases import once_a_module
from tests.factories import sign
from tests.kitting.packing.bench.test_bench_cancels import purpose
from tests.kitting.packing.bench.test_practice import Packer

pytestmark = pytest.mark.django_db

Scan = Callable[..., Any]
STOP = "Stop after this box"


def want(many: int, size: BoxSize) -> None:
    plan_day(day=factories.TODAY, wanted={size.pk: many}, sign=sign())


@once_a_module
def closed(at: Packing) -> Box:
    """A box that waits for its label, at a bench with open bags; three are wanted."""
    want(3, at.size)
    bags = (bag.number for bag in at.bags)
    return packed_before(at, "ACT-BOX-6", *bags, "ACT-CLOSE")


def opened() -> list[Box]:
    return list(Box.objects.filter(stage=BoxStage.OPEN))


@pytest.mark.smoke
def test_a_small_box_from_open_bags_costs_two_scans_until_the_plan_is_met(
    scan: Scan, at: Packing, closed: Box
) -> None:
    response = scan(closed.serial)
    assert (state(response), step(response)) == ("right", "close")
    (following,) = opened()
    assert (following.size, in_box()) == (at.size, 38)
    assert f"Box {closed.serial} goes out; this is the next one" in words(response)
    assert response.context["leads_to"] == following.number
    second = scan("ACT-CLOSE")
    assert STOP in words(second)
    following.refresh_from_db()
    assert step(scan(following.serial)) == "close"
    last = scan("ACT-CLOSE")
    assert STOP not in words(last)
    third = Box.objects.latest("pk")
    assert step(scan(third.serial)) == "choose"
    assert Box.objects.count() == 3
    assert factories.prove() == []


def test_the_label_screen_says_it_and_a_key_stops_after_this_box(
    scan: Scan, client: Any, at: Packing, closed: Box
) -> None:
    shown = words(client.get(page_of(at)))
    assert STOP in shown
    assert "else the next box starts by itself" in shown
    stopped = scan("ACT-STOP")
    assert (state(stopped), step(stopped)) == ("right", "label")
    assert f"No box starts by itself after box {closed.serial}" in words(stopped)
    assert STOP not in words(client.get(page_of(at)))  # nor is it lost by a reload
    assert step(scan(closed.serial)) == "choose"
    assert opened() == []
    scan("ACT-BOX-6")  # Chosen again, it goes on again.
    scan("ACT-CLOSE")
    assert step(scan(Box.objects.latest("pk").serial)) == "close"


def test_what_starts_by_itself_is_undone_like_any_other(
    scan: Scan, at: Packing, closed: Box
) -> None:
    scan(closed.serial)
    menu = scan("ACT-UNDO")
    shown = scan("ACT-YES", purpose=purpose(menu))
    assert "Empty the box" in words(shown)
    assert (opened(), in_box()) == ([], 19)
    assert step(scan("ACT-NEXT")) == "choose"
    assert OpenBag.objects.count() == 3
    assert factories.prove() == []


def test_stopping_is_nothing_to_undo(scan: Scan, at: Packing) -> None:
    scan("ACT-BOX-6")
    scan(at.visor_bag.number)
    scan("ACT-STOP")
    scan("ACT-YES", purpose=purpose(scan("ACT-UNDO")))
    assert in_box() == 0


@pytest.mark.parametrize("what", ["bag", "lot"])
def test_it_never_goes_on_across_a_hold(
    scan: Scan, at: Packing, closed: Box, what: str
) -> None:
    """What is open at the bench is held; the closed box itself is of other bags."""
    other = at.bag(at.visor)
    scan(other.number)
    hold(what, other.pk if what == "bag" else other.lot_id)
    response = scan(closed.serial)
    assert (state(response), step(response)) == ("right", "choose")
    assert opened() == []


@pytest.mark.parametrize("wanted", [0, 1])
def test_without_a_plan_or_when_it_is_met_the_size_is_chosen(
    scan: Scan, at: Packing, wanted: int
) -> None:
    if wanted:
        want(wanted, at.size)
    scan("ACT-BOX-6")
    fill(scan, at)
    assert STOP not in words(scan("ACT-CLOSE"))
    assert step(scan(Box.objects.get().serial)) == "choose"


def test_what_other_benches_have_begun_is_not_begun_twice(
    scan: Scan, at: Packing, closed: Box
) -> None:
    for _ in range(2):
        boxes.start_box(
            bench_id=factories.make_bench().pk, size_id=at.size.pk, sign=sign()
        )
    assert step(scan(closed.serial)) == "choose"


def test_a_label_scanned_at_another_bench_starts_nothing_there(
    scan: Scan, at: Packing, closed: Box
) -> None:
    at.bench = factories.make_bench()
    assert_problem(scan(closed.serial), "label_of_another_bench")
    assert opened() == []


def test_a_size_that_was_closed_meanwhile_is_not_started(
    scan: Scan, at: Packing, closed: Box
) -> None:
    BoxSize.objects.filter(pk=at.size.pk).update(active=False)
    response = scan(closed.serial)
    assert state(response) == "right"
    closed.refresh_from_db()
    assert (closed.stage, opened()) == (BoxStage.LABELLED, [])


def test_the_label_sent_again_starts_no_second_box(
    scan: Scan, at: Packing, closed: Box
) -> None:
    key = str(sign().key)
    first = scan(closed.serial, key=key)
    acts = Operation.objects.count()
    again = scan(closed.serial, key=key)
    assert again.context["leads_to"] == first.context["leads_to"]
    assert (len(opened()), Operation.objects.count()) == (1, acts)


def test_the_label_sent_again_starts_none_that_was_not_started_then(
    scan: Scan, at: Packing, closed: Box
) -> None:
    want(1, at.size)
    key = str(sign().key)
    scan(closed.serial, key=key)
    want(5, at.size)
    scan(closed.serial, key=key)
    assert opened() == []


def test_after_a_scan_that_waited_nothing_starts_by_itself(
    client: Any, at: Packing, closed: Box, hx: dict[str, str]
) -> None:
    """The scans behind it begin the next box themselves: they were made for that."""
    data = {"scan": closed.serial, "box": newest_number(at.bench), "waited": "yes"}
    address = reverse("kitting:bench-scan", args=[at.bench.code])
    response = client.post(address, data | {"op_key": sign().key}, headers=hx)
    assert (state(response), opened()) == ("right", [])


def test_its_place_puts_the_labelled_box_away_while_the_next_is_open(
    scan: Scan, at: Packing, closed: Box
) -> None:
    ready: Place = factories.make_place(PlaceKind.READY)
    scan(closed.serial)
    response = scan(ready.code)
    assert (state(response), step(response)) == ("right", "close")
    closed.refresh_from_db()
    assert closed.place == ready


def test_bags_that_the_next_box_emptied_are_named(scan: Scan, at: Packing) -> None:
    want(2, at.size)
    few = at.bag(at.band, 12)
    scan("ACT-BOX-6")
    for bag in (few, at.visor_bag, at.manual_bag):
        scan(bag.number)
    scan("ACT-CLOSE")
    box = Box.objects.get()
    response = scan(box.serial)
    assert f"Box {box.serial} goes out; empty now: {few.number}" in words(response)


def test_in_practice_nothing_starts_by_itself(client: Any, at: Packing) -> None:
    want(9, at.size)
    practising = Packer(client)
    for text in ("ACT-BOX-6", SAID, SAID, SAID, "ACT-CLOSE"):
        shown = practising.scan(text)
    assert STOP not in words(shown)
    assert step(practising.scan(SAID)) == "choose"


def test_there_is_nothing_to_stop_without_a_box(scan: Scan, at: Packing) -> None:
    assert_problem(scan("ACT-STOP"), "bench_has_no_box")


def test_the_finished_box_is_put_away_while_the_next_one_is_on_the_screen(
    scan: Scan, at: Packing, closed: Box
) -> None:
    ready = factories.make_place(PlaceKind.READY)
    asked = "away, and scan the place."
    shown = scan(closed.serial)
    assert f"Put box {closed.serial} {asked}" in words(shown)
    assert f"Box {closed.serial} is put away" in words(done := scan(ready.code))
    assert asked not in words(done)


def test_it_is_asked_where_the_next_one_needs_a_bag_or_has_none(
    scan: Scan, at: Packing, closed: Box
) -> None:
    factories.make_place(PlaceKind.READY)
    asked = f"Put box {closed.serial} away, and scan the place."
    for bag in at.bags:
        boxes.take_off_bench(bench_id=at.bench.pk, bag_id=bag.pk, sign=sign())
    key = str(sign().key)
    shown = scan(closed.serial, key=key)
    assert (step(shown), asked in words(shown)) == ("fill", True)
    hold("revision", at.band.pk)
    none = scan(closed.serial, key=key)
    assert "Headband: none may be packed" in words(none)
    assert asked in words(none)


def test_what_was_done_at_the_open_box_is_undone_after_the_finished_one_is_put_away(
    scan: Scan, at: Packing, closed: Box
) -> None:
    ready = factories.make_place(PlaceKind.READY)
    boxes.take_off_bench(bench_id=at.bench.pk, bag_id=at.band_bag.pk, sign=sign())
    scan(closed.serial)
    scan(at.band_bag.number)
    scan(ready.code)
    (box,) = opened()
    for left, undone in ((13, "its scan is undone"), (0, "its start is undone")):
        asked = scan("ACT-UNDO")
        done = scan("ACT-YES", purpose=purpose(asked))
        assert undone in words(done)
        assert sum(box.lines.values_list("pieces", flat=True)) == left
    closed.refresh_from_db()
    assert closed.place == ready
    assert factories.prove() == []
