"""Whole pallets on shipments: the page, the papers, the fetch list, the log, the trace."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

import pytest
from django.test import Client

from dispatch.domain.needs import Asked
from dispatch.labels import papers
from dispatch.labels.sheets import paper_of
from dispatch.models import Consignee, Pallet, Shipment
from dispatch.requests.queries.requests import open_for
from dispatch.requests.services import take_request
from dispatch.shipments.queries.fetch import fetch_list
from dispatch.shipments.queries.papers import load_of
from dispatch.shipments.queries.shipments import on_board
from dispatch.trace.queries import trace
from kitting.domain.shown import spaced
from kitting.ledger import holds
from kitting.ledger.reach import standing_reach
from kitting.models import Box, User, Workshop
from tests import factories
from tests.databases import once_a_module
from tests.factories import load_pallet, make_pallet, make_shipment, sign
from tests.kitting.labels.samples import pages_of, plain
from tests.kitting.printing.pages.asking import keyed, words

pytestmark = pytest.mark.django_db


@once_a_module
def boxes() -> list[Box]:
    """Four boxes of six in a workshop with a company prefix."""
    Workshop.objects.update(gs1_prefix="9521234")
    first = factories.make_labelled_box()
    return [first, *(factories.make_labelled_box(size=first.size) for _ in range(3))]


@once_a_module
def shipment() -> Shipment:
    return make_shipment(consignee=factories.make_consignee("Eskmoor General"))


@pytest.fixture
def clerk(client_for: Callable[[User], Client]) -> Client:
    return client_for(factories.make_person("clerk"))


def act(shipment: Shipment, name: str) -> str:
    return f"/shipments/{shipment.number}/{name}/"


def ask(shipment: Shipment, box: Box, sets: int) -> None:
    take_request(
        consignee_id=shipment.consignee_id,
        product_id=box.size.product_id,
        asked=Asked(sets=sets, tier=1, way="mail"),
        sign=sign(),
    )


# -- Loading at the page ---------------------------------------------------------------


@pytest.mark.smoke
@pytest.mark.parametrize("by", ["number", "digits", "symbol"])
def test_one_scan_of_its_label_loads_it(
    clerk: Client, boxes: list[Box], shipment: Shipment, by: str, hx
) -> None:
    pallet = make_pallet(*boxes[:3])
    # A scanner sends the identifier of GS1-128, ]C1 (ISO/IEC 15424), and AI 00.
    read = {
        "number": pallet.number,
        "digits": str(pallet.sscc),
        "symbol": f"]C100{pallet.sscc}",
    }
    data = keyed(scan=read[by])
    for _ in range(2):
        answer = clerk.post(act(shipment, "scan"), data, headers=hx)
        said = words(answer)
        assert answer.status_code == 200
        assert "is on the shipment with 3 boxes." in said
        assert "Take the pallet off" in said
    assert len(on_board(shipment)) == 3


@pytest.mark.smoke
def test_a_pallet_that_stays_names_each_box_and_where_it_goes(
    clerk: Client, boxes: list[Box], shipment: Shipment, hx
) -> None:
    pallet = make_pallet(*boxes)
    for box in boxes[:2]:
        what = {"target": "box", "value": box.pk, "reason": "Crushed corner"}
        holds.place_hold(**what, sign=sign())
    answer = clerk.post(act(shipment, "scan"), keyed(scan=pallet.number), headers=hx)
    assert answer.status_code in (409, 422)
    said = words(answer)
    assert "none of its boxes was put on the shipment" in said
    for box in boxes[:2]:
        assert spaced(str(box)).replace("\N{NARROW NO-BREAK SPACE}", " ") in said
    assert said.count("Put the box in quarantine.") == 2
    assert f'href="/pallets/{pallet.number}/"' in answer.content.decode()
    assert on_board(shipment) == []


def test_boxes_beyond_what_they_asked_for_are_counted(
    clerk: Client, boxes: list[Box], shipment: Shipment, hx
) -> None:
    ask(shipment, boxes[0], 12)
    pallet = make_pallet(*boxes)
    answer = clerk.post(act(shipment, "scan"), keyed(scan=pallet.number), headers=hx)
    assert "2 more than they asked for" in words(answer)


def test_a_box_that_came_on_a_pallet_comes_off_both(
    clerk: Client, boxes: list[Box], shipment: Shipment, hx
) -> None:
    pallet = make_pallet(*boxes[:2])
    load_pallet(shipment, pallet)
    off = clerk.post(act(shipment, "take-off"), keyed(box=boxes[0].pk), headers=hx)
    assert "off pallet" in words(off)
    assert pallet.number in off.content.decode()
    whole = keyed(pallet=pallet.number)
    done = clerk.post(act(shipment, "pallet-off"), whole, headers=hx)
    assert "is off the shipment, as it was before" in words(done)
    assert on_board(shipment) == []
    for wrong in (keyed(pallet="P1999999X"), keyed(pallet=""), keyed(pallet="\0")):
        answer = clerk.post(act(shipment, "pallet-off"), wrong, headers=hx)
        assert answer.status_code == 422


def test_a_box_past_its_date_that_comes_off_goes_to_quarantine(
    clerk: Client, boxes: list[Box], shipment: Shipment, hx
) -> None:
    pallet = make_pallet(*boxes[:2])
    load_pallet(shipment, pallet)
    Box.objects.filter(pk=boxes[0].pk).update(
        use_by=factories.TODAY - timedelta(days=1)
    )
    off = clerk.post(act(shipment, "take-off"), keyed(box=boxes[0].pk), headers=hx)
    said = "It may not go. Put it in quarantine. Print the label of the pallet again."
    assert said in words(off)


def test_who_may_not_send_takes_no_pallet_off(
    client_for: Callable[[User], Client], outsider: User, shipment: Shipment
) -> None:
    packer = factories.make_person("packer")
    for user in (outsider, packer):
        answer = client_for(user).post(act(shipment, "pallet-off"), keyed())
        assert answer.status_code == 403
    assert Client().post(act(shipment, "pallet-off")).status_code == 302


# -- The fetch list --------------------------------------------------------------------


def rows(shipment: Shipment) -> list[tuple[str, int, int, bool, str]]:
    found = fetch_list(shipment, open_for(shipment), standing_reach(), factories.TODAY)
    ticked = found.ticked(on_board(shipment))
    return [
        (row.box, row.boxes, row.sets, row.on, row.off)
        for _place, lines in ticked
        for row in lines
    ]


def test_a_pallet_of_which_all_is_wanted_is_one_thing_to_fetch(
    boxes: list[Box], shipment: Shipment
) -> None:
    pallet = make_pallet(*boxes[:3])
    ask(shipment, boxes[0], 18)
    assert rows(shipment) == [(pallet.number, 3, 18, False, "")]
    load_pallet(shipment, pallet)
    assert rows(shipment) == [(pallet.number, 3, 18, True, "")]


def test_a_box_wanted_from_a_pallet_says_that_it_is_taken_off_first(
    boxes: list[Box], shipment: Shipment
) -> None:
    pallet = make_pallet(*boxes[:3])
    ask(shipment, boxes[0], 12)
    assert rows(shipment) == [
        (str(box), 0, 6, False, pallet.number) for box in boxes[:2]
    ]


# -- Papers ----------------------------------------------------------------------------


def test_papers_tell_boxes_pallet_by_pallet(
    boxes: list[Box], shipment: Shipment
) -> None:
    Consignee.objects.filter(pk=shipment.consignee_id).update(language="de")
    shipment.refresh_from_db()
    first, second = make_pallet(*boxes[:2]), make_pallet(boxes[2])
    for pallet in (second, first):
        load_pallet(shipment, pallet)
    alone = {"shipment_id": shipment.pk, "box_id": boxes[3].pk}
    factories.services.load_box(**alone, sign=sign())
    load = load_of(shipment, Workshop.objects.get(pk=1))
    on = paper_of("GB")
    (listed,) = pages_of(papers.packing_list(load, on))
    order = [
        f"Palette {spaced(first.number)} · SSCC {spaced(first.sscc or '')}",
        spaced(str(boxes[0])),
        spaced(str(boxes[1])),
        f"Palette {spaced(second.number)} · SSCC {spaced(second.sscc or '')}",
        spaced(str(boxes[2])),
        "Auf keiner Palette",
        spaced(str(boxes[3])),
    ]
    at = [listed.index(plain(each)) for each in order]
    assert at == sorted(at)
    assert "Kartons 2 · Sets 12" in listed
    (noted,) = pages_of(papers.delivery_note(load, on))
    assert "Paletten: 2" in noted
    assert "Paletten: 2" in listed


def test_papers_without_a_pallet_say_nothing_of_pallets(
    boxes: list[Box], shipment: Shipment
) -> None:
    alone = {"shipment_id": shipment.pk, "box_id": boxes[3].pk}
    factories.services.load_box(**alone, sign=sign())
    load = load_of(shipment, Workshop.objects.get(pk=1))
    (listed,) = pages_of(papers.packing_list(load, paper_of("GB")))
    assert "allet" not in listed


# -- Found again -----------------------------------------------------------------------


@pytest.fixture
def sent(boxes: list[Box], shipment: Shipment) -> Pallet:
    pallet = make_pallet(*boxes[:2])
    load_pallet(shipment, pallet)
    factories.send(shipment)
    return pallet


def test_a_trace_of_a_pallet_finds_its_boxes(sent: Pallet, boxes: list[Box]) -> None:
    for text in (sent.number, str(sent.sscc), f"]C100{sent.sscc}"):
        found = trace(text)
        assert (found.kind, found.number) == ("pallet", sent.number)
        assert {box.serial for box in found.boxes} == {str(box) for box in boxes[:2]}
        assert {each.name for each in found.consignees} == {"Eskmoor General"}


def test_the_recall_the_journal_and_any_number_lead_to_a_pallet(
    sent: Pallet, boxes: list[Box], client_for: Callable[[User], Client]
) -> None:
    client = client_for(factories.make_person("quality officer"))
    found = client.get(f"/recall/?q={sent.sscc}")
    assert str(boxes[0]) in found.content.decode()
    about = client.get(f"/journal/?about={sent.number}")
    assert "Pallet loaded" in words(about)
    for text in (sent.number, str(sent.sscc)):
        to = client.get("/find/", {"q": text})
        assert to.headers["Location"] == f"/pallets/{sent.number}/"


def test_the_log_finds_the_shipment_of_a_pallet(
    sent: Pallet, shipment: Shipment, clerk: Client
) -> None:
    other = factories.send(make_shipment(factories.make_labelled_box()))
    for text in (sent.number, str(sent.sscc), f"]C100{sent.sscc}"):
        page = clerk.get("/log/", {"q": text}).content.decode()
        assert shipment.number in page
        assert other.number not in page
    assert (
        shipment.number
        not in clerk.get("/log/", {"q": make_pallet().number}).content.decode()
    )
