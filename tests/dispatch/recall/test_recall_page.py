from __future__ import annotations

import uuid
from collections.abc import Callable
from dataclasses import replace

import pytest
from django.test import Client
from django.urls import reverse

from dispatch.trace import queries
from kitting.ledger import holds
from kitting.lots.services.lots import NewBag
from kitting.models import Box, Hold, Lift, User
from tests import factories
from tests.assertions import text_of
from tests.dispatch.notices.calling import There, a_case
from tests.factories import sign

pytestmark = pytest.mark.django_db

PAGE = reverse("dispatch:recall")
HOLD = reverse("dispatch:hold")


@pytest.fixture
def quality(client_for: Callable[[User], Client]) -> Client:
    return client_for(factories.make_person("quality officer"))


def hold_data(value: str, **changes: str) -> dict[str, str]:
    data = {"op_key": str(uuid.uuid4()), "on": value, "reason": "Rough edges"}
    return {**data, **changes}


def test_who_has_not_signed_in_is_sent_to_do_so(client: Client) -> None:
    answer = client.get(PAGE, {"q": "L1"})
    assert answer.status_code == 302
    assert reverse("sign-in") in answer.headers["Location"]


def test_an_outsider_may_not_look_up_nor_hold(
    client_for: Callable[[User], Client], outsider: User
) -> None:
    client = client_for(outsider)
    assert client.get(PAGE).status_code == 403
    assert client.post(HOLD, hold_data("lot:1")).status_code == 403
    assert not Hold.objects.exists()


def test_a_clerk_looks_up_but_may_not_hold(
    client_for: Callable[[User], Client],
) -> None:
    client = client_for(factories.make_person("clerk"))
    lot = factories.make_lot()
    assert client.get(PAGE, {"q": lot.number}).status_code == 200
    answer = client.post(f"{HOLD}?q={lot.number}", hold_data(f"lot:{lot.pk}"))
    assert answer.status_code == 403


@pytest.mark.smoke
def test_a_lot_shows_its_balance_first_and_whom_it_reached(
    quality: Client, box: Box
) -> None:
    whom = factories.make_consignee("Thornwick Children's")
    factories.send(factories.make_shipment(box, consignee=whom))
    lot = box.lines.get().lot
    answer = quality.get(PAGE, {"q": lot.number})
    text = answer.content.decode()
    assert 'aria-current="page">Recall' in text
    assert answer.context["found"].balance.sent == 6
    assert text.index("To the piece") < text.index("Whom it reached")
    assert "Thornwick Children&#x27;s" in text


@pytest.mark.parametrize(
    "text",
    [
        "NOTHING-1",
        "x" * 10_000,
        "\x00\x01\x1d",
        "]C1",
        "5012345678900",
        "Γενικό Νοσοκομείο",
        "(01)09521234000013(37)6",
        "L1000001A",
        "%00",
        "🙂",
        "\u202edrow",
    ],
)
def test_any_text_gets_a_sentence(quality: Client, text: str) -> None:
    answer = quality.get(PAGE, {"q": text})
    assert answer.status_code == 422
    assert len(answer.context["refusal"]) > 20
    assert answer.context["refusal"].endswith(".")


@pytest.mark.smoke
def test_a_hold_placed_from_the_page_acts_at_once_and_only_once(
    quality: Client, box: Box
) -> None:
    lot = box.lines.get().lot
    page = quality.get(PAGE, {"q": lot.number})
    choices = [value for value, _ in page.context["form"].fields["on"].choices]
    assert choices[0] == f"lot:{lot.pk}"
    data = hold_data(choices[0])
    for _ in range(2):
        answer = quality.post(page.context["hold_address"], data)
        assert answer.status_code == 302
    hold = Hold.objects.get()
    assert (hold.lot_id, hold.reason) == (lot.pk, "Rough edges")
    again = quality.get(PAGE, {"q": lot.number})
    assert [row.hold_id for row in again.context["holds"]] == [hold.pk]
    held = {row.serial for row in again.context["found"].boxes if row.held}
    assert held == {box.serial}
    of_box = quality.get(PAGE, {"q": box.serial})
    assert [row.hold_id for row in of_box.context["holds"]] == [hold.pk]


def test_a_hold_on_a_source_stops_all_that_came_from_it(quality: Client) -> None:
    lot = factories.make_lot(source="Bench: 7, left")
    page = quality.get(PAGE, {"q": lot.number})
    data = hold_data("source:Bench: 7, left")
    answer = quality.post(page.context["hold_address"], data)
    assert answer.status_code == 302
    assert Hold.objects.get().source == "Bench: 7, left"


@pytest.mark.smoke
def test_a_hold_without_a_reason_or_on_something_else_is_refused(
    quality: Client,
) -> None:
    lot, other = factories.make_lot(), factories.make_lot()
    page = quality.get(PAGE, {"q": lot.number})
    for data in (
        hold_data(f"lot:{lot.pk}", reason=""),
        hold_data(f"lot:{other.pk}"),
        hold_data(f"lot:{lot.pk}", op_key="none"),
    ):
        answer = quality.post(page.context["hold_address"], data)
        assert answer.status_code == 422
        assert answer.context["form"].errors
    assert not Hold.objects.exists()
    assert quality.post(f"{HOLD}?q=NOTHING", hold_data("lot:1")).status_code == 404


def test_one_key_with_two_contents_is_a_conflict(quality: Client) -> None:
    lot = factories.make_lot()
    page = quality.get(PAGE, {"q": lot.number})
    data = hold_data(f"lot:{lot.pk}")
    quality.post(page.context["hold_address"], data)
    data["reason"] = "Another reason"
    answer = quality.post(page.context["hold_address"], data)
    assert answer.status_code == 409
    assert answer.context["form"].has_error("__all__", "operation_key_reused")


@pytest.mark.smoke
def test_a_quality_officer_lifts_a_hold_by_name(quality: Client) -> None:
    lot = factories.make_lot()
    held = holds.place_hold(target="lot", value=lot.pk, reason="Crack", sign=sign())
    address = reverse("dispatch:lift", args=[held.hold_id])
    assert "Crack" in quality.get(address).content.decode()
    data = {"op_key": str(uuid.uuid4()), "reason": "Measured again", "password": "pass"}
    assert quality.post(address, {**data, "reason": ""}).status_code == 422
    assert quality.post(address, data).status_code == 302
    assert Lift.objects.get().reason == "Measured again"
    assert quality.post(address, data).status_code == 302
    assert Lift.objects.count() == 1
    fresh = {**data, "op_key": str(uuid.uuid4())}
    assert quality.post(address, fresh).status_code == 404
    assert quality.post(address, {**data, "reason": "Other"}).status_code == 404
    assert quality.get(address).status_code == 404


@pytest.mark.parametrize(("role", "status"), [("manager", 200), ("clerk", 403)])
def test_besides_the_quality_officer_the_manager_lifts_holds(
    role: str, status: int, client_for: Callable[[User], Client]
) -> None:
    client = client_for(factories.make_person(role))
    lot = factories.make_lot()
    held = holds.place_hold(target="lot", value=lot.pk, reason="Crack", sign=sign())
    address = reverse("dispatch:lift", args=[held.hold_id])
    assert client.get(address).status_code == status


def test_the_standing_holds_are_listed_before_anything_is_asked(
    quality: Client,
) -> None:
    lot = factories.make_lot()
    holds.place_hold(target="lot", value=lot.pk, reason="Crack", sign=sign())
    answer = quality.get(PAGE)
    assert [row.on for row in answer.context["standing"]] == [f"lot {lot.number}"]


def test_several_lots_with_one_number_of_their_maker_are_a_choice(
    quality: Client,
) -> None:
    first = factories.make_lot(source_number="W-17")
    second = factories.make_lot(source_number="W-17")
    answer = quality.get(PAGE, {"q": "w-17"})
    assert answer.status_code == 200
    assert set(answer.context["choices"]) == {first, second}


def test_the_boxes_download_as_csv_and_xlsx(quality: Client, box: Box) -> None:
    lot = box.lines.get().lot
    csv = quality.get(PAGE, {"q": lot.number, "as": "csv"})
    text = b"".join(csv.streaming_content).decode()  # type: ignore[attr-defined]
    assert str(box.serial) in text
    xlsx = quality.get(PAGE, {"q": lot.number, "as": "xlsx"})
    assert b"".join(xlsx.streaming_content)[:2] == b"PK"  # type: ignore[attr-defined]


def test_a_difference_is_told_whichever_lot_it_is_of(
    quality: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    sheets = factories.make_bag().lot
    visors = factories.make_lot(bags=(NewBag(6),), made_from=((sheets.pk, 2),))
    page = f"{reverse('dispatch:recall')}?q={sheets.number}"

    def seen() -> str:
        return quality.get(page).content.decode()

    right, told = queries.balances_of, "These figures do not add up"
    assert visors.number in seen()
    assert told not in seen()
    bent = lambda lots: [replace(each, difference=3) for each in right(lots)]  # noqa: E731
    monkeypatch.setattr(queries, "balances_of", bent)
    assert told in seen()
    assert "unaccounted" not in seen()


def test_a_name_leads_to_the_consignee_and_a_near_miss_is_a_link(
    quality: Client, there: There
) -> None:
    box, consignee = there
    asked = quality.get(PAGE, {"q": consignee.name})
    to = reverse("dispatch:consignee-detail", args=[consignee.code])
    assert asked.headers["Location"] == to
    assert "Recalls" not in text_of(quality.get(to))
    other = a_case(factories.make_labelled_box())
    shown = " ".join(text_of(quality.get(to)).split())
    assert "No box that is there is recalled, as far as anybody said." in shown
    assert "Asked were the newest 1 of 1 open cases." in shown
    assert other.number not in shown
    near = quality.get(PAGE, {"q": str(box)[1:]})
    assert near.status_code == 422
    assert f'<a href="?q={box}">' in near.content.decode()
