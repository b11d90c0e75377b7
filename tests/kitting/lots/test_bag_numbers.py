from __future__ import annotations

import hashlib
import io
import uuid
from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse
from pypdf import PdfReader

from kitting.domain.numbers import Kind, assign, read
from kitting.lots.services import blanks, lots
from kitting.models import Counter, Print, User
from tests import factories
from tests.assertions import (
    assert_page,
    assert_part,
    assert_problem,
    assert_sent_to_sign_in,
)
from tests.kitting.labels.samples import text_of

pytestmark = pytest.mark.django_db

Clients = Callable[[User], Client]
PAGE = "/bag-numbers/"
LABELS = "/bag-numbers/labels/"


@pytest.fixture
def checker(client_for: Clients) -> Client:
    return client_for(factories.make_person("checker"))


def given_out() -> int:
    return Counter.objects.get(name="bag").next - 1


@pytest.mark.parametrize("path", [PAGE, LABELS])
def test_only_who_takes_in_gets_numbers(
    path: str, client: Client, client_for: Clients, outsider: User
) -> None:
    assert_sent_to_sign_in(client.get(path))
    assert client_for(outsider).get(path).status_code == 403


def test_numbers_are_given_out_and_listed(checker: Client, hx: dict[str, str]) -> None:
    assert_page(checker.get(PAGE))
    assert_part(checker.get(PAGE, headers=hx), "bag-numbers")
    response = checker.post(PAGE, {"count": "3", "op_key": str(uuid.uuid4())})
    shown = checker.get(response.headers["Location"])
    numbers = [each.number for each in shown.context["numbers"]]
    assert numbers == [assign(Kind.BAG, 1, n) for n in (1, 2, 3)]
    assert [each.lot for each in shown.context["numbers"]] == ["", "", ""]


def test_a_block_that_passes_a_sequence_over_is_listed_and_printed_whole(
    checker: Client,
) -> None:
    passed_over = next(n for n in range(1, 999) if assign(Kind.BAG, 1, n) is None)
    Counter.objects.filter(name="bag").update(next=passed_over - 3)
    response = checker.post(PAGE, {"count": "24", "op_key": str(uuid.uuid4())})
    whole = [assign(Kind.BAG, 1, n) for n in range(passed_over - 3, given_out() + 1)]
    block = [number for number in whole if number is not None]
    assert len(block) == 24 < len(whole)
    for address in (response.headers["Location"], f"{PAGE}?count=24"):
        shown = checker.get(address).context["numbers"]
        assert [each.number for each in shown] == block
    query = response.headers["Location"].partition("?")[2]
    assert checker.get(f"{LABELS}?{query}").context["numbers"] == block
    lot = factories.make_lot(bags=tuple(lots.NewBag(5, number=n) for n in block))
    assert set(lot.bags.values_list("number", flat=True)) == set(block)


@pytest.mark.smoke
def test_the_form_sent_twice_gives_out_once(checker: Client) -> None:
    values = {"count": "3", "op_key": str(uuid.uuid4())}
    first, again = checker.post(PAGE, values), checker.post(PAGE, values)
    assert first.headers["Location"] == again.headers["Location"]
    assert given_out() == 3


@pytest.mark.parametrize(
    ("count", "code"),
    [("0", "min_value"), ("501", "count_out_of_range"), ("x", "invalid")],
)
def test_an_odd_count_is_refused(count: str, code: str, checker: Client) -> None:
    values = {"count": count, "op_key": str(uuid.uuid4())}
    assert_problem(checker.post(PAGE, values), code)
    assert given_out() == 0


def test_a_number_that_came_to_life_names_its_lot(checker: Client) -> None:
    lot = factories.make_lot()
    shown = checker.get(PAGE)
    assert [each.lot for each in shown.context["numbers"]] == [lot.number]


@pytest.mark.parametrize(
    "query", ["?first=x&count=-1", "?first=999999999&count=9999999999999", "?first=²"]
)
def test_an_odd_range_shows_no_error(query: str, checker: Client) -> None:
    assert_page(checker.get(PAGE + query))


def test_the_labels_are_for_blank_numbers_only(checker: Client) -> None:
    blanks.give_out_numbers(count=2, sign=factories.sign())
    used = factories.make_lot().bags.get().number
    blanks.give_out_numbers(count=1, sign=factories.sign())
    address = f"{LABELS}?first=1&count=10"
    shown = checker.get(address)
    assert_page(shown)
    numbers = shown.context["numbers"]
    assert used not in numbers
    assert numbers == [assign(Kind.BAG, 1, n) for n in (1, 2, 4)]
    sent = {"op_key": str(uuid.uuid4()), "n": numbers}
    printed = checker.post(address, sent)
    assert (
        checker.post(address, sent).headers["Location"] == (printed.headers["Location"])
    )
    logged = Print.objects.filter(kind="bag_number")
    assert [row.number for row in logged.order_by("nth")] == numbers
    sha = bytes(logged[0].pdf_sha)
    assert printed.headers["Location"] == f"/labels/printed/{sha.hex()}/"
    response = checker.get(f"/labels/pdf/{sha.hex()}/")
    assert response.headers["Content-Type"] == "application/pdf"
    assert hashlib.sha256(response.content).digest() == sha
    pages = PdfReader(io.BytesIO(response.content)).pages
    text = text_of(response.content)
    assert len(pages) == 3
    assert used not in text
    assert assign(Kind.BAG, 1, 4) in text
    wide, high = (float(pages[0].mediabox[at]) for at in (2, 3))
    # 70 × 40 mm in points of 1/72 inch
    assert (wide, high) == pytest.approx((70 / 25.4 * 72, 40 / 25.4 * 72), abs=0.3)


def test_many_numbers_are_printed_in_parts(checker: Client) -> None:
    blanks.give_out_numbers(count=500, sign=factories.sign())
    shown = checker.get(f"{LABELS}?first=1&count=500")
    parts = [
        checker.get(f"{LABELS}?first=1&count=500&part={part}").context["numbers"]
        for part in (1, 2, 3)
    ]
    assert shown.context["numbers"] == parts[0]
    # 240 at once: design of the print service
    assert [len(part) for part in parts] == [240, 240, 20]
    assert len({number for part in parts for number in part}) == 500
    assert "part 1 of 3" in shown.content.decode()
    for odd in ("0", "4", "x", "-1", "²"):
        page = checker.get(f"{LABELS}?first=1&count=500&part={odd}")
        assert page.context["numbers"] == parts[0]


@pytest.mark.smoke
def test_no_label_without_a_blank_number(checker: Client) -> None:
    number = factories.make_lot().bags.get().number
    first = read(number).sequence
    response = checker.get(LABELS, {"first": str(first), "count": "1"})
    assert response.status_code == 404


def test_the_address_is_the_one_in_the_links() -> None:
    assert reverse("kitting:bag-numbers") == PAGE
    assert reverse("kitting:bag-number-labels") == LABELS
