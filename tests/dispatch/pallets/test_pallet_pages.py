"""The pages of pallets: begun, built by scans, printed again, broken up."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.test import Client

from dispatch.models import Consignee, Pallet, PalletBox, PalletScan
from dispatch.pallets import services
from dispatch.pallets.labels import is_printed
from kitting.domain.prints import DESTROYED, Again, Onto
from kitting.ledger import holds
from kitting.models import Box, Print, PrintJob, User, Workshop
from kitting.printing.services import prints
from tests import factories
from tests.assertions import assert_sent_to_sign_in, text_of
from tests.databases import once_a_module
from tests.factories import load_pallet, make_pallet, make_shipment, sign
from tests.kitting.labels import samples
from tests.kitting.printing.pages.asking import keyed, words
from tests.printers import BOX_ROLL, make_printer

pytestmark = pytest.mark.django_db
ACTS = ("scan", "take-off", "break-up", "label")


@pytest.fixture(autouse=True)
def _on_the_day(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("kitting.ledger.clock.now", lambda: factories.NOW)


@once_a_module
def boxes() -> list[Box]:
    Workshop.objects.update(gs1_prefix="9521234")
    first = factories.make_labelled_box()
    return [first, factories.make_labelled_box(size=first.size)]


@pytest.fixture
def clerk(client_for: Callable[[User], Client]) -> Client:
    return client_for(factories.make_person("clerk"))


def page_of(pallet: Pallet, act: str = "") -> str:
    return f"/pallets/{pallet.number}/" + (f"{act}/" if act else "")


def print_label(
    pallet: Pallet, reason: str = "", onto: Onto | None = None
) -> prints.PrintedLabels:
    again = Again(reason, DESTROYED if reason else "")
    of = {"kind": "pallet", "numbers": [pallet.number]}
    return prints.print_labels(**of, again=again, onto=onto, sign=sign())


def page(printed: prints.PrintedLabels) -> str:
    (shown,) = samples.pages_of(prints.document_pdf(bytes.fromhex(printed.pdf_sha)))
    return shown


# -- Who may ---------------------------------------------------------------------------


def test_only_who_sends_boxes_builds_a_pallet(
    client_for: Callable[[User], Client], outsider: User, boxes: list[Box]
) -> None:
    pallet = make_pallet(*boxes)
    assert_sent_to_sign_in(Client().get(page_of(pallet)))
    stranger = client_for(outsider)
    packer = client_for(factories.make_person("packer"))
    for address in ("/pallets/", page_of(pallet)):
        assert stranger.get(address).status_code == 403
        shown = packer.get(address)
        assert shown.status_code == 200
        assert "Take off" not in text_of(shown)
    for act in ACTS[:3]:
        assert packer.post(page_of(pallet, act), keyed()).status_code == 403
    for act in ACTS:
        assert stranger.post(page_of(pallet, act), keyed()).status_code == 403
    assert packer.post("/pallets/new/", keyed()).status_code == 403


def test_an_unknown_pallet_is_not_found(clerk: Client) -> None:
    for number in ("P1999999X", "×", "0" * 300):
        assert clerk.get(f"/pallets/{number}/").status_code == 404
        for act in ACTS:
            assert clerk.post(f"/pallets/{number}/{act}/", keyed()).status_code == 404


# -- Building --------------------------------------------------------------------------


@pytest.mark.smoke
def test_a_pallet_is_begun_once_and_its_label_is_next(clerk: Client, hx) -> None:
    assert "Begin a pallet" in text_of(clerk.get("/pallets/"))
    data = keyed()
    for headers in ({}, hx):
        answer = clerk.post("/pallets/new/", data, headers=headers)
        pallet = Pallet.objects.get()
        to = answer.headers.get("Location") or answer.headers["HX-Redirect"]
        assert to == page_of(pallet, "label")
    assert clerk.get(to).status_code == 200
    assert pallet.number in clerk.get("/pallets/").content.decode()


@pytest.mark.smoke
def test_scans_put_boxes_on_and_what_is_no_box_is_said(
    clerk: Client, boxes: list[Box], hx
) -> None:
    pallet, (first, second) = make_pallet(), boxes
    scan = page_of(pallet, "scan")
    data = keyed(scan=f"]C100{first.sscc}")
    for _ in range(2):
        answer = clerk.post(scan, data, headers=hx)
        assert answer.status_code == 200
        assert "is on the pallet" in words(answer)
    assert PalletScan.objects.count() == 1
    plain = clerk.post(scan, keyed(scan=second.serial), follow=True)
    assert plain.redirect_chain == [(page_of(pallet), 302)]
    assert "is on the pallet" in words(plain)
    for text, said in (
        (pallet.number, "is a pallet, not a box"),
        (f"00{pallet.sscc}", "is a pallet, not a box"),
        (first.serial, "on this pallet already"),
        ("K1999999X", "check character"),
        ("", "Scan"),
    ):
        wrong = clerk.post(scan, keyed(scan=text), headers=hx)
        assert wrong.status_code in (409, 422), text
        assert said in words(wrong)
    assert PalletScan.objects.count() == 2
    off = clerk.post(page_of(pallet, "take-off"), keyed(box=first.pk), headers=hx)
    assert "is off the pallet. Put it away." in words(off)


def test_a_box_that_is_held_is_named_with_where_it_goes(
    clerk: Client, boxes: list[Box], hx
) -> None:
    pallet, held = make_pallet(*boxes), boxes[0]
    assert "quarantine" not in words(clerk.get(page_of(pallet)))
    what = {"target": "box", "value": held.pk, "reason": "Crushed corner"}
    holds.place_hold(**what, sign=sign())
    shown = words(clerk.get(page_of(pallet)))
    assert "Take 1 box off and put it in quarantine" in shown
    assert "Crushed corner" in shown
    off = clerk.post(page_of(pallet, "take-off"), keyed(box=held.pk), headers=hx)
    assert "may not go. Put it in quarantine." in words(off)


@pytest.mark.smoke
def test_it_is_broken_up_with_a_reason(clerk: Client, boxes: list[Box]) -> None:
    pallet = make_pallet(*boxes)
    address = page_of(pallet, "break-up")
    assert "its 2 boxes are loaded one by one again" in words(clerk.get(address))
    assert clerk.post(address, keyed(reason="")).status_code == 422
    done = clerk.post(address, keyed(reason="It leans"), follow=True)
    assert "is broken up. Take its label off and put 2 boxes away." in words(done)
    assert not PalletBox.objects.filter(live=True).exists()
    assert clerk.get(address).headers["Location"] == page_of(pallet)
    assert "It leans" in words(clerk.get(page_of(pallet)))
    assert clerk.get(page_of(pallet, "label")).status_code == 404


def test_the_newest_stands_first(clerk: Client) -> None:
    here = [make_pallet() for _ in range(3)]
    ended = [make_pallet() for _ in range(3)]
    for pallet in ended:
        services.break_up_pallet(pallet_id=pallet.pk, reason="It leans", sign=sign())
    page = clerk.get("/pallets/").content.decode()
    order = [page.index(each.number) for each in (*here[::-1], *ended[::-1])]
    assert order == sorted(order)


# -- Its label -------------------------------------------------------------------------


def test_it_says_what_is_on_the_pallet_and_where_it_goes_once_that_is_known(
    boxes: list[Box],
) -> None:
    pallet = make_pallet()
    begun = page(print_label(pallet))
    assert samples.plain(f"(00){pallet.sscc}") in begun
    assert "Boxes" not in begun
    assert is_printed(pallet)
    factories.stack(pallet, *boxes)
    assert is_printed(pallet) is False
    built = page(print_label(pallet, "more boxes"))
    assert "Boxes Sets 2 12" in built
    assert "Reprint 2" in built
    whom = factories.make_consignee("Spital an der Lode")
    Consignee.objects.filter(pk=whom.pk).update(language="de")
    shipment = make_shipment(consignee=whom)
    load_pallet(shipment, pallet)
    assert is_printed(pallet) is False
    gone = page(print_label(pallet, "goes out"))
    for said in ("Empfänger Spital an der Lode", "Versandt", "Kartons", "Palette"):
        assert said in gone
    assert factories.TODAY.isoformat() in gone
    assert is_printed(pallet)


def test_a_lost_label_is_printed_again_with_a_reason(
    clerk: Client, boxes: list[Box]
) -> None:
    pallet = make_pallet(*boxes)
    first = clerk.post(page_of(pallet, "label"), keyed(n=[pallet.number]))
    assert first.status_code == 302
    assert (
        clerk.post(page_of(pallet, "label"), keyed(n=[pallet.number])).status_code
        == 422
    )
    why = {"reason": "Torn off by rain", "destroyed": "on"}
    again = clerk.post(page_of(pallet, "label"), keyed(n=[pallet.number], **why))
    assert again.status_code == 302, words(again)
    assert list(Print.objects.filter(kind="pallet").values_list("copy", "reason")) == [
        (1, ""),
        (2, "Torn off by rain"),
    ]


def test_a_label_that_waits_for_a_printer_is_called_off_when_a_box_comes_off(
    boxes: list[Box],
) -> None:
    printer = make_printer("ipp://printer.example/ipp/print", BOX_ROLL)
    pallet = make_pallet(*boxes)
    print_label(pallet, onto=Onto(printer=printer.code))
    assert PrintJob.objects.get().state == "queued"
    factories.unstack(pallet, boxes[0])
    assert PrintJob.objects.get().state == "cancelled"


def test_a_pallet_that_left_is_told(clerk: Client, boxes: list[Box]) -> None:
    pallet, shipment = make_pallet(*boxes), make_shipment()
    load_pallet(shipment, pallet)
    here = words(clerk.get(page_of(pallet)))
    assert f"for {shipment.whom}" in here
    assert "Scan a box" not in here
    factories.send(shipment)
    gone = words(clerk.get(page_of(pallet)))
    assert f"It went to {shipment.whom}" in gone
    assert "Break it up" not in gone
    assert pallet.number in clerk.get("/pallets/").content.decode()


def test_the_page_of_a_box_leads_to_its_pallet(clerk: Client, boxes: list[Box]) -> None:
    page, pallet = f"/boxes/{boxes[0]}/", make_pallet(boxes[0])
    assert page_of(pallet) in clerk.get(page).content.decode()
    factories.unstack(pallet, boxes[0])
    assert "It is on pallet" not in words(clerk.get(page))
