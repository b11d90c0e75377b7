"""A box label as a PDF, its reprint by a scan of the first, and a job that is cancelled."""

from __future__ import annotations

import re
from dataclasses import dataclass

import pytest
from django.utils import timezone
from playwright.sync_api import Browser, Page, expect

from kitting.ledger.setup import ensure_workshop
from kitting.models import Box, Place, Print, PrintJob
from tests import factories
from tests.benches import make_packing
from tests.browser.benching import time_passes
from tests.browser.measuring import barriers, settle, width
from tests.browser.walking import HEAVIEST_PAGE, TABLET, Walker
from tests.printers import BAG_ROLL, BOX_ROLL, make_printer

pytestmark = pytest.mark.django_db(transaction=True)

NOWHERE = "ipp://printer.example/ipp/print"
PHONE = {"width": 390, "height": 844}
WIDE = {"width": 1600, "height": 1000}


@dataclass
class Scene:
    box: Box
    place: Place


@pytest.fixture
def scene(transactional_db: None, monkeypatch: pytest.MonkeyPatch) -> Scene:
    """A closed box, and a printer that no worker looks after."""
    ensure_workshop("Harrow Lane Workshop")
    now = timezone.now()
    monkeypatch.setattr(factories, "NOW", now)
    monkeypatch.setattr(factories, "TODAY", now.date())
    factories.make_person("manager", name="manager")
    at = make_packing()
    make_printer(NOWHERE, BAG_ROLL)
    box = factories.make_closed_box(at.size, at.bench)
    return Scene(box, factories.make_place())


def fits(page: Page) -> None:
    """Nothing is wider than the screen, on a phone, at a desk or on a wide one."""
    for size in (PHONE, WIDE, TABLET):
        page.set_viewport_size(size)  # type: ignore[arg-type]
        assert width(page) <= size["width"], (page.url, size)


def open_pdf(walker: Walker, page: Page) -> None:
    page.wait_for_url(re.compile("/labels/printed/"))
    walker.look("Printed")
    fits(page)
    answer = walker.fetch(page.get_by_role("link", name="Open the PDF"))
    assert answer.headers["content-type"] == "application/pdf"
    assert answer.body().startswith(b"%PDF")


def print_a_box(walker: Walker, page: Page, box: Box) -> None:
    page.get_by_role("link", name="Print the label").click()
    picture = page.get_by_role("img", name=re.compile("How the label of"))
    expect(picture).to_be_visible()
    settle(page)
    shown = picture.bounding_box()
    assert shown is not None
    # 100 × 150 mm at 96 px to the inch of 25.4 mm: CSS Values and Units 3, §6.2
    assert (shown["width"], shown["height"]) == (378, 567)
    walker.look("Print")
    fits(page)
    page.get_by_label("A PDF, one label to a page of its size").check()
    page.get_by_role("button", name="Print 1 label").click()
    open_pdf(walker, page)
    page.get_by_role("link", name="Go on").click()


def print_it_again(walker: Walker, page: Page, box: Box) -> None:
    page.get_by_role("link", name="Print the label again").click()
    walker.look("Reprint")
    page.get_by_role("button", name="Print 1 label").click()
    expect(page.locator("[data-wrong]")).to_contain_text("Why it is printed again")
    page.get_by_label("Why it is printed again").fill("Label spoilt")
    scanned = page.get_by_label(re.compile("Scan the label that this one replaces"))
    scanned.fill(str(box.serial))
    scanned.press("Enter")
    open_pdf(walker, page)


def cancel_a_job(walker: Walker, page: Page, place: Place) -> None:
    page.goto(f"{walker.address}/labels/print/place/?n={place.code}")
    page.get_by_label("Printer Printer P1, with Bag labels").check()
    page.get_by_role("button", name="Print 1 label").click()
    page.wait_for_url(re.compile("/labels/jobs/"))
    expect(page.locator(".answer")).to_contain_text("queued")
    walker.look("Job")
    fits(page)
    page.get_by_role("link", name="Labels", exact=True).click()
    expect(page.locator(".answer")).to_contain_text("1 print job is on its way")
    walker.look("Labels")
    fits(page)
    page.get_by_role("button", name=re.compile("Cancel")).click()
    page.wait_for_url(re.compile("/labels/jobs/"))
    expect(page.locator("#said")).to_contain_text("Nothing of it came out")
    expect(page.locator(".answer")).to_contain_text("cancelled")
    page.goto(f"{walker.address}/labels/log/")
    expect(page.locator(".answer")).to_contain_text("3 prints are in the log")
    walker.look("Log")
    fits(page)


def walk(walker: Walker, scene: Scene) -> None:
    with walker.signed_in("manager", TABLET, f"/boxes/{scene.box}/") as page:
        print_a_box(walker, page, scene.box)
        print_it_again(walker, page, scene.box)
        cancel_a_job(walker, page, scene.place)
    prints = list(Print.objects.filter(box=scene.box).order_by("copy"))
    assert [(row.copy, row.first) for row in prints] == [(1, None), (2, "scanned")]
    assert PrintJob.objects.get().state == "cancelled"
    assert walker.complaints == []
    assert walker.barriers == []
    assert set(walker.refused) <= {422}


def test_printing_by_pages(page: Page, scene: Scene, live_server: object) -> None:
    walker = Walker(page, str(live_server))
    walk(walker, scene)
    heavy = {name: n for name, n in walker.weights.items() if n > HEAVIEST_PAGE}
    assert heavy == {}


def test_the_page_sees_by_itself_that_a_job_is_over(
    page: Page, scene: Scene, live_server: object
) -> None:
    walker = Walker(page, str(live_server))
    with walker.signed_in("manager", TABLET, "/labels/") as page:
        page.clock.install()
        page.goto(f"{walker.address}/labels/print/place/?n={scene.place.code}")
        page.get_by_role("button", name="Print 1 label").click()
        expect(page.locator(".answer")).to_contain_text("queued")
        PrintJob.objects.update(
            state="done", document=None, ended_at=timezone.now(), next_try=None
        )
        time_passes(page)
        expect(page.locator(".answer")).to_contain_text("they came out")
    assert walker.complaints == []


UPRIGHT = {"width": 800, "height": 1280}
WRONG: list[tuple[str, str, dict[str, str]]] = [
    ("printing", "printer_out_of_labels", {}),
    ("queued", "printer_unreachable", {"address": "192.0.2.7:631", "why": "timed out"}),
    ("failed", "printer_job_aborted", {"reason": "document-format-error"}),
    (
        "failed",
        "printer_media_missing",
        {"asked": "100 × 150 mm", "sizes": "70 × 40 mm, 50 × 25 mm"},
    ),
    (
        "failed",
        "printer_no_pdf",
        {"formats": "image/pwg-raster, application/octet-stream"},
    ),
]


def whole(page: Page) -> None:
    """What stands in *next* is seen to its last line, with no need to scroll."""
    words = page.locator(".next-words")
    for size in (TABLET, UPRIGHT):
        page.set_viewport_size(size)  # type: ignore[arg-type]
        settle(page)
        hidden = words.evaluate("e => e.scrollHeight - e.clientHeight")
        assert hidden <= 1, (hidden, size, words.inner_text())


def test_all_that_a_bench_says_of_a_label_is_seen(
    page: Page, scene: Scene, live_server: object
) -> None:
    bench = scene.box.bench
    assert bench is not None
    make_printer(NOWHERE, BOX_ROLL, code="P2", bench=bench)
    walker = Walker(page, str(live_server))
    with walker.signed_in("manager", TABLET, f"/bench/{bench.code}/") as page:
        walker.scan(page.locator("#scan"), "ACT-PRINT")
        expect(page.locator("#bench-print")).to_contain_text("on its way")
        whole(page)
        for state, code, told in WRONG:
            # What is found out before anything is sent leaves nothing unsure.
            unsure = code == "printer_job_aborted"
            PrintJob.objects.update(state=state, trouble=code, told=told, unsure=unsure)
            page.goto(f"{walker.address}/bench/{bench.code}/")
            whole(page)
        walker.scan(page.locator("#scan"), "ACT-PRINT")
        expect(page.locator(".next-words")).to_contain_text("you declare")
        whole(page)


def test_the_bench_tells_of_its_label_and_leaves_a_scan_alone(
    page: Page, scene: Scene, live_server: object
) -> None:
    bench = scene.box.bench
    assert bench is not None
    make_printer(NOWHERE, BOX_ROLL, code="P2", bench=bench)
    walker = Walker(page, str(live_server))
    page.clock.install()
    page.set_viewport_size(TABLET)
    page.goto(f"{walker.address}/sign-in/?next=/bench/{bench.code}/")
    page.get_by_label("Name", exact=True).fill("manager")
    page.get_by_label("Password").fill("pass")
    page.get_by_role("button", name="Sign in").click()
    scan = page.locator("#scan")
    walker.scan(scan, "ACT-PRINT")  # The screen comes by the script of the bench.
    expect(page.locator("#bench-print")).to_contain_text("on its way to Printer P2")
    assert barriers(page) == []
    expect(scan).to_be_focused()
    page.keyboard.type("HALF")
    PrintJob.objects.update(state="printing", trouble="printer_out_of_labels")
    time_passes(page)
    expect(page.locator("#bench-print")).to_contain_text("The printer has no labels")
    expect(scan).to_be_focused()
    expect(scan).to_have_value("HALF")
    assert barriers(page) == []
    assert walker.complaints == []


def test_the_same_without_scripts(
    browser: Browser, scene: Scene, live_server: object
) -> None:
    context = browser.new_context(java_script_enabled=False)
    try:
        walker = Walker(context.new_page(), str(live_server), script=False)
        walk(walker, scene)
        assert walker.complaints == []
    finally:
        context.close()
