"""A hold stops the bench: nothing goes into a held box, nothing closes or labels it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from kitting.domain.errors import OnHold
from kitting.domain.prints import DESTROYED, Again
from kitting.domain.stages import BoxStage
from kitting.lots.services.lots import NewBag
from kitting.models import Box, Operation, Print
from kitting.packing.services import boxes
from kitting.packing.services.labels import print_box_label
from tests import factories
from tests.assertions import assert_problem, assert_refused
from tests.benches import Packing, hold, in_box, lift, page_of, state, step, words
from tests.factories import sign

pytestmark = pytest.mark.django_db

Scan = Callable[..., Any]


def targets(at: Packing) -> dict[str, int]:
    """What a hold may stand on that reaches the box with its headbands."""
    box = Box.objects.get()
    return {
        "bag": at.band_bag.pk,
        "lot": at.band_bag.lot_id,
        "revision": at.band.pk,
        "box": box.pk,
    }


# -- Bags ---------------------------------------------------------------------------


@pytest.mark.parametrize("target", ["bag", "lot", "revision", "box"])
def test_no_bag_goes_into_a_box_while_it_or_a_bag_in_it_is_held(
    scan: Scan, at: Packing, target: str
) -> None:
    scan("ACT-BOX-6")
    scan(at.band_bag.number)
    placed = hold(target, targets(at)[target])
    acts, pieces = Operation.objects.count(), in_box()
    for bag in (at.visor_bag, at.manual_bag):
        response = scan(bag.number)
        code = "box_on_hold" if target == "box" else "held_in_box"
        assert_problem(response, code)
        assert (state(response), step(response)) == ("wrong", "held")
    assert (Operation.objects.count(), in_box()) == (acts, pieces)
    lift(placed)
    assert state(scan(at.visor_bag.number)) == "right"


@pytest.mark.smoke
def test_the_screen_names_pieces_part_and_bag_to_take_out(
    client: Any, scan: Scan, at: Packing
) -> None:
    scan("ACT-BOX-6")
    scan(at.band_bag.number)
    hold("bag", at.band_bag.pk)
    said = f"take out 6 × Headband ({at.band_bag.number})"
    shown = client.get(page_of(at))
    assert said in words(shown)
    assert "line-short" not in shown.content.decode()  # Nothing else is asked for.
    response = scan(at.visor_bag.number)
    assert said in words(response)
    with pytest.raises(OnHold) as error:
        boxes.bring_bag(bench_id=at.bench.pk, bag_id=at.visor_bag.pk, sign=sign())
    out = f"6 × Headband ({at.band_bag.number})"
    assert_refused(error.value, "held_in_box", out=out, reason="Rough edge")


def test_what_cannot_be_told_apart_is_not_to_be_taken_out(
    scan: Scan, at: Packing
) -> None:
    """Of two lots of one part one is held; of two bags of one lot one is held."""
    scan("ACT-BOX-6")
    few = at.bag(at.band, 2)
    scan(few.number)
    scan(at.band_bag.number)
    lot = factories.make_lot(at.visor, bags=(NewBag(5), NewBag(50)))
    first, second = lot.bags.order_by("pieces")
    scan(first.number)
    placed = hold("lot", few.lot_id)
    assert_problem(scan(second.number), "held_among_others")
    lift(placed)
    assert state(scan(second.number)) == "right"
    placed = hold("bag", first.pk)
    assert_problem(scan(at.manual_bag.number), "held_among_others")
    hold("bag", second.pk)
    assert_problem(scan(at.manual_bag.number), "held_in_box")


def test_of_two_holds_both_are_named_and_both_must_go(scan: Scan, at: Packing) -> None:
    scan("ACT-BOX-6")
    scan(at.band_bag.number)
    scan(at.visor_bag.number)
    one, two = hold("bag", at.band_bag.pk), hold("lot", at.visor_bag.lot_id)
    said = words(scan(at.manual_bag.number))
    for bag, many in ((at.band_bag, "6 × Headband"), (at.visor_bag, "12 × Visor")):
        assert f"{many} ({bag.number})" in said
    lift(one)
    assert_problem(scan(at.manual_bag.number), "held_in_box")
    lift(two)
    assert state(scan(at.manual_bag.number)) == "right"


@pytest.mark.usefixtures("full_box")
def test_bags_are_opened_for_the_next_box_beside_a_held_closed_one(
    scan: Scan, at: Packing
) -> None:
    scan("ACT-CLOSE")
    hold("lot", at.band_bag.lot_id)
    pieces = in_box()
    assert state(scan(at.bag(at.visor).number)) == "right"
    assert in_box() == pieces


# -- Closing and the label -------------------------------------------------------------


def test_a_held_box_says_so_before_it_says_that_it_is_not_full(
    scan: Scan, at: Packing
) -> None:
    scan("ACT-BOX-6")
    scan(at.band_bag.number)
    hold("bag", at.band_bag.pk)
    assert_problem(scan("ACT-CLOSE"), "held_in_box")


@pytest.mark.usefixtures("full_box")
@pytest.mark.parametrize("target", ["bag", "lot", "revision", "box"])
def test_the_label_of_a_box_that_was_held_after_closing_is_not_taken(
    client: Any, scan: Scan, at: Packing, target: str
) -> None:
    scan("ACT-CLOSE")
    box = Box.objects.get()
    placed = hold(target, targets(at)[target])
    assert step(client.get(page_of(at))) == "held"
    acts = Operation.objects.count()
    for read in (box.serial, box.sscc):
        response = scan(read)
        assert_problem(response, "box_on_hold")
        assert (state(response), step(response)) == ("wrong", "held")
    box.refresh_from_db()
    assert (box.stage, box.label_seen_at) == (BoxStage.CLOSED, None)
    assert Operation.objects.count() == acts
    lift(placed)
    assert state(scan(box.serial)) == "right"


def test_the_label_of_a_held_box_is_not_printed_until_it_is_labelled(
    scan: Scan, at: Packing
) -> None:
    box = factories.make_closed_box()
    line = box.lines.get()
    placed = hold("lot", line.lot_id)
    with pytest.raises(OnHold) as error:
        print_box_label(box_id=box.pk, sign=sign())
    assert_refused(error.value, "box_on_hold", box=str(box))
    assert not Print.objects.exists()
    lift(placed)
    print_box_label(box_id=box.pk, sign=sign())
    boxes.see_label(box_id=box.pk, read=str(box.serial), sign=sign())


def test_the_label_of_a_held_box_can_be_made_again_once_it_was_labelled() -> None:
    """It says what the box is, and leaves no box out of the workshop."""
    box = factories.make_labelled_box()
    hold("box", box.pk)
    again = Again("Label torn", DESTROYED)
    assert print_box_label(box_id=box.pk, again=again, sign=sign()).copy == 2


# -- A scan that comes later ------------------------------------------------------------


def test_a_scan_that_was_taken_before_the_hold_is_answered_as_it_was(
    scan: Scan, at: Packing
) -> None:
    scan("ACT-BOX-6")
    key = str(sign().key)
    assert state(scan(at.band_bag.number, key=key)) == "right"
    hold("bag", at.band_bag.pk)
    assert state(scan(at.band_bag.number, key=key)) == "right"
    assert in_box() == 6


def test_another_fault_at_a_held_box_is_named_and_leads_back(
    scan: Scan, at: Packing
) -> None:
    scan("ACT-BOX-6")
    scan(at.band_bag.number)
    hold("bag", at.band_bag.pk)
    response = scan("ACT-DANCE")
    assert_problem(response, "command_unknown")
    assert "is no command that is known here" in words(response)
    assert 'value="ACT-NEXT"' in words(response)
    assert "take out 6 × Headband" in words(scan("ACT-NEXT"))
