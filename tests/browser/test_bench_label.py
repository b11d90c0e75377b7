"""The label of a box in its worst moments: its printer gone, no paper, no power."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest
from django.utils import timezone
from playwright.sync_api import Browser, Page, expect

from kitting.models import Box, Operation, Print, PrintJob
from tests import factories
from tests.benches import Packing
from tests.browser.benching import next_words, time_passes, type_scan
from tests.printers import Clock, FakePrinter, came_out, make_printer

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def fake(at: Packing) -> Iterator[FakePrinter]:
    """A printer at the bench; what it says of itself is that of RFC 8011 §5.4."""
    with FakePrinter() as printer:
        make_printer(printer.url, bench=at.bench)
        yield printer


@pytest.fixture
def clock(fake: FakePrinter) -> Clock:
    return Clock(timezone.now(), printer=fake)


def pack(page: Page, at: Packing) -> Box:
    type_scan(page, "ACT-BOX-6")
    for bag in at.bags:
        type_scan(page, bag.number)
    type_scan(page, "ACT-CLOSE")
    expect(next_words(page)).to_have_text(re.compile("its label is on its way"))
    return Box.objects.get()


def stick(page: Page, box: Box) -> None:
    type_scan(page, str(box.serial))
    expect(page.locator(".strip-last")).to_have_text(f"Box {box.serial} labelled")
    box.refresh_from_db()
    assert box.stage == "labelled"
    assert factories.prove() == []


def test_a_printer_that_is_off_prints_once_when_it_is_on_again(
    page: Page, at: Packing, bench, fake: FakePrinter, clock: Clock
) -> None:
    fake.stop()
    page.clock.install()
    bench()
    box = pack(page, at)
    clock.step()
    time_passes(page)
    step = page.locator("#bench-print")
    expect(step).to_contain_text("cannot be reached: nothing listens there")
    # Nobody has to wait for it: its job leads to other printers and to the PDF, and
    # another print calls the first off.
    expect(step.get_by_role("link", name="See the print job")).to_be_visible()
    step.get_by_role("button", name="Print again").click()
    expect(page.locator(".next-words")).to_contain_text("you declare")
    type_scan(page, "ACT-PRINT-PRINTER")
    expect(next_words(page)).to_have_text(re.compile("its label is on its way"))
    states = PrintJob.objects.order_by("pk").values_list("state", flat=True)
    assert list(states) == ["cancelled", "queued"]
    fake.start()
    for _ in range(4):
        clock.step(600)
    time_passes(page)
    expect(next_words(page)).to_have_text(re.compile("stick its label on"))
    assert came_out(fake) == 1
    stick(page, box)


def test_a_printer_without_paper_says_so_and_goes_on_when_it_has_some(
    page: Page, at: Packing, bench, fake: FakePrinter, clock: Clock
) -> None:
    fake.course = ["processing-stopped"]
    fake.state, fake.reasons = "stopped", ["media-empty-error"]
    page.clock.install()
    bench()
    box = pack(page, at)
    clock.step()
    clock.step()
    time_passes(page)
    expect(page.locator("#bench-print")).to_contain_text("The printer has no labels")
    fake.state, fake.reasons = "idle", ["none"]
    fake.course = ["processing", "completed"]
    for _ in range(4):
        clock.step()
    time_passes(page)
    expect(next_words(page)).to_have_text(re.compile("stick its label on"))
    assert came_out(fake) == 1
    stick(page, box)


def test_a_tablet_that_lost_power_after_closing_asks_for_the_label_again(
    browser: Browser, page: Page, at: Packing, bench, fake: FakePrinter, clock: Clock
) -> None:
    bench()
    box = pack(page, at)
    acts = Operation.objects.count()
    address, cookies = page.url, page.context.cookies()
    page.close()
    while clock.step():
        pass
    context = browser.new_context()
    context.add_cookies(cookies)  # type: ignore[arg-type]
    again = context.new_page()
    again.goto(address)
    expect(next_words(again)).to_have_text(re.compile("stick its label on"))
    expect(again.locator("#scan")).to_be_focused()
    assert (Operation.objects.count(), came_out(fake)) == (acts, 1)
    assert Print.objects.filter(box=box).count() == PrintJob.objects.count() == 1
    stick(again, box)
    context.close()
