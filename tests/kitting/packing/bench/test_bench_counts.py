"""A bag that holds other pieces than on record, said at the bench where it is met."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.urls import reverse

from kitting.domain.commands import MORE_THAN_ON_RECORD, SHORT_OF_RECORD, end_of
from kitting.domain.stages import BagStage
from kitting.lots.services.counts import count_again
from kitting.models import (
    Bag,
    Box,
    BoxLine,
    Count,
    Movement,
    OpenBag,
    Operation,
    Workshop,
)
from kitting.packing.queries import miscounts
from kitting.packing.services.miscounts import scrap_bad
from kitting.packing.services.practice import SAID
from tests import factories
from tests.assertions import assert_problem
from tests.benches import Packing, fill, hold, in_box, page_of, state, step, words
from tests.factories import sign
from tests.kitting.packing.bench.test_bench_cancels import purpose
from tests.kitting.packing.bench.test_practice import Packer

pytestmark = pytest.mark.django_db

Scan = Callable[..., Any]
BAD = f"ACT-BAD-{end_of('Dropped')}"


@pytest.fixture
def dozen(at: Packing) -> Bag:
    """A bag of visors that the record counts wholly into a box of 6."""
    return at.bag(at.visor, 12)


@pytest.fixture
def say(scan: Scan) -> Callable[..., Any]:
    """Name a bag after ``ACT-COUNT``, then answer, each from the screen before."""

    def answer(bag: Bag, *texts: str, **sent: Any) -> Any:
        shown = scan("ACT-COUNT")
        for text in (bag.number, *texts):
            shown = scan(text, purpose=purpose(shown), **sent)
        return shown

    return answer


def inside(bag: Bag) -> int:
    return sum(BoxLine.objects.filter(bag=bag).values_list("pieces", flat=True))


def booked(bag: Bag) -> list[tuple[str, int]]:
    """What was booked of a bag since it was packed from, in order."""
    moves = Movement.objects.filter(bag=bag).order_by("nth")
    kinds = ("unpacked", "missing", "found", "scrapped")
    return [(m.kind, m.delta) for m in moves if m.kind in kinds]


# -- Short -----------------------------------------------------------------------------


@pytest.mark.smoke
def test_what_the_record_emptied_into_the_box_is_missing_and_asked_for(
    scan: Scan, at: Packing, dozen: Bag, say: Any
) -> None:
    scan("ACT-BOX-6")
    for bag in (at.band_bag, at.manual_bag, dozen):
        scan(bag.number)
    asked = say(dozen, "ACT-EMPTY")
    assert (asked.context["next"], state(asked)) == ("short", "ask")
    shown = [number for _command, number in asked.context["numbers"]]
    assert shown == ["1", "2", "3", "4", "5", "6", "7", "8", "9", "+10"]
    response = say(dozen, "ACT-EMPTY", "ACT-2")
    assert (state(response), step(response)) == ("right", "fill")
    asked_for = response.context["screen"].asked
    assert (asked_for.part, asked_for.missing) == ("Visor", 2)
    assert f"Visor bag {dozen.number} is empty; missing: 2" in words(response)
    dozen.refresh_from_db()
    assert (dozen.stage, inside(dozen)) == (BagStage.USED_UP, 10)
    assert booked(dozen) == [("unpacked", 2), ("missing", -2)]
    row = Count.objects.get()
    assert (row.before, row.counted, row.reason) == (2, 0, SHORT_OF_RECORD)
    assert state(scan(at.visor_bag.number)) == "right"
    assert state(scan("ACT-CLOSE")) == "right"
    assert factories.prove() == []


@pytest.mark.usefixtures("full_box")
@pytest.mark.parametrize(("number", "lacks"), [("ACT-0", 0), ("ACT-3", 3)])
def test_what_is_left_on_record_is_missing_with_what_the_box_lacks(
    scan: Scan, at: Packing, say: Any, number: str, lacks: int
) -> None:
    say(at.visor_bag, "ACT-EMPTY", number)
    assert inside(at.visor_bag) == 12 - lacks
    assert booked(at.visor_bag)[-1] == ("missing", -(88 + lacks))
    assert not OpenBag.objects.filter(bag=at.visor_bag).exists()
    assert factories.prove() == []


def test_a_whole_line_that_is_missing_is_gone_from_the_box(
    scan: Scan, dozen: Bag, say: Any
) -> None:
    scan("ACT-BOX-6")
    scan(dozen.number)
    tens = say(dozen, "ACT-EMPTY", "ACT-TEN")
    assert [number for _command, number in tens.context["numbers"]] == [
        "10",
        "11",
        "12",
    ]
    say(dozen, "ACT-EMPTY", "ACT-TEN", "ACT-2")
    assert in_box() == 0
    assert factories.prove() == []


@pytest.mark.parametrize("closed", [False, True])
def test_without_an_open_box_one_key_books_what_is_left(
    scan: Scan, at: Packing, say: Any, *, closed: bool
) -> None:
    left = 100
    if closed:
        scan("ACT-BOX-6")
        fill(scan, at)
        scan("ACT-CLOSE")
        left = 88
    else:
        scan(at.visor_bag.number)
    pieces = in_box()
    assert state(say(at.visor_bag, "ACT-EMPTY")) == "right"
    assert booked(at.visor_bag) == [("missing", -left)]
    assert in_box() == pieces
    assert_problem(say(at.visor_bag, "ACT-EMPTY"), "bag_is_empty")


def test_held_pieces_that_are_missing_are_not_taken_out(
    scan: Scan, at: Packing, dozen: Bag, say: Any
) -> None:
    """The hold comes while somebody counts: what is not there cannot be put back."""
    scan("ACT-BOX-6")
    scan(dozen.number)
    hold("bag", dozen.pk)
    response = say(dozen, "ACT-EMPTY", "ACT-2")
    assert (state(response), step(response)) == ("right", "held")
    assert "take out 10 × Visor" in words(response)
    scan("ACT-TAKE-OUT")
    dozen.refresh_from_db()
    assert (dozen.pieces, in_box()) == (10, 0)
    assert factories.prove() == []


@pytest.mark.parametrize("whole", [False, True])
@pytest.mark.parametrize("answers", [("ACT-EMPTY", "ACT-2"), (BAD,)])
def test_a_box_is_not_freed_of_its_hold_by_a_miscount(
    scan: Scan, at: Packing, say: Any, answers: tuple[str, ...], *, whole: bool
) -> None:
    """Nobody tells its held pieces from the others, so none of them can be named."""
    few = at.bag(at.band, 2)
    scan("ACT-BOX-6")
    for bag in (few, *at.bags):
        scan(bag.number)
    hold("box", Box.objects.get().pk) if whole else hold("bag", few.pk)
    code = "box_on_hold" if whole else "held_among_others"
    assert_problem(say(few, *answers), code)
    assert (in_box(), booked(few)) == (19, [])


# -- More --------------------------------------------------------------------------------


def test_what_is_found_is_scrapped_at_once(
    scan: Scan, at: Packing, dozen: Bag, say: Any
) -> None:
    scan("ACT-BOX-6")
    for bag in (at.band_bag, dozen):
        scan(bag.number)
    response = say(dozen, "ACT-EXTRA")
    assert f"More in Visor bag {dozen.number}; into the waste: 1" in words(response)
    say(at.band_bag, "ACT-MORE", "ACT-TEN", "ACT-3")
    assert booked(dozen) == [("found", 1), ("scrapped", -1)]
    assert booked(at.band_bag) == [("found", 13), ("scrapped", -13)]
    for bag, left in ((dozen, 0), (at.band_bag, 94)):
        bag.refresh_from_db()
        assert bag.pieces == left
    assert (dozen.stage, in_box()) == (BagStage.USED_UP, 18)
    reasons = set(Count.objects.values_list("reason", flat=True))
    assert reasons == {MORE_THAN_ON_RECORD}
    assert factories.prove() == []


# -- A bad piece -------------------------------------------------------------------------


@pytest.mark.usefixtures("full_box")
def test_another_piece_of_the_bag_takes_the_place_of_a_bad_one(
    scan: Scan, at: Packing, say: Any
) -> None:
    asked = say(at.visor_bag, "ACT-BAD")
    assert (BAD, "Dropped") in asked.context["bad_reasons"]
    response = say(at.visor_bag, "ACT-BAD", BAD)
    assert (state(response), step(response)) == ("right", "close")
    at.visor_bag.refresh_from_db()
    assert (at.visor_bag.pieces, inside(at.visor_bag)) == (87, 12)
    assert booked(at.visor_bag) == [("scrapped", -1)]
    assert Movement.objects.get(kind="scrapped").reason == "Dropped"
    assert factories.prove() == []


@pytest.mark.parametrize("held", [False, True])
def test_where_the_bag_has_no_other_the_box_lacks_the_bad_piece(
    scan: Scan, at: Packing, dozen: Bag, say: Any, *, held: bool
) -> None:
    """It has none where it is used up, nor while it is on hold."""
    bag = at.visor_bag if held else dozen
    scan("ACT-BOX-6")
    scan(bag.number)
    if held:
        hold("bag", bag.pk)
    response = say(bag, BAD)
    assert (state(response), inside(bag)) == ("right", 11)
    assert booked(bag) == [("unpacked", 1), ("scrapped", -1)]
    assert step(response) == ("held" if held else "fill")
    assert factories.prove() == []


def test_no_piece_past_its_date_since_this_night_takes_its_place(at: Packing) -> None:
    bag = at.bag(at.visor, use_by=factories.TODAY)
    factories.make_open_box(at.size, at.bench, bag)
    tomorrow = sign(now=factories.NOW + timedelta(days=1))
    of = {"bench_id": at.bench.pk, "bag_id": bag.pk, "end": end_of("Dropped")}
    assert scrap_bad(**of, sign=tomorrow).out == 1
    assert (inside(bag), booked(bag)) == (11, [("unpacked", 1), ("scrapped", -1)])


@pytest.mark.usefixtures("full_box")
def test_no_piece_takes_its_place_while_something_else_in_the_box_is_held(
    scan: Scan, at: Packing, say: Any
) -> None:
    hold("bag", at.band_bag.pk)
    assert_problem(say(at.visor_bag, BAD), "held_in_box")
    assert booked(at.visor_bag) == []


def test_what_is_in_no_open_box_is_scrapped_out_of_its_bag_alone(
    scan: Scan, at: Packing, dozen: Bag, say: Any
) -> None:
    scan("ACT-BOX-6")
    for bag in (at.band_bag, at.manual_bag, dozen):
        scan(bag.number)
    scan("ACT-CLOSE")
    assert state(say(at.band_bag, BAD)) == "right"
    assert_problem(say(dozen, BAD), "bag_is_empty")
    assert (booked(at.band_bag), booked(dozen)) == ([("scrapped", -1)], [])
    assert in_box() == 19


# -- Wrong moments -----------------------------------------------------------------------


def test_each_is_one_act_however_often_it_is_sent(
    scan: Scan, at: Packing, dozen: Bag
) -> None:
    scan("ACT-BOX-6")
    for bag in (at.band_bag, dozen):
        scan(bag.number)
    for menu, bag, text, act in (
        ("short", dozen, "ACT-2", "miss_pieces"),
        ("more", at.band_bag, "ACT-4", "find_pieces"),
        ("bag", at.band_bag, "ACT-EXTRA", "find_pieces"),
        ("bad", at.band_bag, BAD, "scrap_bad"),
        ("bag", dozen, BAD, "scrap_bad"),
    ):
        acts = Operation.objects.filter(name=act).count()
        key = str(sign().key)
        for _sent in range(2):
            asked = f"{menu}:{bag.number}"
            assert state(scan(text, key=key, purpose=asked)) == "right"
        assert Operation.objects.filter(name=act).count() == acts + 1
    assert factories.prove() == []


@pytest.mark.parametrize(
    "answers", [("ACT-EMPTY", "ACT-2"), ("ACT-MORE", "ACT-4"), ("ACT-EXTRA",), (BAD,)]
)
def test_a_command_label_that_is_scanned_twice_counts_once(
    scan: Scan, dozen: Bag, say: Any, answers: tuple[str, ...]
) -> None:
    """The second scan is faster than the answer: it has a key of its own."""
    scan("ACT-BOX-6")
    scan(dozen.number)
    *before, last = answers
    asked = say(dozen, *before)
    assert state(scan(last, purpose=purpose(asked))) == "right"
    moves = booked(dozen)
    twice = scan(last, purpose=purpose(asked))
    assert_problem(twice, "bag_moved_since", status=409)
    assert booked(dozen) == moves


def test_a_bad_piece_is_sent_again_after_its_reason_was_dropped_from_the_list(
    scan: Scan, dozen: Bag
) -> None:
    scan("ACT-BOX-6")
    scan(dozen.number)
    again = {"purpose": f"bad:{dozen.number}", "key": str(sign().key)}
    assert state(scan(BAD, **again)) == "right"
    Workshop.objects.update(scrap_reasons="Torn")
    assert state(scan(BAD, **again)) == "right"
    assert_problem(scan(BAD, purpose=again["purpose"]), "scrap_reason_unknown")
    assert booked(dozen) == [("unpacked", 1), ("scrapped", -1)]


def test_it_is_refused_where_it_cannot_be_so(
    scan: Scan, at: Packing, dozen: Bag, say: Any
) -> None:
    far = at.bag(at.visor)
    scan("ACT-BOX-6")
    scan(dozen.number)
    asked = f"short:{dozen.number}"
    assert_problem(scan("ACT-13", purpose=asked), "fewer_in_box")
    assert_problem(say(far), "bag_not_at_bench", status=409)
    late = f"more:{far.number}"
    assert_problem(scan("ACT-1", purpose=late), "bag_not_at_bench", status=409)
    none = f"more:{dozen.number}"
    assert_problem(scan("ACT-0", purpose=none), "pieces_out_of_range")
    assert_problem(scan("ACT-YES", purpose=none), "nothing_asked")
    assert_problem(scan("ACT-BAD-00000000", purpose=none), "scrap_reason_unknown")
    assert_problem(scan("ACT-1", purpose="more:B0"), "nothing_asked")
    assert_problem(scan("ACT-9", purpose="count"), "nothing_asked")
    assert_problem(
        scan("ACT-2", purpose=asked, box="X1"), "bench_has_another_box", status=409
    )
    assert scan("ACT-EMPTY").context["next"] == "count"  # Of which bag?
    assert (in_box(), Count.objects.count()) == (12, 0)


@pytest.mark.parametrize(
    ("text", "menu", "act"),
    [
        ("ACT-MORE", "more", ""),
        ("ACT-EMPTY", "short", ""),
        ("ACT-BAD", "bad", ""),
        ("ACT-EXTRA", "", "find_pieces"),
        (BAD, "", "scrap_bad"),
    ],
)
@pytest.mark.parametrize("by", ["scan", "number"])
def test_what_is_said_first_is_not_asked_again_once_the_bag_is_named(
    scan: Scan, at: Packing, dozen: Bag, text: str, menu: str, act: str, by: str
) -> None:
    scan("ACT-BOX-6")
    scan(dozen.number)
    asked = scan(text)
    assert asked.context["next"] == "count"
    bag = dozen.number if by == "scan" else "ACT-1"
    response = scan(bag, purpose=purpose(asked))
    assert (response.context["menu"], state(response)) == (
        menu,
        "ask" if menu else "right",
    )
    assert Operation.objects.latest("pk").name == (act or "bring_bag")
    assert f"bag {dozen.number}: 0 left, 12 in" in words(asked)
    other = scan(at.band_bag.number, purpose=purpose(asked))
    assert_problem(other, "bag_not_at_bench", status=409)
    assert factories.prove() == []


def test_while_it_is_counted_no_bag_goes_into_the_box(
    scan: Scan, at: Packing, dozen: Bag, say: Any
) -> None:
    scan("ACT-BOX-6")
    scan(dozen.number)
    asked = say(dozen, "ACT-EMPTY")
    other = scan(at.band_bag.number, purpose=purpose(asked))
    assert_problem(other, "bag_not_at_bench", status=409)
    scan(at.band_bag.number)
    other = scan(at.band_bag.number, purpose=purpose(asked))
    assert (other.context["next"], other.context["bag"].part) == ("bag", "Headband")


def test_a_count_is_practised_as_well(client: Any, at: Packing) -> None:
    practising = Packer(client)
    for text in ("ACT-BOX-6", SAID, SAID, SAID):
        practising.scan(text)
    asked = practising.scan("ACT-COUNT")
    shown = [(each.part, each.command) for each in asked.context["screen"].at_hand]
    assert shown == [("Headband", "ACT-1"), ("Visor", "ACT-2"), ("Manual", "ACT-3")]
    practising.scan("ACT-2")
    practising.scan("ACT-EMPTY")
    done = practising.scan("ACT-1")
    assert done.context["screen"].asked.missing == 1
    assert "Visor bag TEST is empty; missing: 1" in words(done)


# -- Who learns of it --------------------------------------------------------------------


def test_a_bag_miscounted_at_a_bench_is_named_after_any_number_of_other_counts(
    scan: Scan, at: Packing, dozen: Bag, say: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(miscounts, "MOST_COUNTS", 2)
    scan("ACT-BOX-6")
    scan(dozen.number)
    say(dozen, "ACT-EXTRA")
    for _count in range(2):
        again = {"counted": 100, "counted_by": "hand", "reason": ""}
        count_again(bag_id=at.band_bag.pk, **again, sign=sign())
    assert [row.bag for row in miscounts.miscounts()] == [dozen.number]


def test_boxes_filled_before_are_named_for_the_quality_officer(
    client: Any, scan: Scan, at: Packing, say: Any, client_for: Any
) -> None:
    officer = client_for(factories.make_person("quality officer"))
    scan("ACT-BOX-6")
    fill(scan, at)
    scan("ACT-CLOSE")
    box = Box.objects.get()
    scan(box.serial)
    scan("ACT-BOX-6")
    recall = reverse("dispatch:recall")
    assert "miscounted" not in words(officer.get(recall))
    response = say(at.visor_bag, "ACT-EMPTY", "ACT-1")
    assert state(response) == "right"
    said = Operation.objects.get(name="miss_pieces").link.outcome
    assert json.loads(said)["boxes"] == box.serial
    seen = words(officer.get(recall))
    assert "Visor, missing: 77." in seen
    for shown in (box.serial, Box.objects.latest("pk").number):
        assert reverse("kitting:box-detail", args=[shown]) in seen
    assert state(client.get(page_of(at))) == "ask"
