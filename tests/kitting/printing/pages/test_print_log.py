"""The print log, and documents that are made again."""

from __future__ import annotations

import csv
import io
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client

from kitting.domain.prints import DESTROYED, Again
from kitting.models import Box, Place
from kitting.packing.services.labels import print_box_label
from kitting.printing.services.prints import print_labels
from tests import factories
from tests.assertions import assert_page, assert_part
from tests.benches import make_packing
from tests.factories import NOW, sign
from tests.kitting.printing.pages.asking import (
    NOWHERE,
    pdf,
    places,
    queue,
    words,
)
from tests.ledgers import print_label
from tests.printers import BAG_ROLL, make_printer

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _printer(db: None) -> None:
    make_printer(NOWHERE, BAG_ROLL)


# -- The print log ------------------------------------------------------------------------


def test_the_log_says_what_which_copy_who_and_where(client: Client) -> None:
    code = places(1)[0]
    pdf(code)
    queue(code, again=Again("Torn", code))
    page = client.get("/labels/log/")
    assert_page(page)
    said = words(page)
    assert "2 prints are in the log; 1 is a reprint." in said
    assert "Torn; the label before was scanned" in said
    assert f'href="/places/{code}/"' in page.content.decode()
    newest, first = page.context["page"].object_list
    assert (newest.copy, first.copy) == (2, 1)
    assert f"/labels/jobs/{newest.job_id}/" in page.content.decode()
    sha = bytes(first.pdf_sha).hex()
    assert f"/labels/pdf/{sha}/" in page.content.decode()


def test_the_labels_of_one_document_stand_in_their_order(client: Client) -> None:
    codes = places(3)
    pdf(*codes)
    shown = client.get("/labels/log/").context["page"].object_list
    assert [row.number for row in shown] == codes


def test_rows_read_as_labels_of_their_box_or_bag(client: Client) -> None:
    at = make_packing()
    box = factories.make_closed_box(at.size, at.bench)
    print_label(box)
    print_label(at.band_bag)
    page = client.get("/labels/log/")
    html = page.content.decode()
    assert "Box label" in html
    assert "Bag label" in html
    assert f'href="/boxes/{box}/"' in html
    assert f'href="/bags/{at.band_bag.number}/"' in html
    for kind, of in (("box", box.pk), ("bag", at.band_bag.pk)):
        page = client.get("/labels/log/", {"kind": kind})
        [row] = page.context["page"].object_list
        assert getattr(row, f"{kind}_id") == of
    for number in (str(box), at.band_bag.number):
        found = client.get("/labels/log/", {"number": number.lower()})
        assert found.context["prints"] == 1


@pytest.mark.smoke
def test_the_filters_of_the_log(client: Client) -> None:
    early, late = places(2)
    print_labels(kind="place", numbers=[early], sign=sign(now=NOW - timedelta(days=2)))
    job = queue(late)
    before = (NOW - timedelta(days=1)).date().isoformat()
    chosen: dict[str, tuple[dict[str, str], set[str]]] = {
        "since": ({"since": before}, {late}),
        "until": ({"until": before}, {early}),
        "printer": ({"printer": "P1"}, {late}),
        "pdf": ({"printer": "pdf"}, {early}),
        "kind": ({"kind": "box"}, set()),
        "number": ({"number": f" {early.lower()} "}, {early}),
        "nonsense": ({"since": "soon", "kind": "x", "printer": "x"}, {early, late}),
    }
    for name, (asked, numbers) in chosen.items():
        page = client.get("/labels/log/", asked)
        found = {row.number for row in page.context["page"].object_list}
        assert found == numbers, name
    assert job.printer.code == "P1"


def test_the_log_as_files_and_as_a_part(client: Client, hx: dict[str, str]) -> None:
    code = places(1)[0]
    pdf(code)
    queue(code, again=Again("=1+1", DESTROYED))
    assert_part(client.get("/labels/log/", headers=hx), "label-log")
    file = client.get("/labels/log/?as=csv").getvalue().decode("utf-8-sig")
    heads, newest, first = csv.reader(io.StringIO(file))
    row = dict(zip(heads, newest, strict=True))
    assert (row["label of"], row["number"], row["copy"]) == ("place", code, "2")
    assert (row["reason"], row["label before"]) == ("'=1+1", "destroyed")
    assert (row["printer"], row["stage"]) == ("P1", "queued")
    assert dict(zip(heads, first, strict=True))["printer"] == "PDF"
    xlsx = client.get("/labels/log/?as=xlsx")
    assert xlsx.headers["Content-Disposition"].endswith('"print-log.xlsx"')
    assert xlsx.getvalue().startswith(b"PK")
    xlsx.close()


def test_a_long_log_asks_no_more_of_the_database(
    client: Client, django_assert_num_queries: Any
) -> None:
    pdf(places(1)[0])
    client.get("/labels/log/")  # permissions and session are read by then
    with django_assert_num_queries(5):
        client.get("/labels/log/")
    for code in places(5):
        queue(code)
    with django_assert_num_queries(5):
        client.get("/labels/log/")


# -- Documents again ------------------------------------------------------------------------


@pytest.mark.smoke
def test_a_document_whose_record_has_changed_says_so(client: Client) -> None:
    code = places(1)[0]
    sha = pdf(code).pdf_sha
    assert client.get(f"/labels/pdf/{sha}/").content.startswith(b"%PDF")
    Place.objects.filter(code=code).update(name="Another name")
    page = client.get(f"/labels/pdf/{sha}/")
    assert page.status_code == 409
    assert "has changed in the record since it was printed" in words(page)
    assert f'href="/places/{code}/"' in page.content.decode()


def test_what_went_to_a_printer_can_be_opened_too(client: Client) -> None:
    at = make_packing()
    box: Box = factories.make_closed_box(at.size, at.bench)
    done = print_box_label(box_id=box.pk, sign=sign())
    page = client.get(f"/labels/printed/{done.pdf_sha}/")
    assert f'href="/boxes/{box}/"' in page.content.decode()
    job = queue()
    sha = bytes(job.pdf_sha).hex()
    assert "sent to a printer" in words(client.get(f"/labels/printed/{sha}/"))
