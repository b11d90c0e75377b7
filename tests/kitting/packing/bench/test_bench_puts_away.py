"""A labelled box put away from its bench by one scan of its place."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone

from kitting.models import Box, Operation, Place
from kitting.models.catalogue import PlaceKind
from tests import factories
from tests.assertions import assert_problem
from tests.benches import Packing, fill, hold, lift, state, step, words
from tests.factories import sign

pytestmark = pytest.mark.django_db

Scan = Callable[..., Any]


@pytest.fixture
def ready() -> Place:
    return factories.make_place(PlaceKind.READY)


@pytest.fixture
def pack(scan: Scan, at: Packing) -> Callable[[], Box]:
    """Pack a box by scans, from open bags where there are some."""

    def one() -> Box:
        scan("ACT-BOX-6")
        if step(scan("ACT-NEXT")) == "fill":
            fill(scan, at)
        scan("ACT-CLOSE")
        box = Box.objects.latest("pk")
        assert state(scan(box.serial)) == "right"
        return box

    return one


def place_of(box: Box) -> Place | None:
    box.refresh_from_db()
    return box.place


def test_the_scan_of_its_place_puts_the_newest_labelled_box_away(
    scan: Scan, ready: Place, pack: Callable[[], Box]
) -> None:
    first, second = pack(), pack()
    response = scan(ready.code)
    assert (state(response), step(response)) == ("right", "choose")
    assert f"Box {second} is put away" in words(response)
    assert (place_of(first), place_of(second)) == (None, ready)
    again = scan(ready.code)  # no other box goes along, nor is this one taken for it
    assert_problem(again, "box_put_away_before")
    assert place_of(first) is None
    assert factories.prove() == []


def test_the_box_that_was_labelled_last_goes_whichever_was_started_last(
    scan: Scan,
    at: Packing,
    ready: Place,
    pack: Callable[[], Box],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """It comes back out of quarantine, where it lay while another one was packed."""
    factories.make_place(PlaceKind.QUARANTINE)
    scan("ACT-BOX-6")
    fill(scan, at)
    scan("ACT-CLOSE")
    back = Box.objects.get()
    placed = hold("box", back.pk)
    scan("ACT-QUARANTINE")
    lift(placed)
    other = pack()
    later = timezone.now() + timedelta(minutes=1)
    monkeypatch.setattr(timezone, "now", lambda: later)
    scan(back.serial)
    scan(back.serial)
    response = scan(ready.code)
    assert f"Box {back} is put away" in words(response)
    assert (place_of(back), place_of(other)) == (ready, None)


def test_the_box_in_work_stays_where_it_is(
    scan: Scan, ready: Place, pack: Callable[[], Box]
) -> None:
    box = pack()
    scan("ACT-BOX-6")
    response = scan(ready.code)
    assert (state(response), step(response)) == ("right", "close")
    assert place_of(box) == ready
    assert place_of(Box.objects.latest("pk")) is None


def test_the_same_scan_sent_again_puts_no_other_box_away(
    scan: Scan, ready: Place, pack: Callable[[], Box]
) -> None:
    first, key = pack(), str(sign().key)
    scan(ready.code, key=key)
    second, acts = pack(), Operation.objects.count()
    assert state(scan(ready.code, key=key)) == "right"
    assert Operation.objects.count() == acts
    assert (place_of(first), place_of(second)) == (ready, None)


def test_a_scan_that_waited_means_the_box_of_then(
    scan: Scan, ready: Place, pack: Callable[[], Box]
) -> None:
    shown = pack().number
    newest = pack()
    response = scan(ready.code, box=shown)
    assert_problem(response, "bench_has_another_box", status=409)
    assert place_of(newest) is None


def test_without_a_labelled_box_it_says_so(scan: Scan, ready: Place) -> None:
    assert_problem(scan(ready.code), "no_box_to_put_away")
    scan("ACT-BOX-6")
    assert_problem(scan(ready.code), "no_box_to_put_away")


def test_a_held_box_goes_to_quarantine_only(
    scan: Scan, ready: Place, pack: Callable[[], Box]
) -> None:
    box = pack()
    hold("box", box.pk)
    assert_problem(scan(ready.code), "quarantine_only")
    assert place_of(box) is None


def test_the_screen_asks_for_the_place_where_there_is_one(
    scan: Scan, at: Packing, pack: Callable[[], Box]
) -> None:
    pack()
    scan("ACT-BOX-6")
    scan("ACT-CLOSE")
    last = str(Box.objects.latest("pk").serial)
    assert "away, and scan the place." not in words(
        scan(last, key=(key := str(sign().key)))
    )
    factories.make_place(PlaceKind.READY)
    assert "away, and scan the place." in words(scan(last, key=key))


def test_a_box_that_waits_for_its_label_is_not_taken_for_the_one_put_away(
    scan: Scan, ready: Place, pack: Callable[[], Box]
) -> None:
    pack()
    scan(ready.code)
    scan("ACT-BOX-6")
    scan("ACT-CLOSE")
    assert_problem(scan(ready.code), "box_put_away_before")
    other = factories.make_place(PlaceKind.READY)
    assert state(scan(other.code)) == "right"  # the one before is carried on
