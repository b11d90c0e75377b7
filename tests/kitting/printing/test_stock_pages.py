"""The pages of label stock: list, form, picture, test page."""

from __future__ import annotations

import io
import re
import uuid
from dataclasses import replace
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from pypdf import PdfReader

from kitting.domain.stocks import StockFacts
from kitting.models import Operation, Stock
from kitting.printing.forms.stocks import StockForm
from kitting.printing.queries.stocks import facts_of
from lotward.demo import masterdata
from tests.assertions import (
    assert_page,
    assert_part,
    assert_problem,
    assert_sent_to_sign_in,
    text_of,
)
from tests.printers import A4_OF_BAGS, BAG_ROLL, BOX_ROLL, make_printer, make_stock

pytestmark = pytest.mark.django_db

STOCKS = reverse("kitting:stocks")
NEW = reverse("kitting:stock-new")
MOST_QUERIES = 12


@pytest.fixture
def manager(make_user, client_for) -> Client:
    return client_for(make_user("manager", group="manager"))


def at(code: str, act: str = "change") -> str:
    return reverse(f"kitting:stock-{act}", args=[code])


def key() -> str:
    return str(uuid.uuid4())


def entered(**changes: Any) -> dict[str, Any]:
    """A sheet of US Letter with odd gaps, as somebody types it."""
    values = {
        "op_key": key(),
        "code": "letter-12",
        "name": "Letter with 12 labels",
        "width_um": "70",
        "height_um": "40,0",
        "margin_um": "1.5",
        "dots": "600/25400",
        "page": "letter",
        "columns": "2",
        "rows": "6",
        "left_um": "35.45",
        "top_um": "14.7",
        "gap_across_um": "5",
        "gap_down_um": "2",
        **changes,
    }
    return {name: value for name, value in values.items() if value is not None}


# -- Who may ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    "role", ["packer", "checker", "line operator", "clerk", "quality officer"]
)
def test_only_managers_set_stock_up(role: str, make_user, client_for) -> None:
    make_stock(BAG_ROLL)
    other = client_for(make_user("other", group=role))
    for path in (STOCKS, NEW, at("BAG"), at("BAG", "test")):
        assert_sent_to_sign_in(Client().get(path))
        assert other.get(path).status_code == 403
    for path in (NEW, at("BAG")):
        assert other.post(path, entered()).status_code == 403
    assert Stock.objects.count() == 1


def test_what_is_not_there_is_404(manager) -> None:
    for path in (at("NONE"), at("NONE", "test")):
        assert manager.get(path).status_code == 404
    assert manager.post(STOCKS).status_code == 405


# -- The list --------------------------------------------------------------------------


def test_the_list_says_what_each_stock_is_for(
    manager, django_assert_max_num_queries
) -> None:
    assert "None yet." in text_of(manager.get(STOCKS))
    make_printer("ipp://192.0.2.7/")
    make_stock(A4_OF_BAGS)
    make_stock(replace(BAG_ROLL, active=False))
    with django_assert_max_num_queries(MOST_QUERIES):
        page = text_of(manager.get(STOCKS))
    assert "2 stocks are in use," in page
    assert "1 of them on sheets." in page
    assert "70 × 40 mm" in page
    assert "on sheets of 210 × 297 mm" in page
    assert "boxes" in page
    assert "out of use" in page
    assert "Printer P1" in page


# -- Entering and changing -------------------------------------------------------------


def test_a_sheet_is_entered_to_the_micrometre(manager) -> None:
    """US Letter: 8.5 × 11 inches of 25.4 mm (ANSI/ASME Y14.1)."""
    answer = manager.post(NEW, entered())
    assert answer["Location"] == at("LETTER-12")
    assert facts_of(Stock.objects.get()) == StockFacts(
        "LETTER-12",
        "Letter with 12 labels",
        70_000,
        40_000,
        margin_um=1_500,
        head_dots=600,
        head_um=25_400,
        page_width_um=215_900,
        page_height_um=279_400,
        left_um=35_450,
        top_um=14_700,
        columns=2,
        rows=6,
        gap_across_um=5_000,
        gap_down_um=2_000,
    )
    page = text_of(manager.get(at("LETTER-12")))
    for value in ("35.45", "14.7", "1.5"):
        assert f'value="{value}"' in page


def test_a_roll_keeps_nothing_of_a_sheet(manager) -> None:
    manager.post(NEW, entered(page="roll", gap_um="3", columns="", left_um="7"))
    kept = facts_of(Stock.objects.get())
    assert (kept.sheet, kept.gap_um, kept.left_um, kept.rows) == (False, 3_000, 0, 1)


def test_a_page_of_its_own_size_and_dots_of_its_own(manager) -> None:
    """16 dots to the mm are 406.4 to the inch: 16 × 25.4."""
    manager.post(
        NEW,
        entered(
            page="other",
            page_width_um="200.001",
            page_height_um="290",
            dots="other",
            dots_per_inch="406.4",
        ),
    )
    kept = facts_of(Stock.objects.get())
    assert (kept.page_width_um, kept.page_height_um) == (200_001, 290_000)
    assert kept.head_dots * 1000 == 16 * kept.head_um
    page = text_of(manager.get(at("LETTER-12")))
    assert "16.0 to the mm, as now" in page
    assert 'value="200.001"' in page


def test_dots_that_are_a_usual_head_in_other_figures_are_known_as_it() -> None:
    """203.2 to the inch are 8 to the mm."""
    stock = make_stock(replace(BAG_ROLL, head_dots=2032, head_um=254_000))
    assert StockForm(stock=stock)["dots"].value() == "8/1000"


@pytest.mark.parametrize(
    ("change", "code"),
    [
        ({"code": "A 4"}, "code_malformed"),
        ({"code": "ﬀ"}, "code_malformed"),
        ({"width_um": "70.0001"}, "length_too_fine"),
        ({"width_um": "seventy"}, "figure_unreadable"),
        ({"width_um": "-70"}, "figure_negative"),
        ({"width_um": ""}, "required"),
        ({"width_um": "0.5"}, "size_out_of_range"),
        ({"width_um": "9" * 12}, "size_out_of_range"),
        ({"gap_across_um": "9" * 12}, "gap_out_of_range"),
        ({"margin_um": "108"}, "margin_too_wide"),
        ({"page": "other"}, "figure_missing"),
        ({"page": "other", "page_width_um": "x"}, "figure_unreadable"),
        ({"page": "a5"}, "invalid_choice"),
        ({"dots": "other"}, "figure_missing"),
        ({"dots": "other", "dots_per_inch": "x"}, "figure_unreadable"),
        ({"dots": "other", "dots_per_inch": "96"}, "head_out_of_range"),
        ({"dots": "other", "dots_per_inch": "9" * 12}, "head_out_of_range"),
        ({"dots": "0/0"}, "invalid_choice"),
        ({"rows": "7"}, "sheet_too_small"),
        ({"rows": "0"}, "min_value"),
        ({"columns": "500", "rows": "500"}, "sheet_too_many"),
        ({"op_key": ""}, "required"),
    ],
)
def test_bad_input_gets_its_sentence_and_nothing_is_written(
    manager, change: dict[str, Any], code: str
) -> None:
    assert_problem(manager.post(NEW, entered(**change)), code)
    looked = manager.post(NEW, entered(**change, look="1"))
    if code != "required":
        assert_problem(looked, code)
    assert not Stock.objects.exists()
    assert not Operation.objects.exists()


@pytest.mark.smoke
def test_the_same_form_sent_twice_enters_one_stock(manager) -> None:
    form = entered()
    for _ in range(2):
        assert manager.post(NEW, form).status_code == 302
    assert Stock.objects.count() == 1
    assert_problem(
        manager.post(NEW, {**form, "op_key": key()}), "code_taken", status=409
    )


@pytest.mark.smoke
def test_two_managers_who_change_the_same_stock(manager, make_user, client_for) -> None:
    make_stock(BAG_ROLL)
    other = client_for(make_user("other manager", group="manager"))
    pages = [text_of(client.get(at("BAG"))) for client in (manager, other)]
    seen = [re.search(r'name="seen" value="(\w{64})"', page) for page in pages]
    assert seen[0]
    assert seen[1]
    first = entered(code="BAG", name="First", seen=seen[0][1], active="on")
    second = entered(code="BAG", name="Second", seen=seen[1][1], active="on")
    assert manager.post(at("BAG"), first).status_code == 302
    assert_problem(other.post(at("BAG"), second), "page_is_old", status=409)
    assert Stock.objects.get().name == "First"


def test_a_stock_is_taken_out_of_use_and_never_deleted(manager) -> None:
    make_stock(BAG_ROLL)
    assert manager.post(at("BAG"), entered(code="BAG")).status_code == 302
    assert not Stock.objects.get().active
    assert "It is out of use." in text_of(manager.get(at("BAG")))


# -- The picture -----------------------------------------------------------------------


def shape(page: str) -> tuple[list[int], list[str]]:
    found = re.search(r'viewBox="([-\d ]+)"', page.split('id="stock-grid"')[1])
    assert found
    return [int(part) for part in found[1].split()], re.findall(
        r'class="grid-label" x="\d+" y="\d+"', page
    )


def test_the_picture_has_the_proportions_and_every_position(manager) -> None:
    make_stock(replace(A4_OF_BAGS, margin_um=5_000))
    page = text_of(manager.get(at("A4-14")))
    edge = 'class="grid-edge" x="5000" y="5000" width="200000" height="287000"'
    assert page.count(edge) == page.count("grid-edge") == 1
    _view, labels = shape(page)
    assert len(labels) == 14
    # 30 + 70 + 4 mm across, 6 + 6 × 40 mm down, in µm.
    assert labels[-1] == 'class="grid-label" x="104000" y="246000"'
    assert 'class="grid-page" x="0" y="0" width="210000" height="297000"' in page
    assert ">14</text>" in page
    assert "style=" not in page.split('id="stock-grid"')[1]


def test_a_roll_shows_one_label_and_the_edge_not_reached(manager) -> None:
    make_stock(replace(BOX_ROLL, margin_um=2_000))
    page = text_of(manager.get(at("BOX")))
    assert shape(page)[1] == []
    assert 'class="grid-edge" x="2000" y="2000" width="96000" height="146000"' in page


def test_a_look_shows_it_and_keeps_nothing(manager, hx) -> None:
    assert "Its picture is shown here" in text_of(manager.get(NEW))
    assert_page(manager.post(NEW, entered(look="1")))
    part = manager.post(NEW, entered(look="1"), headers=hx)
    assert_part(part, "stock-form")
    assert len(shape(text_of(part))[1]) == 12
    assert not Stock.objects.exists()
    wrong = manager.post(NEW, entered(rows="7", look="1"), headers=hx)
    assert_part(wrong, "stock-form", status=422)
    assert "<svg" not in text_of(wrong)


def test_a_new_stock_by_htmx_goes_to_its_page(manager, hx) -> None:
    assert manager.post(NEW, entered(), headers=hx)["HX-Redirect"] == at("LETTER-12")


# -- The test page ---------------------------------------------------------------------


def test_a_test_page_is_a_pdf_of_the_whole_sheet(manager) -> None:
    """ISO 216: A4 is 210 × 297 mm; PDF 32000-1: a point is 1/72 inch."""
    make_stock(A4_OF_BAGS)
    answer = manager.get(at("A4-14", "test"))
    assert answer["Content-Type"] == "application/pdf"
    page = PdfReader(io.BytesIO(answer.content)).pages[0]
    size = [float(side) / 72 * 25.4 for side in page.mediabox[2:]]
    assert size == pytest.approx([210, 297], abs=0.1)
    assert "A4-14" in page.extract_text()
    assert not Operation.objects.filter(name="print_test_page").exists()


def test_every_stock_of_the_demo_has_a_test_page_that_opens(manager) -> None:
    opened = {}
    for row in masterdata.read()["stocks"]:
        stock = make_stock(StockFacts(**row))
        answer = manager.get(at(stock.code, "test"))
        opened[stock.code] = answer["Content-Type"]
    assert {"SLIP-ROLL", "A4-50X25", "LETTER-50X25"} <= set(opened)
    assert set(opened.values()) == {"application/pdf"}, opened


def test_labels_too_small_for_a_test_page_are_told_so(manager) -> None:
    make_stock(replace(BAG_ROLL, width_um=30_000))
    answer = manager.get(at("BAG", "test"), follow=True)
    assert_page(answer)
    assert "Choose labels of that size or larger." in text_of(answer)


def test_the_set_up_leads_to_stock_and_printers(manager) -> None:
    page = text_of(manager.get(reverse("kitting:workshop")))
    assert STOCKS in page
    assert reverse("kitting:printers") in page
