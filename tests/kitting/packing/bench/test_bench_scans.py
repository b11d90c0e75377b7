"""Labels, undoing, any text and repeated scans at the bench."""

from __future__ import annotations

import uuid
from typing import Any

import pytest
from django.urls import reverse

from kitting.domain.errors import NotFit
from kitting.domain.stages import BoxStage
from kitting.models import Box, BoxSize, Movement, OpenBag, Operation, Print
from kitting.packing.services.labels import print_box_label
from kitting.printing import steps
from tests import factories
from tests.assertions import assert_problem
from tests.benches import fill, key_of, packed_before, page_of, state, step, words
from tests.databases import once_a_module
from tests.factories import sign

pytestmark = pytest.mark.django_db


# -- Labels -------------------------------------------------------------------------


@once_a_module
def closed(at) -> Box:
    bags = (bag.number for bag in at.bags)
    return packed_before(at, "ACT-BOX-6", *bags, "ACT-CLOSE")


def test_the_label_opens_from_the_screen(client, closed: Box, at) -> None:
    address = reverse("kitting:box-label", args=[closed.serial])
    assert f'href="{address}" target="_blank"' in words(client.get(page_of(at)))


@pytest.fixture
def undrawn(scan, at, monkeypatch: pytest.MonkeyPatch) -> Any:
    """The answer to the closing of a box whose label could not be drawn then."""

    def fails(*_sent: object, **_more: object) -> None:
        raise NotFit("label_full", number="1", needed_mm=151, room_mm=150)

    scan("ACT-BOX-6")
    fill(scan, at)
    with monkeypatch.context() as away:
        away.setattr(steps, "press", fails)
        return scan("ACT-CLOSE")


def test_a_label_that_cannot_be_drawn_leaves_the_box_closed(
    client, scan, at, undrawn
) -> None:
    assert (undrawn.status_code, state(undrawn)) == (422, "wrong")
    assert step(undrawn) == "print"
    assert step(client.get(page_of(at))) == "print"
    response = scan("ACT-PRINT")
    assert (state(response), step(response)) == ("right", "label")


def test_printing_again_asks_for_a_reason(scan, closed: Box) -> None:
    response = scan("ACT-PRINT")
    assert "Why print it again?" in words(response)
    assert Print.objects.count() == 1
    assert state(scan("ACT-PRINT-SPOILT")) == "right"
    assert Print.objects.latest("copy").reason == "Label spoilt"


@pytest.mark.smoke
def test_another_label_or_a_second_closing_is_refused(scan, closed: Box) -> None:
    other = factories.make_labelled_box()
    assert_problem(scan(other.serial), "other_label")
    refused = words(scan(other.sscc))  # told by what can be read off a label
    assert f"“{other.serial}” is not the label of box {closed.serial}" in refused
    assert_problem(scan("ACT-CLOSE"), "box_waits_for_label", status=409)
    assert_problem(scan("ACT-CANCEL-SIZE"), "closed_box_not_cancelled", status=409)


def test_a_label_that_was_scanned_before_is_said_to_be(scan, closed: Box) -> None:
    scan(closed.serial)
    assert_problem(scan(closed.serial), "label_was_seen")


@pytest.mark.parametrize("meanwhile", ["ACT-NEXT", "ACT-BOX-6"])
def test_the_label_of_another_bench_belongs_there(scan, at, meanwhile: str) -> None:
    elsewhere = factories.make_closed_box()
    print_box_label(box_id=elsewhere.pk, sign=sign())
    scan(meanwhile)
    response = scan(elsewhere.serial)
    assert_problem(response, "label_of_another_bench")
    assert f"waits for it at {elsewhere.bench}" in words(response)
    assert "Take the label there." in words(response)
    elsewhere.refresh_from_db()
    assert elsewhere.stage == BoxStage.CLOSED


def test_the_open_box_of_another_bench_is_named_with_its_bench(scan, at) -> None:
    elsewhere = factories.make_open_box(at.size, factories.make_bench())
    response = scan(elsewhere.number)
    assert_problem(response, "box_of_another_bench")
    assert str(elsewhere.bench) in words(response)


def test_the_label_of_a_finished_box_says_which_box_is_open_here(scan, at) -> None:
    scan("ACT-BOX-6")
    finished = factories.make_labelled_box()
    here = Box.objects.get(bench=at.bench)
    response = scan(finished.serial)
    assert_problem(response, "finished_box_meanwhile")
    assert f"box {here} is open here" in words(response)
    assert "Choose the size" not in words(response)


def test_a_label_is_not_awaited_while_its_box_is_open(scan, at) -> None:
    scan("ACT-BOX-6")
    box = Box.objects.get(bench=at.bench)
    assert_problem(scan(box.number), "no_label_awaited")


@pytest.mark.parametrize(
    "form", ["{}", "]E0{ean}", "01{}", "]d201{}10260101", "({ai}){}"]
)
def test_the_gtin_of_a_product_names_no_box(scan, at, form: str) -> None:
    gtin = "04012345678901"
    BoxSize.objects.filter(pk=at.size.pk).update(gtin=gtin)
    response = scan(form.format(gtin, ean=gtin[1:], ai="01"))
    assert_problem(response, "gtin_names_no_box")
    assert f"is the GTIN of {at.size.product.name} in boxes of 6" in words(response)
    other = scan("04012345678918")  # of somebody else
    assert_problem(other, "nothing_has_number", status=404)


def test_the_label_of_an_open_box_is_not_printed(scan, at) -> None:
    scan("ACT-BOX-6")
    assert_problem(scan("ACT-PRINT"), "bench_has_no_closed_box")
    assert not Print.objects.exists()


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("ACT-CLOSE", "bench_has_no_box"),
        ("ACT-CANCEL", "bench_has_no_box"),
        ("ACT-PRINT", "bench_has_no_closed_box"),
        ("ACT-TAKE-OFF", "no_open_bag"),
        ("ACT-DANCE", "command_unknown"),
    ],
)
def test_a_command_without_its_box_or_bag_is_refused(
    scan, text: str, code: str
) -> None:
    assert_problem(scan(text), code)


def test_a_command_after_the_box_is_finished_is_refused(scan, closed: Box) -> None:
    scan(closed.serial)
    assert_problem(scan("ACT-CLOSE"), "bench_has_no_box")


# -- Undoing --------------------------------------------------------------------------


def test_a_box_is_cancelled_with_a_reason_of_fixed_words(scan, at) -> None:
    scan("ACT-BOX-6")
    scan(at.band_bag.number)
    assert "Cancel the box" in words(scan("ACT-UNDO"))
    response = scan("ACT-CANCEL")
    assert "Parts ran out" in words(response)
    assert Box.objects.get().stage == BoxStage.OPEN
    response = scan("ACT-CANCEL-SHORT")
    assert (state(response), step(response)) == ("right", "choose")
    assert Box.objects.get().events.latest("nth").reason == "Parts ran out"
    at.band_bag.refresh_from_db()
    assert at.band_bag.pieces == 100


def test_the_next_bag_is_taken_off_the_bench(scan, at) -> None:
    scan(at.band_bag.number)
    response = scan("ACT-TAKE-OFF")
    assert 'name="purpose" value="take_off"' in words(response)
    response = scan(at.band_bag.number, purpose="take_off")
    assert state(response) == "right"
    assert f"Headband bag {at.band_bag.number} taken off the bench" in words(response)
    assert not OpenBag.objects.exists()


def test_going_on_writes_nothing(scan, at) -> None:
    before = Operation.objects.count()
    response = scan("ACT-NEXT")
    assert (response.status_code, state(response)) == (200, "ask")
    assert Operation.objects.count() == before


# -- Any text -----------------------------------------------------------------------


@pytest.mark.parametrize("plain", [False, True])
@pytest.mark.parametrize(
    "text",
    [
        "",
        "\x1d",
        "\x00\x01\x02",
        "x" * 10_000,
        "9" * 10_000,
        "Γενικό Νοσοκομείο",
        "]E09521234000013",
        "\N{RIGHT-TO-LEFT OVERRIDE}gpj.txt",
        "<script>alert(1)</script>",
        "ACT-" + "x" * 10_000,
    ],
)
def test_any_text_gets_a_sentence_and_writes_nothing(
    client, scan, at, text: str, plain: bool
) -> None:
    before = Operation.objects.count()
    response = scan(text, plain=plain)
    assert response.status_code in (404, 422)
    assert state(response) == "wrong"
    said = response.context["wrong"]
    assert 10 < len(said) < 200
    assert "<script>" not in words(response)
    assert Operation.objects.count() == before
    assert step(client.get(page_of(at))) == "choose"


@pytest.mark.parametrize("what", ["lot", "run", "place", "shipment"])
def test_the_number_of_something_else_is_said_to_be_that(scan, at, what: str) -> None:
    number = {
        "lot": lambda: at.band_bag.lot.number,
        "run": lambda: factories.open_run(factories.make_protocol()).number,
        "place": lambda: factories.make_place().code,
        "shipment": lambda: factories.make_shipment().number,
    }[what]()
    response = scan(number)
    assert_problem(response, "not_for_the_bench")
    assert f"is the number of a {what}" in response.context["wrong"]


def test_a_scan_without_a_key_is_refused(scan, at) -> None:
    assert_problem(scan(at.band_bag.number, key="no key"), "invalid")


# -- Keys ---------------------------------------------------------------------------


@pytest.mark.smoke
def test_every_scan_of_a_box_sent_twice_happens_once(client, scan, at) -> None:
    """As the outbox does after a lost answer: the same text under the same key."""

    def twice(text: object, purpose: str = "") -> None:
        key = str(uuid.uuid4())
        scan(text, key=key, purpose=purpose)
        done = (Operation.objects.count(), Movement.objects.count())
        again = scan(text, key=key, purpose=purpose)
        assert (again.status_code, state(again)) == (200, "right"), text
        assert (Operation.objects.count(), Movement.objects.count()) == done

    twice(at.manual_bag.number)
    twice("ACT-BOX-6")
    twice(at.band_bag.number)
    twice("ACT-CANCEL-PARTS")
    twice("ACT-BOX-6")
    twice(at.visor_bag.number)
    twice("ACT-CLOSE")
    twice("ACT-PRINT-LOST")
    twice(Box.objects.latest("pk").serial)
    twice(at.band_bag.number, purpose="take_off")


def test_a_first_print_sent_twice_is_one_print(scan, undrawn) -> None:
    key = str(uuid.uuid4())
    assert [state(scan("ACT-PRINT", key=key)) for _ in range(2)] == ["right", "right"]
    assert Print.objects.count() == 1


@pytest.mark.usefixtures("full_box")
def test_a_label_sent_again_while_the_next_box_is_in_work_is_answered(scan, at) -> None:
    scan("ACT-CLOSE")
    first, key = Box.objects.get(), str(uuid.uuid4())
    scan(first.serial, key=key)
    scan("ACT-BOX-6")
    assert state(scan(first.serial, key=key)) == "right"


@pytest.mark.smoke
def test_one_key_with_another_scan_is_a_conflict(scan, at) -> None:
    key = str(uuid.uuid4())
    scan(at.band_bag.number, key=key)
    response = scan(at.visor_bag.number, key=key)
    assert_problem(response, "operation_key_reused", status=409)


def test_after_any_wrong_scan_a_touch_shows_again_where_to_go(scan, at) -> None:
    asked = scan("ACT-BOX-6")
    assert step(asked) == "fill"
    wrong = scan("ACT-CLOSE")
    assert state(wrong) == "wrong"
    go_on = key_of(wrong, "Go on")["scan"]
    assert words(scan(go_on)).count("bag B") == words(asked).count("bag B")
    fill(scan, at)
    scan("ACT-CLOSE")
    assert key_of(scan("ACT-CLOSE"), "Go on")["scan"] == "ACT-NEXT"
