"""A manager enters a sheet and a printer, asks the printer, and prints a test page."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page, expect

from kitting.ledger.setup import ensure_workshop
from kitting.models import Printer, PrintJob, Stock
from kitting.printing.queries.stocks import facts_of
from tests import factories
from tests.browser.walking import DESK, HEAVIEST_PAGE, Walker
from tests.kitting.ipp.fake_printer import FakePrinter

pytestmark = pytest.mark.django_db(transaction=True)

SHEET = {
    "Code": "letter-70x40",
    "Name": "Letter with 12",
    "Width of a label": "70",
    "Height of a label": "40",
}
GRID = {
    "Labels side by side": "2",
    "Labels one below the other": "6",
    "From the left edge of the sheet": "35.45",
    "From the top edge": "14,7",
    "Gap between columns": "5",
    "Gap between rows": "2",
}


@pytest.fixture
def fake(transactional_db: None) -> Iterator[FakePrinter]:
    ensure_workshop("Harrow Lane Workshop")
    factories.make_person("manager", name="manager")
    factories.make_bench()
    with FakePrinter() as printer:
        # US Letter in hundredths of a millimetre.
        printer.media = printer.ready = [(21_590, 27_940)]
        yield printer


def fill(page: Page, values: dict[str, str]) -> None:
    for label, value in values.items():
        page.locator("main").get_by_label(label).fill(value)


def enter_a_sheet(walker: Walker, page: Page) -> None:
    page.get_by_role("link", name="Label stock").click()
    walker.look("Label stock")
    page.get_by_role("link", name="Enter a stock").click()
    fill(page, SHEET)
    gap = page.get_by_label("Gap to the next label")
    across = page.get_by_label("Labels side by side")
    expect(gap).to_be_visible()
    expect(across).to_be_hidden()
    page.get_by_label("The labels are").select_option("letter")
    expect(gap).to_be_hidden()
    expect(across).to_be_visible()
    page.get_by_label("Dots of the printer").select_option("600/25400")
    expect(page.get_by_label("Dots to the inch")).to_be_hidden()
    fill(page, GRID)
    if walker.script:
        page.keyboard.press("Tab")
    else:
        page.get_by_role("button", name="Only look at it").click()
    expect(page.locator("#stock-grid .grid-label")).to_have_count(12)
    assert not Stock.objects.exists()
    walker.look("Enter a stock")
    page.get_by_role("button", name="Enter the stock").click()
    expect(page.locator(".answer")).to_contain_text(
        "Labels of 70 × 40 mm, 2 × 6 on a sheet of 215.9 × 279.4 mm"
    )
    walker.look("A stock")
    pdf = walker.fetch(page.get_by_role("link", name="Open its test page"))
    assert pdf.body().startswith(b"%PDF")


def enter_a_printer(walker: Walker, page: Page, fake: FakePrinter) -> None:
    page.get_by_role("link", name="All label stock").click()
    page.get_by_role("link", name="Printers").click()
    walker.look("Printers")
    page.get_by_role("link", name="Enter a printer").click()
    fill(page, {"Code": "office", "Name": "Office", "Address": "http://elsewhere/"})
    page.get_by_label("Dots of the printer").select_option("300/25400")
    page.get_by_role("button", name="Enter the printer").click()
    expect(page.locator(".wrong")).to_contain_text("is no printer's address")
    walker.look("Enter a printer")
    page.get_by_label("Address").fill(fake.url)
    page.get_by_role("button", name="Enter the printer").click()
    page.get_by_role("button", name="Ask the printer now").click()
    told = page.locator("#printer-told")
    expect(told).to_contain_text("It knows labels of 215.9 × 279.4 mm.")
    expect(told.locator(".finding-doubt")).to_contain_text("and 300 (11.81 to the mm)")
    walker.look("A printer")
    page.get_by_role("button", name="Print a test page on it").click()
    expect(page.locator("#main")).to_contain_text("is on its way to Office.")
    expect(page.locator("#main")).to_contain_text("No print worker is running:")


def walk(walker: Walker, fake: FakePrinter) -> None:
    with walker.signed_in("manager", DESK, "/set-up/") as page:
        enter_a_sheet(walker, page)
        enter_a_printer(walker, page, fake)


def assert_kept(walker: Walker) -> None:
    kept = facts_of(Stock.objects.get())
    assert (kept.left_um, kept.top_um, kept.columns, kept.rows) == (
        35_450,
        14_700,
        2,
        6,
    )
    assert (kept.page_width_um, kept.gap_um) == (215_900, 0)
    assert Printer.objects.get().code == "OFFICE"
    assert PrintJob.objects.get().kind == "test"
    assert walker.complaints == []


def test_a_manager_brings_a_printer_into_use(
    page: Page, live_server, fake: FakePrinter
) -> None:
    walker = Walker(page, live_server.url, by_page=True)
    walk(walker, fake)
    assert_kept(walker)
    assert walker.barriers == []
    assert len(walker.weights) >= 6
    heavy = {name: n for name, n in walker.weights.items() if n > HEAVIEST_PAGE}
    assert heavy == {}


def test_a_printer_is_brought_into_use_without_javascript(
    browser: Browser, live_server, fake: FakePrinter
) -> None:
    context = browser.new_context(java_script_enabled=False)
    try:
        plain = context.new_page()
        walker = Walker(plain, live_server.url, script=False, by_page=True)
        walk(walker, fake)
        assert_kept(walker)
    finally:
        context.close()
