"""Pages of lots: who may see them, what they show, and what bad input gets."""

from __future__ import annotations

import csv
import io
import zipfile
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from kitting.ledger import holds
from kitting.models import Lot, User
from tests import factories
from tests.assertions import assert_page, assert_part, assert_sent_to_sign_in
from tests.databases import guards_away, once_a_module

pytestmark = pytest.mark.django_db

ClientFor = Callable[[User], Client]


@once_a_module
def lot() -> Lot:
    method = factories.make_method()
    return factories.make_lot(
        method_id=method.pk, number="HB-26/1", close=False, source_number="77"
    )


@pytest.fixture
def checker(client_for: ClientFor) -> Client:
    return client_for(factories.make_person("checker"))


def address(name: str, *args: str) -> str:
    return reverse(f"kitting:{name}", args=args)


PAGES = [
    ("lots", ()),
    ("lot-new", ()),
    ("lot-detail", ("HB-26/1",)),
    ("bag-new", ("HB-26/1",)),
    ("lot-close", ("HB-26/1",)),
    ("lot-check", ("HB-26/1",)),
]


# -- Every page ---------------------------------------------------------------------


@pytest.mark.smoke
@pytest.mark.parametrize(("name", "args"), PAGES)
def test_it_works(name: str, args: tuple[str], checker: Client, lot: Lot) -> None:
    assert_page(checker.get(address(name, *args)))


@pytest.mark.parametrize(("name", "args"), PAGES)
def test_a_stranger_is_sent_to_sign_in(
    name: str, args: tuple[str], client: Client, lot: Lot
) -> None:
    assert_sent_to_sign_in(client.get(address(name, *args)))


@pytest.mark.parametrize(("name", "args"), PAGES)
def test_an_outsider_is_refused(
    name: str, args: tuple[str], client_for: ClientFor, outsider: User, lot: Lot
) -> None:
    assert client_for(outsider).get(address(name, *args)).status_code == 403


@pytest.mark.parametrize("name", ["lot-new", "bag-new", "lot-close", "lot-check"])
def test_who_may_only_look_changes_nothing(
    name: str, client_for: ClientFor, lot: Lot
) -> None:
    args = () if name == "lot-new" else (lot.number,)
    packer = client_for(factories.make_person("packer"))
    assert packer.post(address(name, *args)).status_code == 403
    assert_page(packer.get(address("lot-detail", lot.number)))


@pytest.mark.smoke
@pytest.mark.parametrize("name", ["lot-detail", "bag-new", "lot-close", "lot-check"])
def test_an_unknown_lot_is_not_found(name: str, checker: Client) -> None:
    assert checker.get(address(name, "NONE-1")).status_code == 404


@pytest.mark.parametrize(
    ("name", "args", "part"),
    [
        ("lots", (), "lot-list"),
        ("lot-detail", ("HB-26/1",), "lot"),
        ("lot-new", (), "lot-new"),
        ("bag-new", ("HB-26/1",), "bag-new"),
        ("lot-close", ("HB-26/1",), "lot-close"),
        ("lot-check", ("HB-26/1",), "lot-check"),
    ],
)
def test_htmx_gets_the_part_alone(
    name: str,
    args: tuple[str],
    part: str,
    checker: Client,
    lot: Lot,
    hx: dict[str, str],
) -> None:
    assert_part(checker.get(address(name, *args), headers=hx), part)


# -- The table ----------------------------------------------------------------------


@once_a_module
def many() -> dict[str, Lot]:
    """One lot of each kind that the filters tell apart."""
    part = factories.make_part(code="VI", name="Visor")
    visor = factories.make_revision(part)
    held = factories.make_lot(number="HELD", source="Laser room")
    holds.place_hold(
        target="lot", value=held.pk, reason="cracks", sign=factories.sign()
    )
    return {
        "open": factories.make_lot(number="OPEN", close=False),
        "waiting": factories.make_lot(visor, number="WAITING", source_number="A 77"),
        "accepted": factories.accept(factories.make_lot(number="ACCEPTED")),
        "held": held,
    }


@pytest.mark.parametrize(
    ("query", "shown"),
    [
        ("", ["HELD", "ACCEPTED", "WAITING", "OPEN"]),
        ("?part=VI", ["WAITING"]),
        ("?part=none", ["HELD", "ACCEPTED", "WAITING", "OPEN"]),
        ("?stage=open", ["OPEN"]),
        ("?stage=closed&verdict=accepted", ["ACCEPTED"]),
        ("?verdict=waiting", ["HELD", "WAITING"]),
        ("?verdict=held", ["HELD"]),
        ("?q=wait", ["WAITING"]),
        ("?q=a+77", ["WAITING"]),
        ("?q=laser", ["HELD"]),
        ("?q=nothing+like+it", []),
    ],
)
def test_a_filter_in_the_address_chooses(
    query: str, shown: list[str], checker: Client, many: dict[str, Lot]
) -> None:
    response = checker.get(address("lots") + query)
    assert_page(response)
    assert {lot.number for lot in response.context["page"]} == set(shown)
    assert response.context["totals"].lots == len(shown)


def test_a_bag_number_finds_its_lot(checker: Client, many: dict[str, Lot]) -> None:
    number = many["open"].bags.get().number.lower()
    response = checker.get(address("lots"), {"q": number})
    assert [lot.number for lot in response.context["page"]] == ["OPEN"]


def test_the_table_asks_the_database_the_same_for_any_number_of_lots(
    checker: Client, many: dict[str, Lot], django_assert_num_queries: Any
) -> None:
    checker.get(address("lots"))
    with django_assert_num_queries(7):
        checker.get(address("lots"))
    for _ in range(5):
        factories.make_lot()
    with django_assert_num_queries(7):
        checker.get(address("lots"))


def test_the_csv_holds_what_is_shown(checker: Client, many: dict[str, Lot]) -> None:
    with guards_away():
        Lot.objects.filter(number="WAITING").update(source="=HYPERLINK(1)")
    response = checker.get(address("lots"), {"part": "VI", "as": "csv"})
    text = b"".join(response.streaming_content).decode("utf-8-sig")  # type: ignore[attr-defined]
    rows = list(csv.DictReader(io.StringIO(text)))
    assert len(rows) == 1
    row = rows[0]
    assert (row["lot"], row["part"], row["bags"]) == ("WAITING", "VI", "1")
    assert (row["in bags now"], row["source"]) == ("100", "'=HYPERLINK(1)")


def test_the_xlsx_holds_what_is_shown(checker: Client, many: dict[str, Lot]) -> None:
    response = checker.get(address("lots"), {"verdict": "held", "as": "xlsx"})
    content = b"".join(response.streaming_content)  # type: ignore[attr-defined]
    response.close()
    with zipfile.ZipFile(io.BytesIO(content)) as book:
        sheet = book.read("xl/worksheets/sheet1.xml").decode()
    assert "HELD" in sheet
    assert "OPEN" not in sheet


# -- One lot ------------------------------------------------------------------------


def test_a_lot_shows_what_it_is_made_from_and_what_happened(checker: Client) -> None:
    gram = factories.make_part(unit="gram", needs_check=False, needs_clearing=False)
    material = factories.make_lot(factories.make_revision(gram), number="PETG-1")
    lot = factories.make_lot(number="HB-1", made_from=((material.pk, 40),))
    factories.accept(lot)
    shown = checker.get(address("lot-detail", "HB-1"))
    assert b"PETG-1" in shown.content
    page = shown.context["shown"]
    assert [line.stage for line in page.lines] == ["accepted"]
    assert [move.kind for move in page.movements] == ["accepted", "received"]
    assert [check.plan for check in page.checks] == ["All looked over, 100"]
    assert b"HB-1" in checker.get(address("lot-detail", "PETG-1")).content


@pytest.mark.smoke
def test_a_hold_is_said_on_the_page_of_its_lot(checker: Client, lot: Lot) -> None:
    plain = checker.get(address("lot-detail", lot.number))
    assert b"mark-held" not in plain.content
    holds.place_hold(
        target="lot", value=lot.pk, reason="Cracks seen", sign=factories.sign()
    )
    held = checker.get(address("lot-detail", lot.number))
    assert b"Cracks seen" in held.content
    assert held.context["shown"].is_held


def test_a_hold_on_its_source_is_said_too(checker: Client, lot: Lot) -> None:
    holds.place_hold(
        target="source", value=lot.source, reason="Strike", sign=factories.sign()
    )
    shown = checker.get(address("lot-detail", lot.number))
    assert b"reaches this lot" in shown.content
