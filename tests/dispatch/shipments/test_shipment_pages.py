"""The pages of shipments: who may, what is shown, and what a scan is answered."""

from __future__ import annotations

import uuid
from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from dispatch.models import Shipment, ShipScan
from kitting.ledger import holds
from kitting.models import Box, Operation, User, Workshop
from tests import factories
from tests.assertions import (
    assert_page,
    assert_part,
    assert_problem,
    assert_sent_to_sign_in,
    text_of,
)
from tests.databases import once_a_module
from tests.factories import sign

pytestmark = pytest.mark.django_db

LIST = reverse("dispatch:shipments")
NEW = reverse("dispatch:shipment-new")
ACTS = ("scan", "take-off", "send", "cancel")


def page_of(shipment: Shipment) -> str:
    return reverse("dispatch:shipment-detail", args=[shipment.number])


def act_of(shipment: Shipment, act: str) -> str:
    return reverse(f"dispatch:shipment-{act}", args=[shipment.number])


def keyed(**data: object) -> dict[str, object]:
    return {"op_key": str(uuid.uuid4()), **data}


@once_a_module
def box() -> Box:
    return factories.make_labelled_box()


@once_a_module
def shipment(box: Box) -> Shipment:
    """An open one with a labelled box on it."""
    return factories.make_shipment(box)


@pytest.fixture
def clerk(client_for: Callable[[User], Client]) -> Client:
    return client_for(factories.make_person("clerk"))


# -- Who may -------------------------------------------------------------------------


def test_who_has_not_signed_in_is_sent_to_do_so(client: Client, hx) -> None:
    shipment = factories.make_shipment()
    for address in (LIST, NEW, page_of(shipment)):
        assert_sent_to_sign_in(client.get(address))
    for act in ACTS:
        assert_sent_to_sign_in(client.post(act_of(shipment, act), headers=hx))


def test_an_outsider_sees_and_does_nothing(
    client_for: Callable[[User], Client], outsider: User
) -> None:
    client, shipment = client_for(outsider), factories.make_shipment()
    for address in (LIST, NEW, page_of(shipment)):
        assert client.get(address).status_code == 403
    for act in ACTS:
        assert client.post(act_of(shipment, act), keyed()).status_code == 403
    assert client.post(NEW, keyed()).status_code == 403


def test_a_packer_reads_a_shipment_and_may_not_change_it(
    client_for: Callable[[User], Client], shipment: Shipment
) -> None:
    client = client_for(factories.make_person("packer"))
    text = client.get(page_of(shipment)).content.decode()
    assert "Take off" not in text
    assert 'id="scan"' not in text
    assert NEW not in client.get(LIST).content.decode()
    for act in ACTS:
        assert client.post(act_of(shipment, act), keyed()).status_code == 403


def test_an_unknown_shipment_is_not_found(clerk: Client) -> None:
    for number in ("S1999999X", "×", "0" * 300):
        assert clerk.get(f"/shipments/{number}/").status_code == 404
        for act in ACTS:
            assert clerk.post(f"/shipments/{number}/{act}/", keyed()).status_code == 404


# -- The list and beginning ------------------------------------------------------------


@pytest.mark.smoke
def test_the_list_says_what_is_open_what_could_go_and_what_went(
    clerk: Client, box: Box
) -> None:
    held = factories.make_labelled_box()
    holds.place_hold(target="box", value=held.pk, reason="Dent", sign=sign())
    gone = factories.send(factories.make_shipment(factories.make_labelled_box()))
    open_one = factories.make_shipment(factories.make_labelled_box())
    answer = clerk.get(LIST)
    assert answer.context["open"] == [open_one]
    assert answer.context["lately"] == [gone]
    assert (answer.context["ready_boxes"], answer.context["ready_sets"]) == (1, 6)
    kind = answer.context["ready"][0]
    assert kind.places == ((box.bench.place.name, 1),)
    text = text_of(answer)
    assert (
        text.index('id="open"') < text.index('id="ready"') < text.index('id="lately"')
    )


def test_an_empty_workshop_says_so(clerk: Client) -> None:
    text = clerk.get(LIST).content.decode()
    assert "No shipment is open, and no box is ready to go." in " ".join(text.split())


@pytest.mark.smoke
def test_a_shipment_is_begun_once_and_its_page_is_next(clerk: Client, hx) -> None:
    whom = factories.make_consignee("Γενικό Νοσοκομείο")
    assert whom.name in clerk.get(NEW).content.decode()
    data = keyed(consignee=whom.code, reference="R-7")
    for _ in range(2):
        answer = clerk.post(NEW, data)
        shipment = Shipment.objects.get()
        assert answer.headers["Location"] == page_of(shipment)
    assert (shipment.consignee, shipment.reference) == (whom, "R-7")
    again = clerk.post(NEW, data, headers=hx)
    assert again.headers["HX-Redirect"] == page_of(shipment)


@pytest.mark.parametrize(
    "data",
    [
        {"consignee": "", "reference": ""},
        {"consignee": "NOBODY", "reference": ""},
        {"consignee": "\x00", "reference": ""},
        {"reference": "x" * 41},
        {"reference": "\x00"},
        {"op_key": "none"},
    ],
)
def test_a_wrong_entry_begins_nothing(clerk: Client, data: dict[str, str]) -> None:
    whom = factories.make_consignee()
    answer = clerk.post(NEW, keyed(**{"consignee": whom.code, **data}))
    assert_page(answer, status=422)
    assert answer.context["form"].errors
    assert not Shipment.objects.exists()


# -- Scanning ------------------------------------------------------------------------


@pytest.mark.parametrize("read", ["serial", "sscc", "matrix", "lower"])
def test_a_box_goes_on_by_any_of_its_codes(clerk: Client, read: str) -> None:
    Workshop.objects.update(gs1_prefix="9521234")
    size = factories.make_size(factories.make_recipe(), 6, gtin="09521234000013")
    box, shipment = factories.make_labelled_box(size), factories.make_shipment()
    # GS1 General Specifications, 7.8: FNC1 as a separator is read as 0x1D.
    matrix = f"]d201095212340000131326011410{box.batch}\x1d21{box.serial}"
    scans = {
        "serial": str(box.serial),
        "sscc": f"]C100{box.sscc}",
        "matrix": matrix,
        "lower": f" {str(box.serial).lower()} ",
    }
    answer = clerk.post(act_of(shipment, "scan"), keyed(scan=scans[read]))
    assert answer.headers["Location"] == page_of(shipment)
    box.refresh_from_db()
    assert box.stage == "loaded"
    shown = text_of(clerk.get(page_of(shipment)))
    assert f"Box {box.serial} is on the shipment." in shown


def test_a_scan_by_htmx_swaps_the_part_and_leaves_the_field_ready(
    clerk: Client, hx, box: Box
) -> None:
    shipment = factories.make_shipment()
    first = clerk.get(page_of(shipment))
    assert_page(first)
    data = {"op_key": first.context["scan_key"], "scan": box.serial}
    answer = clerk.post(act_of(shipment, "scan"), data, headers=hx)
    assert_part(answer, "shipment")
    text = text_of(answer)
    assert "autofocus" in text
    assert f"Box {box.serial} is on the shipment." in text
    assert answer.context["scan_key"] != first.context["scan_key"]
    keys = [key for _box, key in answer.context["boxes"]]
    assert answer.context["scan_key"] not in keys


@pytest.mark.smoke
def test_the_same_scan_sent_twice_puts_the_box_on_once(
    clerk: Client, hx, box: Box
) -> None:
    shipment = factories.make_shipment()
    data = keyed(scan=box.serial)
    assert clerk.post(act_of(shipment, "scan"), data).status_code == 302
    assert clerk.post(act_of(shipment, "scan"), data, headers=hx).status_code == 200
    assert ShipScan.objects.count() == 1


def test_one_key_with_two_boxes_is_a_conflict(clerk: Client, box: Box) -> None:
    other = factories.make_labelled_box()
    shipment = factories.make_shipment()
    data = keyed(scan=box.serial)
    clerk.post(act_of(shipment, "scan"), data)
    answer = clerk.post(act_of(shipment, "scan"), {**data, "scan": other.serial})
    assert_problem(answer, "operation_key_reused", status=409)
    assert ShipScan.objects.count() == 1


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("", "scan_empty"),
        (" \t ", "scan_empty"),
        ("x" * 10_000, "scan_too_long"),
        ("\x00\x01\x1d", None),
        ("K1\x00000001", None),
        ("]C1", None),
        ("5012345678900", "box_unknown"),
        ("(01)09521234000013(21)ELSEWHERE", "box_unknown"),
        ("(01)09521234000013(37)6", None),
        ("Γενικό Νοσοκομείο", None),
        ("K1000001A", None),
        ("🙂\u202edrow", None),
        ("' OR 1=1 --", None),
    ],
)
@pytest.mark.parametrize("by_htmx", [True, False])
def test_any_text_is_answered_with_a_sentence_and_nothing_is_written(
    clerk: Client, hx, text: str, code: str | None, by_htmx: bool, shipment: Shipment
) -> None:
    before = Operation.objects.count()
    headers = hx if by_htmx else {}
    answer = clerk.post(act_of(shipment, "scan"), keyed(scan=text), headers=headers)
    if by_htmx:
        assert_part(answer, "shipment", status=422)
    else:
        assert_page(answer, status=422)
    (said,) = answer.context["wrong"].non_field_errors()
    assert said.endswith(".")
    assert len(said) > 20
    if code:
        assert_problem(answer, code)
    body = answer.content.decode()
    assert 'aria-invalid="true"' in body
    assert len(body) < 20_000
    assert "\x00" not in body
    assert Operation.objects.count() == before


def test_the_number_of_something_else_is_called_by_its_name(clerk: Client) -> None:
    bag = factories.make_bag()
    shipment = factories.make_shipment()
    for number, kind in (
        (bag.number, "bag"),
        (bag.lot.number, "lot"),
        (shipment.number, "shipment"),
        (factories.make_place().code, "place"),
    ):
        answer = clerk.post(act_of(shipment, "scan"), keyed(scan=number))
        assert_problem(answer, "scan_not_a_box")
        assert f"is a {kind}, not a box" in text_of(answer)


@pytest.mark.smoke
def test_a_held_box_is_refused_with_its_hold_on_the_page(
    clerk: Client, hx, box: Box
) -> None:
    shipment = factories.make_shipment()
    lot = box.lines.get().lot
    holds.place_hold(target="lot", value=lot.pk, reason="Cracked rim", sign=sign())
    answer = clerk.post(act_of(shipment, "scan"), keyed(scan=box.serial), headers=hx)
    assert_problem(answer, "box_held")
    assert f"lot {lot.number} (Cracked rim)" in text_of(answer)


def test_a_box_of_another_open_shipment_is_a_conflict(
    clerk: Client, hx, box: Box
) -> None:
    first, second = factories.make_shipment(box), factories.make_shipment()
    answer = clerk.post(act_of(second, "scan"), keyed(scan=box.serial), headers=hx)
    assert_problem(answer, "box_in_shipment", status=409)
    assert first.number in text_of(answer)


def test_a_scan_for_a_shipment_that_was_sent_meanwhile_shows_that(
    clerk: Client, hx, box: Box
) -> None:
    other = factories.make_labelled_box()
    shipment = factories.send(factories.make_shipment(box))
    for headers in ({}, hx):
        answer = clerk.post(
            act_of(shipment, "scan"), keyed(scan=other.serial), headers=headers
        )
        assert_problem(answer, "shipment_not_open", status=409)
        assert 'id="scan"' not in text_of(answer)


# -- Taking off ----------------------------------------------------------------------


@pytest.mark.smoke
def test_a_box_is_taken_off_once_and_stands_ready(
    clerk: Client, hx, box: Box, shipment: Shipment
) -> None:
    data = keyed(box=box.pk)
    answer = clerk.post(act_of(shipment, "take-off"), data, headers=hx)
    assert_part(answer, "shipment")
    assert [kind.boxes for kind in answer.context["ready"]] == [1]
    assert clerk.post(act_of(shipment, "take-off"), data).status_code == 302
    box.refresh_from_db()
    assert box.stage == "labelled"
    assert list(ShipScan.objects.values_list("on", flat=True)) == [True, False]


@pytest.mark.parametrize(
    ("held", "words"), [(False, "Put it away."), (True, "Put it in quarantine.")]
)
def test_a_held_box_that_is_taken_off_goes_to_quarantine(
    clerk: Client, hx, held: bool, words: str, box: Box, shipment: Shipment
) -> None:
    if held:
        holds.place_hold(target="box", value=box.pk, reason="Torn", sign=sign())
    answer = clerk.post(act_of(shipment, "take-off"), keyed(box=box.pk), headers=hx)
    assert answer.context["said"].endswith(words)


@pytest.mark.parametrize("of", ["", "x", "0", "-1", "1", str(2**63), "9" * 40])
def test_taking_off_what_is_not_on_is_refused(
    clerk: Client, of: str, shipment: Shipment
) -> None:
    answer = clerk.post(act_of(shipment, "take-off"), keyed(box=of))
    assert_page(answer, status=422)
    assert answer.context["wrong"].errors
    assert ShipScan.objects.count() == 1


# -- Cancelling ---------------------------------------------------------------------


@pytest.mark.smoke
def test_a_shipment_is_cancelled_with_a_reason_and_only_once(
    clerk: Client, box: Box, shipment: Shipment
) -> None:
    address = act_of(shipment, "cancel")
    assert_page(clerk.get(address))
    assert_page(clerk.post(address, keyed(reason=" ")), status=422)
    data = keyed(reason="The van broke down")
    for _ in range(2):
        assert clerk.post(address, data).headers["Location"] == LIST
    assert Box.objects.get(pk=box.pk).stage == "labelled"
    text = clerk.get(page_of(shipment)).content.decode()
    assert "was cancelled" in text
    assert "The van broke down" in text
    assert clerk.get(address).headers["Location"] == page_of(shipment)
    assert_problem(
        clerk.post(address, keyed(reason="Again")), "shipment_not_open", status=409
    )
