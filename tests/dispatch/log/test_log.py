"""The shipping log: what is in it, what its filters leave, and its files."""

from __future__ import annotations

import csv
import io
import zipfile
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from dispatch.domain.folding import fold
from dispatch.log import views
from dispatch.models import Shipment
from dispatch.shipments import services
from kitting.lots.services import lots
from kitting.models import Box, User, Workshop
from kitting.packing.services import boxes
from kitting.packing.services.labels import print_box_label
from tests import factories
from tests.assertions import (
    assert_page,
    assert_problem,
    assert_sent_to_sign_in,
    text_of,
)
from tests.databases import once_a_module
from tests.factories import sign

pytestmark = pytest.mark.django_db

LOG = reverse("dispatch:log")
NOON = datetime(2026, 1, 14, 12, tzinfo=UTC)


@pytest.fixture
def clerk(client_for: Callable[[User], Client]) -> Client:
    return client_for(factories.make_person("clerk"))


@once_a_module
def boxes_to_send() -> list[Box]:
    return [factories.make_labelled_box() for _ in range(2)]


def sent(
    box: Box | None = None,
    *,
    name: str = "",
    reference: str = "",
    at: datetime = NOON,
) -> Shipment:
    """A shipment of one box, a new one unless given, sent at a moment."""
    whom = factories.make_consignee(name)
    begun = services.begin_shipment(
        consignee_id=whom.pk, reference=reference, sign=sign()
    )
    box = box or factories.make_labelled_box()
    services.load_box(shipment_id=begun.shipment_id, box_id=box.pk, sign=sign())
    services.send_shipment(
        unlabelled="by hand",
        driver="Driver 2",
        shipment_id=begun.shipment_id,
        sign=sign(now=at),
    )
    return Shipment.objects.get(pk=begun.shipment_id)


def lot_of(shipment: Shipment) -> str:
    box = Box.objects.get(shipment_boxes__shipment=shipment)
    return box.lines.get().lot.number


def numbers(client: Client, **asked: object) -> list[str]:
    answer = client.get(LOG, asked)
    assert_page(answer)
    return [row.shipment.number for row in answer.context["rows"]]


def answer_of(client: Client, **asked: object) -> str:
    """The answer sentence of the page, without its markup."""
    text = client.get(LOG, asked).content.decode()
    inside = text.split('<p class="answer">')[1].split("</p>")[0]
    plain = "".join(part.split(">")[-1] for part in inside.split("<"))
    return " ".join(plain.split())


def csv_rows(client: Client, **asked: object) -> list[dict[str, str]]:
    answer = client.get(LOG, {**asked, "as": "csv"})
    text = b"".join(answer.streaming_content).decode("utf-8-sig")  # type: ignore[attr-defined]
    return list(csv.DictReader(io.StringIO(text)))


# -- Who may, what is in it ------------------------------------------------------------


def test_who_may_read_it(
    client: Client, client_for: Callable[[User], Client], outsider: User
) -> None:
    assert_sent_to_sign_in(client.get(LOG))
    assert client_for(outsider).get(LOG).status_code == 403
    assert_page(client_for(factories.make_person("quality officer")).get(LOG))


def test_it_holds_every_shipment_that_was_sent_newest_first(clerk: Client) -> None:
    first = sent(at=NOON)
    last = sent(at=NOON + timedelta(days=1))
    before = sent(at=NOON - timedelta(days=1))
    factories.make_shipment(factories.make_labelled_box())
    off = factories.make_shipment()
    services.cancel_shipment(shipment_id=off.pk, reason="No van", sign=sign())
    assert numbers(clerk) == [last.number, first.number, before.number]
    assert answer_of(clerk) == "Sent so far: 3 shipments, 3 boxes, 18 sets."


def test_a_row_tells_when_to_whom_what_and_by_whom(clerk: Client) -> None:
    shipment = sent(name="St Brannoc's Infirmary", reference="REQ-7")
    found = clerk.get(LOG).context["rows"][0]
    row = found.shipment
    assert (row.sent_at, row.whom) == (NOON, "St Brannoc's Infirmary")
    assert (row.boxes, row.sets, row.sent_by) == (1, 6, "tester")
    assert row.reference == "REQ-7"
    assert [lot.number for lot in found.lots] == [lot_of(shipment)]
    assert lot_of(shipment) in clerk.get(LOG).content.decode()


def test_an_empty_log_and_an_empty_answer_say_so(clerk: Client) -> None:
    assert answer_of(clerk) == "Sent so far: nothing."
    assert "Nothing was sent yet." in clerk.get(LOG).content.decode()
    sent()
    assert "No shipment matches." in clerk.get(LOG, {"q": "absent"}).content.decode()


# -- Filters -------------------------------------------------------------------------


def test_days_are_those_of_the_workshop(clerk: Client) -> None:
    Workshop.objects.update(time_zone="Australia/Sydney")  # UTC + 11 in January
    late = sent(at=datetime(2026, 1, 13, 12, 59, tzinfo=UTC))  # 23:59 on the 13th
    early = sent(at=datetime(2026, 1, 13, 13, 0, tzinfo=UTC))  # midnight
    assert numbers(clerk, **{"from": "2026-01-14"}) == [early.number]
    assert numbers(clerk, to="2026-01-13") == [late.number]
    (row,) = csv_rows(clerk, to="2026-01-13")
    assert row["sent_at"] == "2026-01-13 23:59"


@pytest.mark.parametrize(
    ("first", "last", "words"),
    [
        ("2026-01-01", "2026-01-31", "Sent in January 2026:"),
        ("2026-12-01", "2026-12-31", "Sent in December 2026:"),
        ("2028-02-01", "2028-02-29", "Sent in February 2028:"),
        ("2026-01-14", "2026-01-14", "Sent on 2026-01-14:"),
        ("2026-01-02", "2026-01-31", "Sent from 2026-01-02 to 2026-01-31:"),
        ("2026-01-01", "2026-01-30", "Sent from 2026-01-01 to 2026-01-30:"),
        ("2026-01-02", "", "Sent since 2026-01-02:"),
        ("", "2026-01-02", "Sent up to 2026-01-02:"),
    ],
)
def test_the_period_is_said_in_words(
    clerk: Client, first: str, last: str, words: str
) -> None:
    assert answer_of(clerk, **{"from": first, "to": last}).startswith(words)


@pytest.mark.smoke
def test_the_filters_stand_in_the_sentence_and_work_together(clerk: Client) -> None:
    one = sent(name="Thornwick Children's", reference="Order 1")
    sent(name="Lodebridge Hospice", reference="Order 1")
    code = one.consignee.code
    assert numbers(clerk, consignee=code) == [one.number]
    assert numbers(clerk, lot=lot_of(one)) == [one.number]
    said = answer_of(clerk, consignee=code, lot=lot_of(one), q="order")
    assert "to Thornwick Children&#x27;s, carrying lot" in said
    assert said.endswith("found by “order”: 1 shipment, 1 box, 6 sets.")
    assert numbers(clerk, consignee=code, q="lodebridge") == []


@pytest.mark.smoke
@pytest.mark.parametrize(
    ("name", "asked"),
    [
        ("Γενικό Νοσοκομείο", "ΓΕΝΙΚΟ νοσοκομειο"),
        ("Γενικό Νοσοκομείο", "νοσοκομείο"),
        ("Οίκος Αγίας Άννας", "ΟΙΚΟΣ"),  # a final sigma
        ("İstanbul Şifa Hastanesi", "istanbul ŞIFA"),
        ("Iğdır Kliniği", "ığdır KLİNİĞİ"),
        ("Szpital w Łodzi", "łODZI"),
        ("Szpital w Łodzi", "lodzi szpital"),
        ("Žižkov", "Z\u030ciz\u030ckov"),  # the same letters in another form
        ("Straße 9", "STRASSE"),
        ("Eskmoor General", "GENERAL esk"),
        ("بیمارستان می\u200cرود", "میرود"),  # a joiner that nobody sees
        ("بیمارستان میرود", "می\u200cرود"),
        ("Farrow\u200e West", "\u200ffarrow west"),
    ],
)
def test_a_name_is_found_without_its_capitals_and_accents(
    clerk: Client, name: str, asked: str, boxes_to_send: list[Box]
) -> None:
    one, other = boxes_to_send
    shipment = sent(one, name=name)
    sent(other, name="Farrow Health Centre")
    assert numbers(clerk, q=asked) == [shipment.number]


@pytest.mark.smoke
def test_a_number_or_reference_is_found_and_wildcards_are_letters(
    clerk: Client,
) -> None:
    shipment, other = sent(reference="50% _now_"), sent(reference="505 know")
    assert numbers(clerk, q=shipment.number.lower()) == [shipment.number]
    assert numbers(clerk, q="50%") == [shipment.number]
    assert numbers(clerk, q="_now_") == [shipment.number]
    assert numbers(clerk, q="505") == [other.number]


def test_a_consignee_is_found_by_the_old_and_the_new_name(clerk: Client) -> None:
    shipment = sent(name="Old Mill Ward")
    shipment.consignee.name = "New Mill Ward"
    shipment.consignee.save()
    assert numbers(clerk, q="old mill") == [shipment.number]
    assert numbers(clerk, q="new mill") == [shipment.number]


def test_a_lot_is_also_carried_by_what_was_made_from_it(clerk: Client) -> None:
    free = {"needs_check": False, "needs_clearing": False}
    sheet = factories.make_lot(factories.make_revision(factories.make_part(**free)))
    visor = factories.make_revision(factories.make_part(**free))
    made = factories.make_lot(visor, bags=(lots.NewBag(6),), made_from=((sheet.pk, 9),))
    size = factories.make_size(factories.make_recipe([(visor, 1, "set")]), 6)
    box = factories.make_open_box(size, None, made.bags.get())
    boxes.close_box(box_id=box.pk, sign=sign())
    print_box_label(box_id=box.pk, sign=sign())
    box.refresh_from_db()
    boxes.see_label(box_id=box.pk, read=str(box.serial), sign=sign())
    shipment = factories.send(factories.make_shipment(box))
    sent()
    assert numbers(clerk, lot=sheet.number) == [shipment.number]
    assert numbers(clerk, lot=f" {made.number.lower()} ") == [shipment.number]


def test_a_box_that_was_taken_off_does_not_count(clerk: Client) -> None:
    box, stays = factories.make_labelled_box(), factories.make_labelled_box()
    shipment = factories.make_shipment(box, stays)
    services.take_off_box(shipment_id=shipment.pk, box_id=box.pk, sign=sign())
    factories.send(shipment)
    assert numbers(clerk, lot=box.lines.get().lot.number) == []
    (row,) = clerk.get(LOG).context["rows"]
    assert [lot.number for lot in row.lots] == [stays.lines.get().lot.number]


@pytest.mark.parametrize(
    ("asked", "code"),
    [
        ({"from": "2026-02-30"}, "invalid"),
        ({"from": "01.02.2026"}, "invalid"),
        ({"to": "0001-01-01"}, "out_of_range"),
        ({"to": "9999-12-31"}, "out_of_range"),
        ({"from": "2026-02-01", "to": "2026-01-01"}, "days_reversed"),
        ({"consignee": "NOBODY"}, "invalid_choice"),
        ({"consignee": "\x00"}, None),
        ({"q": "x" * 201}, "max_length"),
        ({"product": "NONE"}, "invalid_choice"),
        ({"stage": "open"}, "invalid_choice"),
        ({"q": "\x00"}, "null_characters_not_allowed"),
        ({"lot": "L1000001A"}, None),
        ({"lot": "Γενικό"}, None),
        ({"lot": "x" * 10_000}, "max_length"),
        ({"lot": "\x1d\x01"}, None),
    ],
)
def test_a_filter_that_cannot_be_read_shows_a_sentence_and_no_row(
    clerk: Client, asked: dict[str, str], code: str | None, boxes_to_send: list[Box]
) -> None:
    shipment = sent(boxes_to_send[0])
    answer = clerk.get(LOG, {**asked, "as": "csv"})
    assert_page(answer, status=422)
    if code:
        assert_problem(answer, code)
    text = answer.content.decode()
    assert shipment.number not in text
    assert 'role="alert"' in text


@pytest.mark.smoke
def test_a_box_is_no_lot(clerk: Client) -> None:
    box = factories.make_labelled_box()
    assert_problem(clerk.get(LOG, {"lot": box.serial}), "scan_not_a_lot")


def test_one_field_finds_what_a_label_of_a_box_says(clerk: Client) -> None:
    Workshop.objects.update(gs1_prefix="9521234")
    shipment = sent(reference="Order 1")
    sent(reference="Order 2")
    box = Box.objects.get(shipment_boxes__shipment=shipment)
    # As the symbols of its label carry it: the SSCC (00), and the serial (21) behind FNC1.
    element = f"]C100{box.sscc}"
    reads = (str(box.serial), str(box.serial).lower(), box.sscc, element, box.number)
    for read in reads:
        assert numbers(clerk, q=read) == [shipment.number], read
    assert f"carrying box {box}" in answer_of(clerk, q=box.sscc)
    assert numbers(clerk, q=box.serial, consignee=shipment.consignee.code)
    waits = factories.make_labelled_box()
    assert numbers(clerk, q=waits.serial) == []


def test_a_product_and_a_stage_narrow_the_log(clerk: Client) -> None:
    one, other = sent(), sent()
    product = Box.objects.get(shipment_boxes__shipment=one).size.product
    assert numbers(clerk, product=product.code) == [one.number]
    assert f"with {product.name}" in answer_of(clerk, product=product.code)
    assert set(numbers(clerk, stage="sent")) == {one.number, other.number}
    assert "stage sent:" in answer_of(clerk, stage="sent")
    assert numbers(clerk, stage="delivered") == []


def test_who_took_it_narrows_the_log(clerk: Client) -> None:
    shipment = sent()
    assert numbers(clerk, taken="driver 2") == [shipment.number]
    assert numbers(clerk, taken="Driver 3") == []
    assert "taken by “driver 2”:" in answer_of(clerk, taken="driver 2")


# -- Pages and files -------------------------------------------------------------------


def many(count: int) -> list[str]:
    """Rows as a sending leaves them, without the work that makes boxes for them."""
    whom = factories.make_consignee("Eskmoor General")
    lot = factories.make_lot()
    rows = [
        Shipment(
            number=f"S{n:06}",
            consignee=whom,
            stage="sent",
            driver="Driver 2",
            sent_at=NOON + timedelta(minutes=n),
            boxes=1,
            sets=24,
            lots=lot.number,
            search=fold(f"S{n:06} Eskmoor"),
        )
        for n in range(count)
    ]
    return [row.number for row in Shipment.objects.bulk_create(rows)][::-1]


def test_a_long_log_comes_in_pages_that_keep_the_filter(clerk: Client) -> None:
    made = many(120)
    assert numbers(clerk) == made[:50]
    assert numbers(clerk, older=made[49], q="eskmoor") == made[50:100]
    assert numbers(clerk, older=made[99]) == made[100:]
    assert numbers(clerk, newer=made[100]) == made[50:100]
    assert numbers(clerk, newer="") == made[70:]
    text = clerk.get(LOG, {"q": "eskmoor"}).content.decode()
    assert f"?q=eskmoor&amp;older={made[49]}" in text
    assert answer_of(clerk) == "Sent so far: 120 shipments, 120 boxes, 2 880 sets."


def test_the_file_holds_all_rows_of_the_filter_and_no_more(clerk: Client) -> None:
    made, other = many(1_100), sent(name="Thornwick")
    found = csv_rows(clerk, q="eskmoor", older=made[49])
    assert [row["shipment"] for row in found] == made
    (row,) = csv_rows(clerk, q="thornwick")
    assert row == {
        "shipment": other.number,
        "sent_at": "2026-01-14 12:00",
        "consignee_code": other.consignee.code,
        "consignee": "Thornwick",
        "reference": "",
        "haulier": "",
        "driver": "Driver 2",
        "vehicle": "",
        "seal": "",
        "boxes": "1",
        "sets": "6",
        "lots": lot_of(other),
        "sent_by": "tester",
        "stage": "sent",
    }


@pytest.mark.parametrize("start", ["=1+1", "+1", "-1", "@SUM(1)", "＝1"])
def test_no_spreadsheet_runs_a_reference(
    clerk: Client, start: str, boxes_to_send: list[Box]
) -> None:
    sent(boxes_to_send[0], reference=start)
    (row,) = csv_rows(clerk)
    assert row["reference"] == f"'{start}"
    xlsx = clerk.get(LOG, {"as": "xlsx"})
    data = b"".join(xlsx.streaming_content)  # type: ignore[attr-defined]
    with zipfile.ZipFile(io.BytesIO(data)) as book:
        sheet = book.read("xl/worksheets/sheet1.xml").decode()
    assert "<f>" not in sheet
    assert start in sheet


def test_a_page_asks_no_more_for_ten_shipments_than_for_one(
    clerk: Client, django_assert_num_queries: Any
) -> None:
    sent()
    with django_assert_num_queries(9):
        clerk.get(LOG)
    for _ in range(4):
        sent()
    with django_assert_num_queries(9):
        clerk.get(LOG)
    made = many(400)
    with django_assert_num_queries(10):  # and the row at which the page begins
        assert numbers(clerk, older=made[299]) == made[300:350]


def test_on_paper_all_rows_stand_on_one_page_with_when_and_by_whom(
    clerk: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = many(120)
    assert numbers(clerk, **{"as": "print", "older": made[49]}) == made[50:]
    page = clerk.get(LOG, {"as": "print", "q": "eskmoor"})
    assert [row.shipment.number for row in page.context["rows"]] == made
    told = " ".join(text_of(page).split())
    assert f"printed by {page.context['user']}" in told
    assert "Only" not in told
    monkeypatch.setattr(views, "MOST_ON_PAPER", 100)
    page = clerk.get(LOG, {"as": "print"})
    assert "Only 100 of the shipments are on this page." in " ".join(
        text_of(page).split()
    )


def test_a_shipment_keeps_the_lots_and_products_that_left_in_it(
    clerk: Client,
) -> None:
    off, *stay = [factories.make_labelled_box() for _ in range(3)]
    shipment = factories.make_shipment(off, *stay)
    services.take_off_box(shipment_id=shipment.pk, box_id=off.pk, sign=sign())
    factories.send(shipment)
    inside = sorted(box.lines.get().lot.number for box in stay)
    assert Shipment.objects.get().lots == " ".join(inside)
    assert csv_rows(clerk)[0]["lots"].split() == inside
    codes = sorted({box.size.product.code for box in stay})
    assert Shipment.objects.get().products == " ".join(codes)
