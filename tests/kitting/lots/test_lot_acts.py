"""Acts on lots by their forms: taking in, more bags, closing, the check."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from kitting.lots.services import blanks, lots
from kitting.models import Bag, Link, Lot, Method, Revision, User
from tests import factories
from tests.assertions import assert_part, assert_problem, text_of

pytestmark = pytest.mark.django_db

ClientFor = Callable[[User], Client]


@pytest.fixture
def lot() -> Lot:
    method = factories.make_method()
    return factories.make_lot(
        method_id=method.pk, number="HB-26/1", close=False, source_number="77"
    )


@pytest.fixture
def checker(client_for: ClientFor) -> Client:
    return client_for(factories.make_person("checker"))


def address(name: str, *args: str) -> str:
    return reverse(f"kitting:{name}", args=args)


# -- Taking in ----------------------------------------------------------------------


def new_values(**changes: Any) -> dict[str, Any]:
    revision = Revision.objects.first() or factories.make_revision()
    return {
        "op_key": str(uuid.uuid4()),
        "revision": revision.pk,
        "made_on": "2026-01-14",
        "source": "Print bench",
        "bag_count": "2",
        "pieces_each": "100",
        "container": "tote",
        **changes,
    }


@pytest.mark.smoke
def test_a_lot_is_taken_in_by_the_form(checker: Client) -> None:
    response = checker.post(address("lot-new"), new_values(number="hb-1", close="on"))
    lot = Lot.objects.get()
    assert response.headers["Location"] == address("lot-detail", "HB-1")
    assert (lot.number, lot.stage) == ("HB-1", "closed")
    assert list(lot.bags.values_list("pieces", flat=True)) == [100, 100]


def test_a_list_of_counts_makes_a_bag_of_each(checker: Client) -> None:
    place = factories.make_place()
    values = new_values(
        bag_count="", pieces_each="", counts="100, 80+5", place=place.pk
    )
    checker.post(address("lot-new"), values)
    bags = Bag.objects.values_list("pieces", "place")
    assert list(bags) == [(100, place.pk), (80, place.pk), (5, place.pk)]


def test_a_lot_can_begin_without_a_bag(checker: Client) -> None:
    checker.post(address("lot-new"), new_values(bag_count="", pieces_each=""))
    lot = Lot.objects.get()
    assert (lot.stage, lot.bags.count()) == ("open", 0)
    assert (
        b"No bag was taken in yet"
        in checker.get(address("lot-detail", lot.number)).content
    )


def test_what_a_lot_is_made_from_is_typed_in_lines(checker: Client) -> None:
    gram = factories.make_part(unit="gram", needs_check=False, needs_clearing=False)
    factories.make_lot(factories.make_revision(gram), number="PETG-1")
    method = factories.make_method()
    values = new_values(made_from="\npetg-1: 40\n", method=method.pk, number="HB-1")
    checker.post(address("lot-new"), values)
    lot = Lot.objects.get(number="HB-1")
    assert lot.method == method
    assert [(o.from_lot.number, o.amount) for o in lot.origins.all()] == [
        ("PETG-1", 40)
    ]


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"op_key": "none"}, "invalid"),
        ({"op_key": ""}, "required"),
        ({"revision": "77"}, "invalid_choice"),
        ({"made_on": "14.01.2026"}, "invalid"),
        ({"made_on": "2999-01-01"}, "made_on_future"),
        ({"number": "ΓΕΝΙΚΟ"}, "lot_number_malformed"),
        ({"number": "x" * 10_000}, "max_length"),
        ({"source": "a\x00b"}, "null_characters_not_allowed"),
        ({"bag_count": "2.5"}, "invalid"),
        ({"bag_count": "501"}, "max_value"),
        ({"pieces_each": ""}, "quantity_missing"),
        ({"bag_count": ""}, "quantity_missing"),
        ({"counts": "5"}, "quantity_twice"),
        ({"counts": "5 x", "bag_count": "", "pieces_each": ""}, "count_unreadable"),
        ({"counts": "0", "bag_count": "", "pieces_each": ""}, "count_unreadable"),
        ({"counts": "²", "bag_count": "", "pieces_each": ""}, "count_unreadable"),
        ({"counts": "5 " * 501, "bag_count": "", "pieces_each": ""}, "too_many_bags"),
        ({"made_from": "PETG-1"}, "material_unreadable"),
        ({"made_from": "PETG-1 5"}, "material_unknown"),
        ({"bag_count": "", "pieces_each": "", "close": "on"}, "lot_empty"),
    ],
)
def test_bad_input_gets_its_reason_and_nothing_is_written(
    changes: dict[str, str], code: str, checker: Client
) -> None:
    assert_problem(checker.post(address("lot-new"), new_values(**changes)), code)
    assert Lot.objects.count() == Link.objects.count() == 0


@pytest.mark.smoke
def test_a_number_that_is_taken_is_a_conflict(checker: Client, lot: Lot) -> None:
    response = checker.post(address("lot-new"), new_values(number=lot.number))
    assert_problem(response, "lot_exists", status=409)
    assert Lot.objects.count() == 1


@pytest.mark.smoke
def test_the_form_sent_twice_takes_in_once(checker: Client) -> None:
    values = new_values(number="HB-1")
    first = checker.post(address("lot-new"), values)
    again = checker.post(address("lot-new"), values)
    assert again.status_code == first.status_code == 302
    assert (Lot.objects.count(), Bag.objects.count()) == (1, 2)


def test_a_key_sent_with_other_contents_is_a_conflict(checker: Client) -> None:
    values = new_values(number="HB-1")
    checker.post(address("lot-new"), values)
    response = checker.post(address("lot-new"), {**values, "number": "HB-2"})
    assert_problem(response, "operation_key_reused", status=409)
    assert Lot.objects.count() == 1


def test_htmx_is_sent_on_after_a_success(checker: Client, hx: dict[str, str]) -> None:
    response = checker.post(address("lot-new"), new_values(number="HB-1"), headers=hx)
    assert response.headers["HX-Redirect"] == address("lot-detail", "HB-1")


def test_bad_input_by_htmx_gets_the_form_alone(
    checker: Client, hx: dict[str, str]
) -> None:
    response = checker.post(address("lot-new"), new_values(source=""), headers=hx)
    assert_part(response, "lot-new", status=422)


# -- More bags ----------------------------------------------------------------------


def bag_values(lot: Lot, **changes: Any) -> dict[str, Any]:
    return {
        "op_key": str(uuid.uuid4()),
        "pieces": "50",
        "container": "tote",
        "revision": lot.revision_id,
        "method": lot.method_id or "",
        **changes,
    }


@pytest.mark.smoke
def test_a_bag_is_added_by_scanning_a_blank_number(checker: Client, lot: Lot) -> None:
    blank = blanks.give_out_numbers(count=1, sign=factories.sign()).numbers[0]
    response = checker.post(
        address("bag-new", lot.number), bag_values(lot, number=blank)
    )
    assert response.headers["Location"] == address("bag-new", lot.number)
    assert Bag.objects.get(number=blank).pieces == 50


def test_the_form_knows_what_the_last_bag_was(checker: Client) -> None:
    place = factories.make_place()
    lot = factories.make_lot(close=False, bags=(lots.NewBag(5, "film pack", place.pk),))
    form = checker.get(address("bag-new", lot.number)).context["form"]
    assert form.initial["container"] == "film pack"
    assert form.initial["place"] == place.pk


@pytest.mark.parametrize("changed", ["method", "revision"])
def test_a_change_of_conditions_asks_for_a_new_lot(
    changed: str, checker: Client, lot: Lot
) -> None:
    other: Method | Revision = factories.make_method()
    if changed == "revision":
        other = factories.make_revision(lot.part, "B")
    values = bag_values(lot, **{changed: other.pk})
    response = checker.post(address("bag-new", lot.number), values)
    assert_problem(response, "conditions_changed")
    was = lot.method if changed == "method" else lot.revision
    assert f"on record with “{was}”, and this is “{other}”" in text_of(response)
    offered = response.context["form"].another
    filled = checker.get(offered).context["form"]
    assert filled[changed].value() == str(other.pk)
    assert (filled["bag_count"].value(), filled["pieces_each"].value()) == ("1", "50")
    assert filled["source"].value() == lot.source
    assert lot.bags.count() == 1


@pytest.mark.parametrize(
    ("number", "code"),
    [
        ("HELLO", "number_malformed"),
        ("\x1d", "number_malformed"),
        ("Γενικό Νοσοκομείο", "number_malformed"),
        ("0" * 10_000, "max_length"),
        ("B1000001Q", "number_check_wrong"),
    ],
)
def test_another_barcode_is_no_bag_number(
    number: str, code: str, checker: Client, lot: Lot
) -> None:
    response = checker.post(
        address("bag-new", lot.number), bag_values(lot, number=number)
    )
    assert_problem(response, code)
    assert lot.bags.count() == 1


def test_a_bag_sent_twice_is_one_bag(checker: Client, lot: Lot) -> None:
    values = bag_values(lot)
    for _ in range(2):
        assert checker.post(address("bag-new", lot.number), values).status_code == 302
    assert lot.bags.count() == 2


@pytest.mark.smoke
def test_a_closed_lot_takes_no_bag(checker: Client) -> None:
    lot = factories.make_lot()
    response = checker.post(address("bag-new", lot.number), bag_values(lot))
    assert_problem(response, "lot_closed", status=409)


def test_stacks_and_the_pieces_in_each_are_counted_and_kept_for_the_next_bag(
    checker: Client, lot: Lot
) -> None:
    stacks = {"stacks": "4", "stack_pieces": "12", "loose": "3"}
    page = address("bag-new", lot.number)
    done = checker.post(page, bag_values(lot, pieces="", **stacks))
    bag = lot.bags.latest("pk")
    assert (bag.pieces, bag.movements.get().counted_by) == (51, "stack")
    form = checker.get(done.headers["Location"]).context["form"]
    assert {name: form[name].value() for name in stacks} == stacks
    assert form["pieces"].value() is None


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"pieces": ""}, "required"),
        ({"pieces": "", "stacks": "4"}, "quantity_missing"),
        ({"pieces": "", "stack_pieces": "12"}, "quantity_missing"),
        ({"pieces": "", "loose": "3"}, "quantity_missing"),
        ({"stacks": "4", "stack_pieces": "12"}, "quantity_twice"),
        ({"pieces": "", "stacks": "0", "stack_pieces": "12"}, "min_value"),
    ],
)
def test_a_bag_is_counted_in_one_way(
    changes: dict[str, str], code: str, checker: Client, lot: Lot
) -> None:
    sent = bag_values(lot, **changes)
    assert_problem(checker.post(address("bag-new", lot.number), sent), code)
    assert lot.bags.count() == 1


def test_the_count_keeps_its_last_value(checker: Client, lot: Lot) -> None:
    page = address("bag-new", lot.number)
    assert checker.get(page).context["form"]["pieces"].value() == 100
    checker.post(page, bag_values(lot, pieces="87", counted_by="hand"))
    answer = checker.get(page)
    form = answer.context["form"]
    assert (form["pieces"].value(), form["counted_by"].value()) == (87, "hand")
    newest = answer.context["last"].newest
    assert [came.pieces for came in newest] == [87, 100]


# -- Closing and checking -----------------------------------------------------------


@pytest.mark.smoke
def test_a_lot_is_closed_once(checker: Client, lot: Lot) -> None:
    values = {"op_key": str(uuid.uuid4())}
    for _ in range(2):
        response = checker.post(address("lot-close", lot.number), values)
        assert response.headers["Location"] == address("lot-detail", lot.number)
    lot.refresh_from_db()
    assert lot.stage == "closed"
    other = {"op_key": str(uuid.uuid4())}
    late = checker.post(address("lot-close", lot.number), other)
    assert_problem(late, "lot_closed", status=409)


def check_values(**changes: Any) -> dict[str, Any]:
    return {
        "op_key": str(uuid.uuid4()),
        "found": "0",
        "looked": "on",
        "verdict": "accepted",
        **changes,
    }


@pytest.mark.smoke
@pytest.mark.parametrize("verdict", ["accepted", "rejected"])
def test_a_verdict_is_given_once(verdict: str, checker: Client) -> None:
    lot = factories.make_lot()
    found = "1" if verdict == "rejected" else ""
    values = check_values(verdict=verdict, found=found, reason="Holes closed")
    for _ in range(2):
        response = checker.post(address("lot-check", lot.number), values)
        assert response.headers["Location"] == address("lot-detail", lot.number)
    lot.refresh_from_db()
    assert lot.verdict == verdict
    assert lot.checks.count() == 1


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"verdict": "rejected"}, "reason_missing"),
        ({"verdict": ""}, "required"),
        ({"verdict": "maybe"}, "invalid_choice"),
        ({"looked": ""}, "looked_unsaid"),
        ({"found": "-1"}, "min_value"),
        ({"found": "two"}, "invalid"),
        ({"found": "1" * 30}, "max_value"),
        ({"found": "101"}, "found_out_of_range"),
        ({"found": "1"}, "plan_rejects"),
        ({"reason": "x" * 201}, "max_length"),
    ],
)
def test_a_check_that_is_not_whole_is_not_written(
    changes: dict[str, str], code: str, checker: Client
) -> None:
    lot = factories.make_lot()
    response = checker.post(address("lot-check", lot.number), check_values(**changes))
    assert_problem(response, code)
    assert lot.checks.count() == 0


def test_the_record_says_what_the_checker_said(checker: Client) -> None:
    said, unsaid = factories.make_lot(), factories.accept(factories.make_lot())
    checker.post(address("lot-check", said.number), check_values())
    assert said.checks.get().looked == 100
    assert unsaid.checks.get().looked is None
    shown, silent = (
        text_of(checker.get(address("lot-detail", lot.number)))
        for lot in (said, unsaid)
    )
    assert "looked at all 100: 0 defects found" in shown
    assert "nobody said that all was looked at" in silent


def test_a_checker_sees_where_everything_of_a_lot_is(checker: Client) -> None:
    box = factories.make_labelled_box()
    line = box.lines.order_by("pk").first()
    page = checker.get(address("lot-detail", line.lot.number))
    balance = page.context["shown"].balance
    assert balance.difference == 0
    assert ("packed into boxes", line.pieces) in balance.went
    assert "Packed into boxes" in text_of(page)


@pytest.mark.smoke
def test_an_open_lot_is_not_checked(checker: Client, lot: Lot) -> None:
    response = checker.post(address("lot-check", lot.number), check_values())
    assert_problem(response, "lot_still_open", status=409)


def test_how_the_bags_were_counted_comes_with_the_form(checker: Client) -> None:
    values = new_values(number="HB-1", counted_by="machine")
    checker.post(address("lot-new"), values)
    lot = Lot.objects.get()
    received = lot.movements.filter(kind="received")
    assert set(received.values_list("counted_by", flat=True)) == {"machine"}
    bad = checker.post(address("lot-new"), new_values(counted_by="guess"))
    assert_problem(bad, "invalid_choice")
