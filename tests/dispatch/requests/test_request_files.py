"""Requests out of a file: all of it or nothing, and what goes out comes in again."""

from __future__ import annotations

import csv
import io
import uuid
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from dispatch.domain.requestfile import TRANSLATED
from dispatch.models import Consignee, Request
from dispatch.requests.services import Plan, plan_requests, take_in_requests
from kitting.domain.errors import Doubted, Refused
from kitting.models import Operation, Product, User
from kitting.web.files import packed
from tests import factories
from tests.assertions import assert_sent_to_sign_in, text_of
from tests.databases import once_a_module
from tests.factories import sign

pytestmark = pytest.mark.django_db

LIST, PAGE = reverse("dispatch:requests"), reverse("dispatch:request-file")
HEAD = "consignee;product;sets"
KEPT = ("consignee_id", "product_id", "sets", "tier", "needed_by", "way", "caller")
KEPT += ("point", "reference", "note", "asked_on", "stage")


@once_a_module
def product() -> Product:
    return factories.make_labelled_box().size.product


@once_a_module
def whom() -> Consignee:
    row = factories.make_consignee("Klinik Ost")
    row.points, row.gln = "Ward 3\nDispensary", "4012345000009"
    row.save()
    return row


@pytest.fixture
def clerk(client_for: Callable[[User], Client]) -> Client:
    return client_for(factories.make_person("clerk"))


def plan(data: str | bytes, **more: Any) -> Plan:
    data = data.encode() if isinstance(data, str) else data
    return plan_requests(data=data, date_order=None, now=factories.NOW, **more)


def take_in(data: str | bytes, **more: Any) -> Any:
    data = data.encode() if isinstance(data, str) else data
    return take_in_requests(data=data, date_order=None, sign=sign(), **more)


def values() -> list[tuple[Any, ...]]:
    return list(Request.objects.order_by("pk").values_list(*KEPT))


def test_rows_become_requests_in_their_order(whom: Consignee, product: Product) -> None:
    day = factories.TODAY + timedelta(days=2)
    text = (
        f"{HEAD};tier;needed by;way;caller;ward;reference;note\n"
        f"{whom.code.lower()};{product.code.lower()};12;1;{day};mail;Sister;ward 3;R-1;Ring\n"
        f"{whom.gln};{product.code};1 250;;;;;;;\n"
    )
    assert [row.sets for _line, row in plan(text).rows] == [12, 1250]
    assert not Request.objects.exists()
    done = take_in(text)
    one, two = Request.objects.order_by("pk")
    assert done.requests == [one.number, two.number]
    assert (one.tier, one.needed_by, one.way, one.caller) == (1, day, "mail", "Sister")
    assert (one.point, one.reference, one.note) == ("Ward 3", "R-1", "Ring")
    assert (two.tier, two.needed_by, two.way, two.point) == (3, None, "file", "")
    assert (one.taken_by, one.asked_on) == ("tester", factories.TODAY)
    assert two.consignee == whom
    assert factories.prove() == []


@pytest.mark.parametrize("kind", ["csv", "xlsx"])
def test_what_goes_out_comes_in_again(
    clerk: Client, kind: str, whom: Consignee, product: Product
) -> None:
    day = factories.TODAY + timedelta(days=2)
    take_in(
        f"{HEAD};tier;needed by;way;caller;ward;reference;note\n"
        f"{whom.code};{product.code};12;1;{day};visit;+44 000;Ward 3;=1;-\n"
        f"{whom.code};{product.code};6;;;;;;;\n"
    )
    before = values()
    answer = clerk.get(LIST, {"as": kind})
    data = b"".join(answer.streaming_content)  # type: ignore[attr-defined]
    # Whoever takes a file in that was given out is told that it is on record.
    assert {p.code for p in plan(data).problems} == {"request_on_record"}
    if kind == "csv":
        rows = list(csv.reader(io.StringIO(data.decode("utf-8-sig"))))
        text = "\n".join(",".join(["", *row[1:]]) for row in rows[1:])
        take_in(f"{','.join(rows[0])}\n{text}\n")
        assert values()[2:] == before


@pytest.mark.parametrize("language", ["en", "de", "fr"])
def test_headings_are_known_in_three_languages(
    language: str, whom: Consignee, product: Product
) -> None:
    row = f";{whom.code};{product.code};6;2;;file;;;;"
    assert plan(f"{';'.join(TRANSLATED[language])}\n{row}\n").problems == ()


def test_every_bad_row_is_said_with_its_line_and_nothing_is_written(
    whom: Consignee, product: Product
) -> None:
    shut = factories.make_consignee()
    Consignee.objects.filter(pk=shut.pk).update(active=False)
    good = f"{whom.code};{product.code}"
    text = (
        f"request;{HEAD};tier;needed by;way;ward;note\n"
        f";NOBODY;{product.code};6;;;;;\n"
        f";{whom.code};NOTHING;6;;;;;\n"
        f";{shut.code};{product.code};6;;;;;\n"
        f";{good};0;;;;;\n"
        f";{good};100001;;;;;\n"
        f";{good};6;4;;;;\n"
        f";{good};6;;2026-01-01;;;\n"
        f";{good};6;;03/04/2027;;;\n"
        f";{good};6;;;pigeon;;\n"
        f";{good};6;;;;Ward 9;\n"
        f"R1;{good};6;;;;;\n"
        f";{good};;;;;;\n"
    )
    found = [(each.line, each.column, each.code) for each in plan(text).problems]
    assert found == [
        (2, "consignee", "consignee_unknown"),
        (3, "product", "product_unknown"),
        (4, "", "consignee_closed"),
        (5, "sets", "number_not_positive"),
        (6, "", "request_sets"),
        (7, "tier", "request_tier"),
        (8, "", "request_day_over"),
        (9, "needed by", "date_order_unclear"),
        (10, "way", "request_way"),
        (11, "", "point_unknown"),
        (12, "request", "request_on_record"),
        (13, "sets", "value_missing"),
    ]
    with pytest.raises(Refused) as caught:
        take_in(text)
    assert caught.value.code == "file_has_problems"
    assert not Request.objects.exists()


def test_a_row_that_repeats_another_is_asked_about(
    whom: Consignee, product: Product
) -> None:
    text = f"{HEAD}\n" + f"{whom.code};{product.code};6\n" * 2
    with pytest.raises(Doubted) as caught:
        take_in(text)
    assert caught.value.code == "file_has_questions"
    assert take_in(text, sure="Two wards").sure == "Two wards"
    assert Request.objects.count() == 2


# -- The page --------------------------------------------------------------------------


def test_only_who_sends_takes_them_in(
    client_for: Callable[[User], Client], outsider: User
) -> None:
    assert_sent_to_sign_in(Client().get(PAGE))
    assert client_for(outsider).get(PAGE).status_code == 403
    packer = client_for(factories.make_person("packer"))
    assert packer.get(PAGE).status_code == 403
    assert packer.post(PAGE).status_code == 403


def test_the_page_looks_first_and_then_takes_in_once(
    clerk: Client, whom: Consignee, product: Product
) -> None:
    text = f"{HEAD}\n{whom.code};{product.code};6\n"
    upload = {"file": SimpleUploadedFile("requests.csv", text.encode())}
    answer = clerk.post(PAGE, upload)
    assert answer.status_code == 200
    assert "Klinik Ost" in text_of(answer)
    assert not Request.objects.exists()
    form = {"op_key": str(uuid.uuid4()), "table": packed(text.encode())}
    for _ in range(2):
        assert clerk.post(PAGE, form)["Location"] == LIST
    assert Request.objects.count() == 1
    assert Operation.objects.filter(name="take_in_requests").count() == 1
    upload = {"file": SimpleUploadedFile("requests.csv", text.encode())}
    assert "This very file was taken in by" in text_of(clerk.post(PAGE, upload))
    bad = {"file": SimpleUploadedFile("requests.csv", b"consignee;sets\nX;1\n")}
    assert clerk.post(PAGE, bad).status_code == 422
