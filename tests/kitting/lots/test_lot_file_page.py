from __future__ import annotations

import base64
import io
import random
import uuid
import zlib
from collections.abc import Callable
from datetime import date
from typing import Any
from urllib.parse import urlencode

import pytest
import xlsxwriter
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from kitting.domain import workbook
from kitting.domain.intakeheads import HEADINGS, TRANSLATED
from kitting.models import Bag, Link, Lot, User
from kitting.web.files import LARGEST_FILE, packed
from tests import factories
from tests.assertions import (
    assert_page,
    assert_part,
    assert_problem,
    assert_sent_to_sign_in,
    text_of,
)

pytestmark = pytest.mark.django_db

HEAD = "lot,part,revision,made on,source,counts,close"
GOOD = (
    f"{HEAD}\nHB-1,HB,C,2025-03-01,Print bench,100 50,yes\n,HB,C,2025-03-01,Bench,7,\n"
)
BAD = f"{HEAD}\nHB-1,XX,C,01/03/2025,Print bench,100,\n"

Clients = Callable[[User], Client]


@pytest.fixture(autouse=True)
def headband() -> None:
    factories.make_revision(factories.make_part(code="HB", name="Headband"), "C")


@pytest.fixture
def checker(client_for: Clients) -> Client:
    return client_for(factories.make_person("checker"))


@pytest.fixture
def page() -> str:
    return reverse("kitting:lot-file")


def upload(text: str, name: str = "lots.csv") -> SimpleUploadedFile:
    return SimpleUploadedFile(name, text.encode())


def send_values(text: str = GOOD, **changes: Any) -> dict[str, Any]:
    return {
        "table": packed(text.encode()),
        "op_key": str(uuid.uuid4()),
        "date_order": "",
        **changes,
    }


def test_the_page_says_what_a_file_looks_like(checker: Client, page: str) -> None:
    response = checker.get(page)
    assert_page(response)
    assert b"pieces per bag" in response.content


def test_only_who_takes_in_may_look(
    client: Client, client_for: Clients, outsider: User, page: str
) -> None:
    assert_sent_to_sign_in(client.get(page))
    assert client_for(outsider).get(page).status_code == 403
    assert client_for(outsider).post(page, send_values()).status_code == 403
    assert Lot.objects.count() == 0


def test_a_file_is_shown_first_and_taken_in_then(checker: Client, page: str) -> None:
    shown = checker.post(page, {"file": upload(GOOD)})
    assert_page(shown)
    assert [entry.number for entry in shown.context["plan"].entries] == ["HB-1", ""]
    assert "The file has 2 lots (2 new), bags: 3." in text_of(shown)
    assert Lot.objects.count() == Link.objects.count() == 0

    send = shown.context["send"]
    values = {field.name: field.value() for field in send}
    done = checker.post(page, values)
    assert done.headers["Location"] == reverse("kitting:lots")
    assert Lot.objects.get(number="HB-1").stage == "closed"
    assert list(Bag.objects.values_list("pieces", flat=True)) == [100, 50, 7]


def test_one_lot_and_one_bag_are_said_in_the_singular(
    checker: Client, page: str
) -> None:
    text = f"{HEAD}\nHB-1,HB,C,2025-03-01,Print bench,100,\n"
    shown = checker.post(page, {"file": upload(text)})
    assert "The file has 1 lot (1 new), bags: 1." in text_of(shown)
    done = checker.post(page, send_values(text), follow=True)
    assert (
        "The file is taken in: 1\N{NO-BREAK SPACE}lot, 1\N{NO-BREAK SPACE}bag."
        in text_of(done)
    )


def test_every_fault_is_listed_and_nothing_is_written(
    checker: Client, page: str
) -> None:
    response = checker.post(page, {"file": upload(BAD)})
    assert_problem(response, "file_has_problems")
    faults = [(f["line"], f["column"], f["value"]) for f in response.context["faults"]]
    assert faults == [(2, "made on", "01/03/2025"), (2, "part", "XX")]
    assert b"There is no part of this code." in response.content
    assert "send" not in response.context or response.context["send"] is None
    assert Lot.objects.count() == 0


def test_a_named_order_of_dates_reaches_the_taking_in(
    checker: Client, page: str
) -> None:
    text = f"{HEAD}\nHB-1,HB,C,01/03/2025,Print bench,100,\n"
    shown = checker.post(page, {"file": upload(text), "date_order": "mdy"})
    values = {field.name: field.value() for field in shown.context["send"]}
    checker.post(page, values)
    assert str(Lot.objects.get().made_on) == "2025-01-03"


@pytest.mark.smoke
def test_a_file_sent_twice_is_taken_in_once(checker: Client, page: str) -> None:
    values = send_values()
    for _ in range(2):
        assert checker.post(page, values).status_code == 302
    assert Lot.objects.count() == 2


def test_a_file_that_came_before_is_said_before_it_comes_again(
    checker: Client, page: str
) -> None:
    text = f"{HEAD}\n,HB,C,2025-03-01,Print bench,100,\n"
    first = checker.post(page, {"file": upload(text)})
    assert b"This very file" not in first.content
    checker.post(page, send_values(text))
    assert b"This very file" in checker.post(page, {"file": upload(text)}).content


@pytest.mark.smoke
def test_what_changed_since_the_look_is_refused(checker: Client, page: str) -> None:
    factories.make_lot(number="HB-1")
    response = checker.post(page, send_values())
    assert_problem(response, "file_has_problems")
    assert response.context["faults"][0]["column"] == "lot"
    assert Lot.objects.count() == 1


@pytest.mark.parametrize(
    "table",
    [
        "",
        "not base64!",
        base64.b64encode(b"not packed").decode(),
        base64.b64encode(zlib.compress(GOOD.encode())[:-5]).decode(),
        base64.b64encode(zlib.compress(b"a" * (LARGEST_FILE + 1))).decode(),
    ],
)
def test_a_file_that_does_not_come_back_whole_is_refused(
    table: str, checker: Client, page: str
) -> None:
    response = checker.post(page, send_values(table=table))
    assert_problem(response, "file_broken" if table else "required")
    assert Lot.objects.count() == 0


def test_the_largest_file_comes_back_whole_though_nothing_packs_it(
    checker: Client, page: str
) -> None:
    # Sent as a browser sends it: as text, with its plus signs written out.
    data = random.Random(1).randbytes(LARGEST_FILE)
    sent = urlencode(send_values() | {"table": packed(data)})
    kind = "application/x-www-form-urlencoded"
    assert_problem(checker.post(page, sent, content_type=kind), "file_has_problems")


@pytest.mark.parametrize(
    ("file", "code"),
    [
        (upload("", "lots.csv"), "empty"),
        (upload(GOOD, "lots.ods"), "file_not_text"),
        (upload("x" * (LARGEST_FILE + 1)), "file_too_large"),
        (upload("hello\n"), "file_has_problems"),
        (upload("\x00\x01\x02"), "file_has_problems"),
        (None, "required"),
    ],
)
def test_what_is_no_table_is_refused(
    file: SimpleUploadedFile | None, code: str, checker: Client, page: str
) -> None:
    if file is not None:
        file.seek(0)
    assert_problem(checker.post(page, {"file": file} if file else {}), code)
    assert Lot.objects.count() == 0


def test_htmx_gets_the_part(checker: Client, page: str, hx: dict[str, str]) -> None:
    assert_part(checker.get(page, headers=hx), "lot-file")
    response = checker.post(page, {"file": upload(BAD)}, headers=hx)
    assert_part(response, "lot-file", status=422)
    sent_on = checker.post(page, send_values(), headers=hx)
    assert sent_on.headers["HX-Redirect"] == reverse("kitting:lots")


# -- Workbooks, templates, questions ------------------------------------------------


@pytest.mark.parametrize("language", ["en", "de", "fr"])
def test_a_template_is_downloaded_filled_in_and_taken_in(
    language: str, checker: Client, page: str
) -> None:
    answer = checker.get(page, {"as": "xlsx", "in": language})
    template = b"".join(answer.streaming_content)  # type: ignore[attr-defined]
    ((_line, head),) = workbook.records(template, [])
    assert tuple(head) == TRANSLATED[language]
    by_heading = dict(zip(HEADINGS, head, strict=True))
    row = {
        "part": "HB",
        "revision": "C",
        "made on": date(2025, 3, 1),
        "source": "Print bench",
        "bags": 2,
        "pieces per bag": 100,
    }
    file = io.BytesIO()
    with xlsxwriter.Workbook(file, {"default_date_format": "dd.mm.yyyy"}) as book:
        sheet = book.add_worksheet()
        for at, (heading, value) in enumerate(row.items()):
            sheet.write_string(0, at, by_heading[heading])
            write = sheet.write_datetime if heading == "made on" else sheet.write
            write(1, at, value)
    sent = SimpleUploadedFile("lots.xlsx", file.getvalue())
    shown = checker.post(page, {"file": sent})
    assert shown.status_code == 200, text_of(shown)
    form = shown.context["send"]
    values = {name: form[name].value() for name in form.fields}
    checker.post(page, values)
    assert list(Bag.objects.values_list("pieces", flat=True)) == [100, 100]


def test_the_template_as_csv_has_the_headings_alone(checker: Client, page: str) -> None:
    answer = checker.get(page, {"as": "csv", "in": "xx"})
    text = b"".join(answer.streaming_content).decode("utf-8-sig")  # type: ignore[attr-defined]
    assert text.strip().split(",") == list(HEADINGS)


def test_a_question_is_shown_and_answered_on_the_page(
    checker: Client, page: str
) -> None:
    twice = GOOD + GOOD.splitlines()[1] + "\n"
    shown = checker.post(page, {"file": upload(twice)})
    assert "repeats line 2 exactly" in text_of(shown)
    assert 'name="sure"' in text_of(shown)
    assert 'type="hidden" name="sure"' not in text_of(shown)
    unsaid = checker.post(page, send_values(twice))
    assert_problem(unsaid, "file_has_questions")
    assert Bag.objects.count() == 0
    said = checker.post(page, send_values(twice, sure="One row for each delivery"))
    assert said.status_code == 302
    assert "One row for each delivery" in Link.objects.get().outcome
