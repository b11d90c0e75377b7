"""Loading by scans: what was expected is ticked, what was not is said."""

from __future__ import annotations

import re
import uuid
from collections.abc import Callable
from datetime import date
from functools import partial

import pytest
from django.db import connection
from django.http import HttpResponse
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from dispatch.domain.needs import Asked
from dispatch.models import Consignee, Shipment
from dispatch.requests.services import take_request
from dispatch.shipments import services
from kitting.domain.errors import LotwardError
from kitting.domain.stages import BoxStage
from kitting.ledger import holds
from kitting.models import Box, User
from kitting.web.messages import sentence
from tests import factories
from tests.assertions import text_of
from tests.databases import once_a_module
from tests.factories import sign

pytestmark = pytest.mark.django_db


@once_a_module
def boxes() -> list[Box]:
    """Three boxes of six, ready to go."""
    first = factories.make_labelled_box()
    return [first, *(factories.make_labelled_box(size=first.size) for _ in range(2))]


@once_a_module
def whom() -> Consignee:
    return factories.make_consignee()


@once_a_module
def shipment(whom: Consignee) -> Shipment:
    return factories.make_shipment(consignee=whom)


@pytest.fixture
def clerk(client_for: Callable[[User], Client]) -> Client:
    return client_for(factories.make_person("clerk"))


def ask(whom: Consignee, box: Box, sets: int) -> str:
    taken = take_request(
        consignee_id=whom.pk,
        product_id=box.size.product_id,
        asked=Asked(sets=sets, tier=1, way="mail"),
        sign=sign(),
    )
    return taken.request


def page_of(client: Client, shipment: Shipment) -> HttpResponse:
    return client.get(reverse("dispatch:shipment-detail", args=[shipment.number]))  # type: ignore[return-value]


def fields_of(page: HttpResponse) -> dict[str, str]:
    """What the page that is scanned at sends along: what it shows."""
    found = re.findall(r'name="(seen|listed|bring)" value="([^"]*)"', text_of(page))
    assert len(found) == 3
    return dict(found)


def scan(
    client: Client,
    shipment: Shipment,
    box: Box,
    page: HttpResponse | None = None,
    **headers: str,
) -> HttpResponse:
    """Scan a box at a page that shows the shipment as it is, or as it was."""
    address = reverse("dispatch:shipment-scan", args=[shipment.number])
    data = {"op_key": str(uuid.uuid4()), "scan": box.serial}
    data |= fields_of(page or page_of(client, shipment))
    return client.post(address, data, headers=headers)  # type: ignore[return-value]


def take_off(
    client: Client, shipment: Shipment, box: Box, page: HttpResponse, **headers: str
) -> HttpResponse:
    address = reverse("dispatch:shipment-take-off", args=[shipment.number])
    data = {"op_key": str(uuid.uuid4()), "box": box.pk, **fields_of(page)}
    return client.post(address, data, headers=headers)  # type: ignore[return-value]


def sound_of(answer: HttpResponse) -> str:
    return text_of(answer).partition('data-sound="')[2].partition('"')[0]


def lines(client: Client, shipment: Shipment) -> dict[str, bool]:
    """Each box of the list, and whether it is ticked."""
    shown = page_of(client, shipment).context  # type: ignore[attr-defined]
    left = {row.box: row.on for _place, rows in shown["bring"] for row in rows}
    return left | {row.box: row.on for _place, row in shown["fetched"]}


# -- What was expected -----------------------------------------------------------------


def test_a_box_that_the_list_names_is_ticked_and_its_line_stays(
    clerk: Client, hx, boxes: list[Box], whom: Consignee, shipment: Shipment
) -> None:
    ask(whom, boxes[0], 12)
    answer = scan(clerk, shipment, boxes[0], **hx)
    assert answer.context["said"] == f"Box {boxes[0].serial} is on the shipment."
    assert sound_of(answer) == "right"
    assert lines(clerk, shipment) == {str(boxes[0]): True, str(boxes[1]): False}
    last = scan(clerk, shipment, boxes[1], **hx)
    assert lines(clerk, shipment) == {str(boxes[0]): True, str(boxes[1]): True}
    assert "Fetch " not in text_of(last)


def test_another_box_than_the_list_names_serves_as_well_and_is_said(
    clerk: Client, hx, boxes: list[Box], whom: Consignee, shipment: Shipment
) -> None:
    request = ask(whom, boxes[0], 6)
    answer = scan(clerk, shipment, boxes[2], **hx)
    assert "The list names another box" in answer.context["said"]
    assert request in answer.context["said"]
    assert sound_of(answer) == "besides"


def test_more_than_they_asked_for_is_said(
    clerk: Client, boxes: list[Box], whom: Consignee, shipment: Shipment
) -> None:
    ask(whom, boxes[0], 6)
    scan(clerk, shipment, boxes[0])
    scan(clerk, shipment, boxes[1])
    page = clerk.get(reverse("dispatch:shipment-detail", args=[shipment.number]))
    assert "more than they asked for" in text_of(page)
    assert sound_of(page) == "besides"


def test_what_nobody_there_asked_for_is_said_by_its_name(
    clerk: Client, hx, boxes: list[Box], whom: Consignee, shipment: Shipment
) -> None:
    ask(whom, boxes[0], 6)
    recipe = factories.make_recipe(name="Gown 100% of it")
    other = factories.make_labelled_box(factories.make_size(recipe, 6))
    answer = scan(clerk, shipment, other, **hx)
    said = f"they did not ask for {other.size.product.name}"
    assert said in answer.context["said"]
    assert sound_of(answer) == "besides"


def test_where_nobody_asked_for_anything_every_box_is_right(
    clerk: Client, hx, boxes: list[Box], shipment: Shipment
) -> None:
    answer = scan(clerk, shipment, boxes[2], **hx)
    assert sound_of(answer) == "right"
    assert lines(clerk, shipment) == {}


# -- What an answer sends --------------------------------------------------------------


def rows_in(answer: HttpResponse) -> list[str]:
    return re.findall(r'<li id="on-([^"]+)"', text_of(answer))


def gone_in(answer: HttpResponse) -> set[str]:
    lines = [line for line in text_of(answer).split("<") if 'oob="delete' in line]
    return set(re.findall(r"[a-z]+-[0-9A-Z]{5,}", " ".join(lines)))


def is_part(answer: HttpResponse) -> bool:
    """Whether it holds what changed alone, each where it belongs, and not the rest."""
    return answer.headers.get("HX-Reswap") == "none"


def test_an_answer_holds_the_row_that_came_and_none_of_the_others(
    clerk: Client, hx, boxes: list[Box], whom: Consignee, shipment: Shipment
) -> None:
    ask(whom, boxes[0], 12)
    first = scan(clerk, shipment, boxes[0], **hx)
    assert is_part(first)
    assert rows_in(first) == [boxes[0].serial]
    second = scan(clerk, shipment, boxes[1], page=first, **hx)
    assert is_part(second)
    assert rows_in(second) == [boxes[1].serial]
    assert (second.context["on"], second.context["sets_on"]) == (2, 12)  # type: ignore[attr-defined]
    # Its line leaves what is to be brought, and is the first of what was.
    assert gone_in(second) == {f"bring-{boxes[1].serial}"}
    assert f'id="fetched-{boxes[1].serial}"' in text_of(second)
    assert "shipment-bring" not in text_of(second)
    whole = page_of(clerk, shipment)
    assert rows_in(whole) == [boxes[1].serial, boxes[0].serial]
    assert fields_of(whole) == fields_of(second)


def test_what_comes_off_is_named_and_what_is_to_be_brought_is_sent_anew(
    clerk: Client, hx, boxes: list[Box], whom: Consignee, shipment: Shipment
) -> None:
    ask(whom, boxes[0], 12)
    scan(clerk, shipment, boxes[0])
    page = page_of(clerk, shipment)
    answer = take_off(clerk, shipment, boxes[0], page, **hx)
    assert is_part(answer)
    assert gone_in(answer) == {f"on-{boxes[0].serial}", f"fetched-{boxes[0].serial}"}
    assert "shipment-bring" in text_of(answer)
    assert fields_of(answer) == fields_of(page_of(clerk, shipment))


def test_another_box_than_the_list_names_changes_what_is_to_be_brought(
    clerk: Client, hx, boxes: list[Box], whom: Consignee, shipment: Shipment
) -> None:
    ask(whom, boxes[0], 12)
    answer = scan(clerk, shipment, boxes[2], **hx)
    assert is_part(answer)
    assert gone_in(answer) == set()
    assert "shipment-bring" in text_of(answer)


@pytest.mark.parametrize("meanwhile", ["loaded", "taken off", "held"])
def test_a_page_that_shows_something_else_gets_all_of_it(
    clerk: Client, hx, boxes: list[Box], shipment: Shipment, meanwhile: str
) -> None:
    load(shipment, boxes[0])()
    page = page_of(clerk, shipment)
    if meanwhile == "loaded":
        load(shipment, boxes[1])()
    elif meanwhile == "held":
        what = {"target": "box", "value": boxes[0].pk, "reason": "Torn"}
        holds.place_hold(**what, sign=sign())
    else:
        of = {"shipment_id": shipment.pk, "box_id": boxes[0].pk}
        services.take_off_box(**of, sign=sign())
    answer = scan(clerk, shipment, boxes[2], page=page, **hx)
    assert not is_part(answer)
    assert len(rows_in(answer)) == {"loaded": 3, "taken off": 1, "held": 2}[meanwhile]
    assert 'id="shipment"' in text_of(answer)


def test_a_held_box_that_comes_off_leaves_the_rest(
    clerk: Client, hx, boxes: list[Box], shipment: Shipment
) -> None:
    for box in boxes[:2]:
        load(shipment, box)()
    what = {"target": "box", "value": boxes[0].pk, "reason": "Torn"}
    holds.place_hold(**what, sign=sign())
    page = page_of(clerk, shipment)
    answer = take_off(clerk, shipment, boxes[0], page, **hx)
    assert is_part(answer)
    assert "Take 1 box off" not in text_of(answer)


def test_a_box_that_comes_off_a_pallet_changes_the_line_of_the_pallet(
    clerk: Client, hx, boxes: list[Box], whom: Consignee, shipment: Shipment
) -> None:
    ask(whom, boxes[0], 18)
    pallet = factories.make_pallet(*boxes)
    page, address = page_of(clerk, shipment), "dispatch:shipment-scan"
    data = {"op_key": str(uuid.uuid4()), "scan": pallet.number, **fields_of(page)}
    answer = clerk.post(reverse(address, args=[shipment.number]), data, headers=hx)
    assert is_part(answer)
    assert set(rows_in(answer)) == {box.serial for box in boxes}
    assert gone_in(answer) == {f"bring-{pallet.number}"}
    assert lines(clerk, shipment) == {pallet.number: True}
    off = take_off(clerk, shipment, boxes[0], page=answer, **hx)
    assert not is_part(off)
    assert len(rows_in(off)) == 2


def test_a_scan_asks_the_same_however_many_boxes_are_on(
    clerk: Client, hx, boxes: list[Box], whom: Consignee, shipment: Shipment
) -> None:
    ask(whom, boxes[0], 18)
    asked = []
    for box in boxes:
        page = page_of(clerk, shipment)
        with CaptureQueriesContext(connection) as caught:
            scan(clerk, shipment, box, page=page, **hx)
        asked.append(len(caught))
    assert max(asked) <= MOST_ASKED


MOST_ASKED = 30 if connection.vendor == "sqlite" else 32
"""Questions of the act, of who does it, and of what changed on the page."""


# -- What is refused, and where it goes ------------------------------------------------


def refused(act: Callable[[], object]) -> LotwardError:
    with pytest.raises(LotwardError) as caught:
        act()
    return caught.value


def load(shipment: Shipment, box: Box) -> Callable[[], object]:
    return partial(
        services.load_box, shipment_id=shipment.pk, box_id=box.pk, sign=sign()
    )


def hold(box: Box, reason: str = "Dent") -> None:
    holds.place_hold(target="box", value=box.pk, reason=reason, sign=sign())


def test_each_wrong_box_has_a_sentence_that_says_where_it_goes(
    clerk: Client, hx, boxes: list[Box], shipment: Shipment
) -> None:
    held, elsewhere, late = boxes
    hold(held)
    other = factories.make_shipment(elsewhere)
    Box.objects.filter(pk=late.pk).update(use_by=date(2026, 1, 13))
    name = other.consignee.name
    for box, says in (
        (held, "Put the box in quarantine."),
        (elsewhere, f"for {name}. Put it with their boxes"),
        (late, "past its use-by date, 2026-01-13. Put it in quarantine."),
    ):
        assert says in sentence(refused(load(shipment, box)))
        answer = scan(clerk, shipment, box, **hx)
        assert says in text_of(answer)
        assert sound_of(answer) == "wrong"


def test_a_box_that_nobody_knows_is_put_aside(
    clerk: Client, hx, shipment: Shipment
) -> None:
    address = reverse("dispatch:shipment-scan", args=[shipment.number])
    data = {"op_key": str(uuid.uuid4()), "scan": "5012345678900"}
    answer = clerk.post(address, data, headers=hx)
    assert "put the box in quarantine" in text_of(answer)
    assert sound_of(answer) == "wrong"


def test_a_box_that_is_not_finished_is_sent_to_its_bench_by_name(
    shipment: Shipment,
) -> None:
    box = factories.make_closed_box()
    said = sentence(refused(load(shipment, box)))
    assert f"Bring it back to {box.bench}" in said


def test_a_box_that_came_back_goes_to_quarantine(
    boxes: list[Box], shipment: Shipment
) -> None:
    Box.objects.filter(pk=boxes[0].pk).update(stage=BoxStage.RETURNED)
    error = refused(load(shipment, boxes[0]))
    assert error.code == "box_came_back"
    assert "quarantine" in sentence(error)


# -- A hold in mid-loading -------------------------------------------------------------


def test_every_box_that_must_come_off_is_named_at_once(
    clerk: Client, boxes: list[Box]
) -> None:
    shipment = factories.make_shipment(*boxes)
    first, second, late = boxes
    for box, reason in ((first, "Dent"), (second, "Torn")):
        hold(box, reason)
    Box.objects.filter(pk=late.pk).update(use_by=date(2026, 1, 13))
    page = clerk.get(reverse("dispatch:shipment-detail", args=[shipment.number]))
    listed = {box.box for box, _key in page.context["held"]}
    assert listed == {str(box) for box in boxes}
    assert "Take 3 boxes off and put them in quarantine" in text_of(page)
    send = partial(services.send_shipment, shipment_id=shipment.pk, driver="Driver 2")
    error = refused(lambda: send(sign=sign()))
    told = [error, *error.besides]
    assert {each.params["box"] for each in told} == listed
    assert sorted(each.code for each in told) == [
        *("box_held", "box_held", "box_past_use_by"),
    ]
    for box in boxes:
        services.take_off_box(shipment_id=shipment.pk, box_id=box.pk, sign=sign())
    assert refused(lambda: send(sign=sign())).code == "shipment_empty"


def test_a_page_that_is_open_hears_of_a_hold_by_itself(
    clerk: Client, hx, boxes: list[Box]
) -> None:
    shipment = factories.make_shipment(*boxes[:2])
    address = reverse("dispatch:shipment-held", args=[shipment.number])
    page = text_of(
        clerk.get(reverse("dispatch:shipment-detail", args=[shipment.number]))
    )
    assert f'hx-get="{address}?seen=0"' in page
    assert clerk.get(address, {"seen": "0"}, headers=hx).status_code == 204
    hold(boxes[0])
    answer = clerk.get(address, {"seen": "0"}, headers=hx)
    assert f"Take box {boxes[0].serial} off" in text_of(answer)
    assert sound_of(answer) == "wrong"
    assert clerk.get(address, {"seen": "1"}, headers=hx).status_code == 204
    services.take_off_box(shipment_id=shipment.pk, box_id=boxes[0].pk, sign=sign())
    gone = clerk.get(address, {"seen": "1"}, headers=hx)
    assert sound_of(gone) == ""
    assert "Take box" not in text_of(gone)
    for odd in ("", "x", "9" * 40, "²"):
        assert clerk.get(address, {"seen": odd}, headers=hx).status_code == 200


def test_nobody_hears_of_it_without_the_right(
    clerk: Client, client_for: Callable[[User], Client], outsider: User, hx
) -> None:
    shipment = factories.make_shipment()
    address = reverse("dispatch:shipment-held", args=[shipment.number])
    assert client_for(outsider).get(address, headers=hx).status_code == 403
    assert clerk.get("/shipments/S9/held/", headers=hx).status_code == 404
