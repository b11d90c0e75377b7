"""A clerk at the dock: begins a shipment, scans, takes off, sends, reads the log."""

from __future__ import annotations

import re
import time

import pytest
from django.utils import timezone
from playwright.sync_api import Browser, Page, expect

from dispatch.domain.needs import Asked
from dispatch.models import Consignee, Shipment
from dispatch.requests.services import take_request
from kitting.ledger import holds
from kitting.ledger.setup import ensure_workshop
from kitting.models import Box, Hold
from tests import factories
from tests.browser.benching import time_passes, type_scan
from tests.browser.measuring import width
from tests.browser.test_sounds import EARS, heard
from tests.patience import PATIENCE_S

pytestmark = pytest.mark.django_db(transaction=True)

TABLET = {"width": 1280, "height": 800}
PHONE = {"width": 390, "height": 844}
# One inch is 25.4 mm and, in CSS Values and Units, 96 px.
TARGET_PX = 18 / 25.4 * 96


@pytest.fixture
def boxes(transactional_db: None, monkeypatch: pytest.MonkeyPatch) -> list[Box]:
    """Three boxes that stand ready, packed now: the server reads the real clock."""
    ensure_workshop("Harrow Lane Workshop")
    now = timezone.now()
    monkeypatch.setattr(factories, "NOW", now)
    monkeypatch.setattr(factories, "TODAY", now.date())
    factories.make_person("clerk", name="clerk")
    factories.make_consignee("Thornwick Children's")
    recipe = factories.make_recipe(name="Face shield")
    small, large = factories.make_size(recipe, 6), factories.make_size(recipe, 24)
    return [factories.make_labelled_box(size) for size in (small, large, small)]


def sign_in(page: Page, address: str) -> None:
    page.goto(f"{address}/sign-in/?next=/shipments/")
    page.fill("input[name=username]", "clerk")
    page.fill("input[name=password]", "pass")
    page.press("input[name=password]", "Enter")
    page.wait_for_url("**/shipments/")


def begin(page: Page) -> None:
    page.get_by_role("link", name="Begin a shipment").click()
    page.get_by_label("Consignee", exact=True).select_option(
        label="Thornwick Children's"
    )
    page.get_by_label("Reference").fill("REQ-7")
    page.get_by_role("button", name="Begin the shipment").click()
    page.wait_for_url(re.compile("/shipments/S[0-9]"))
    # A scanner types at once; the test waits, as a hand does, until the field is ready.
    expect(page.locator("#scan")).to_be_focused()
    page.wait_for_load_state("load")


def scan(page: Page, text: str | None) -> None:
    """Scan into the field that has the focus; a busy machine makes no pause in it."""
    page.keyboard.insert_text(text or "")
    page.keyboard.press("Enter")


def said(page: Page, words: str) -> None:
    expect(page.locator("#scan-said, #said").filter(has_text=words)).to_be_visible()


def sounded(page: Page) -> tuple[tuple[float, int], ...]:
    """What is heard of words that are on the page: they sound a moment later."""
    until = time.monotonic() + PATIENCE_S
    while not (tones := heard(page)) and time.monotonic() < until:
        page.wait_for_timeout(20)
    return tones


@pytest.mark.smoke
def test_the_boxes_that_would_serve_are_those_of_the_product_chosen_last(
    page: Page, live_server, console_errors: list[str], boxes: list[Box]
) -> None:
    other = factories.make_labelled_box(
        factories.make_size(factories.make_recipe(name="Gown"), 10)
    )
    sign_in(page, live_server.url)
    page.goto(f"{live_server.url}/requests/new/")
    page.get_by_label("Sets").fill("24")
    page.get_by_label("Product").select_option(label="Face shield")
    expect(page.locator("#mix")).to_contain_text("24 = 24 sets")
    page.get_by_label("Product").select_option(label=other.size.product.name)
    expect(page.locator("#mix")).to_contain_text("10 = 30 sets")
    assert console_errors == []


def assert_as_reloaded(page: Page) -> None:
    """What scan after scan changed is the page as it is, but for what is said of the last.

    It was changed and never made anew; and nothing stands there twice.
    """
    ids = "() => [...document.querySelectorAll('[id]')].map(one => one.id)"
    there, shown = page.evaluate(ids), page.evaluate(SHOWN)
    assert len(there) == len(set(there))
    page.reload()
    assert page.evaluate(SHOWN) == shown


SHOWN = """() => {
  const shown = document.getElementById("shipment").cloneNode(true);
  shown.querySelectorAll("#scan-said, script").forEach(one => one.remove());
  return shown.textContent.split(/\\s+/).join(" ");
}"""


@pytest.mark.smoke
def test_a_clerk_scans_boxes_on_and_sends_them(
    page: Page, live_server, console_errors: list[str], boxes: list[Box]
) -> None:
    small, large, other = boxes
    sign_in(page, live_server.url)
    begin(page)
    scan(page, small.serial)
    said(page, f"Box {small.serial} is on the shipment.")
    expect(page.locator("#scan")).to_be_focused()
    scan(page, "Γενικό Νοσοκομείο")
    said(page, "“Γενικό Νοσοκομείο”")
    expect(page.locator("#scan")).to_be_focused()
    expect(page.locator("#scan")).to_have_value("")
    scan(page, large.serial)
    said(page, f"Box {large.serial} is on the shipment.")
    scan(page, other.serial)
    said(page, f"Box {other.serial} is on the shipment.")
    assert_as_reloaded(page)
    page.get_by_role("button", name=f"Take box {other.serial} off").click()
    said(page, f"Box {other.serial} is off the shipment.")
    expect(page.locator("#scan")).to_be_focused()
    assert_as_reloaded(page)
    page.get_by_role("link", name="Send 2 boxes").click()
    page.get_by_label("Driver").fill("Driver 2")
    page.get_by_label("Why it goes without").fill("Written by hand")
    page.get_by_role("button", name="Send 2 boxes").click()
    expect(page.locator("h1")).to_have_text("What went to Thornwick Children's?")
    said(page, "2 boxes, 30 sets")
    page.get_by_role("link", name="Shipping log", exact=True).click()
    expect(page.locator(".answer")).to_contain_text("1 shipment, 2 boxes, 30 sets.")
    assert [text for text in console_errors if "422" not in text] == []
    assert Shipment.objects.get().sent_by == "clerk"


def test_each_kind_of_scan_has_a_sound_of_its_own(
    page: Page, live_server, console_errors: list[str], boxes: list[Box]
) -> None:
    """Expected, taken though nobody expected it, and refused: told apart by ear."""
    small, large, _other = boxes
    take_request(
        consignee_id=Consignee.objects.get().pk,
        product_id=small.size.product_id,
        asked=Asked(sets=6, tier=1, way="mail"),
        sign=factories.sign(),
    )
    page.add_init_script(EARS)
    sign_in(page, live_server.url)
    begin(page)
    rhythms = []
    for text, words in (
        (small.serial, f"Box {small.serial} is on the shipment."),
        (large.serial, "more than they asked for"),
        ("nonsense", "“nonsense”"),
    ):
        scan(page, text)
        said(page, words)
        rhythms.append(tuple(length for _pitch, length in sounded(page)))
    assert len(set(rhythms)) == 3
    assert all(len(rhythm) >= 2 for rhythm in rhythms)
    expect(page.locator(".fetched")).to_contain_text("on")
    assert_as_reloaded(page)
    assert [text for text in console_errors if "422" not in text] == []


def test_the_same_work_is_done_without_javascript(
    browser: Browser, live_server, boxes: list[Box]
) -> None:
    context = browser.new_context(java_script_enabled=False, viewport=PHONE)
    page = context.new_page()
    sign_in(page, live_server.url)
    begin(page)
    for box in boxes:
        page.locator("#scan").fill(str(box.serial))
        page.get_by_role("button", name="Load it").click()
        said(page, f"Box {box.serial} is on the shipment.")
    page.locator("#scan").fill("nothing")
    page.get_by_role("button", name="Load it").click()
    said(page, "Nothing has the number")
    page.get_by_role("button", name=f"Take box {boxes[0].serial} off").click()
    said(page, f"Box {boxes[0].serial} is off the shipment.")
    page.get_by_role("link", name="Send 2 boxes").click()
    page.get_by_label("Driver").fill("Driver 2")
    page.get_by_label("Why it goes without").fill("Written by hand")
    page.get_by_role("button", name="Send 2 boxes").click()
    said(page, "2 boxes, 30 sets")
    page.goto(f"{live_server.url}/log/?q=thornwick")
    expect(page.locator("#log tbody tr")).to_have_count(1)
    context.close()


def test_a_hold_that_comes_between_is_shown_before_anything_leaves(
    page: Page, live_server, boxes: list[Box]
) -> None:
    page.clock.install()
    sign_in(page, live_server.url)
    begin(page)
    scan(page, boxes[0].serial)
    said(page, f"Box {boxes[0].serial} is on the shipment.")
    holds.place_hold(
        target="box", value=boxes[0].pk, reason="Torn", sign=factories.sign()
    )
    time_passes(page)
    expect(page.locator("#held")).to_contain_text("put it in quarantine")
    expect(page.get_by_role("link", name="Send 1 box")).to_be_hidden()
    (hold,) = Hold.objects.all()
    holds.lift_hold(
        hold_id=hold.pk,
        reason="Whole",
        sign=factories.sign_by_another(),
    )
    time_passes(page)
    expect(page.locator("#held")).to_have_text("")
    page.get_by_role("link", name="Send 1 box").click()
    page.get_by_label("Driver").fill("Driver 2")
    holds.place_hold(
        target="box", value=boxes[0].pk, reason="Dent", sign=factories.sign()
    )
    page.get_by_label("Why it goes without").fill("Written by hand")
    page.get_by_role("button", name="Send 1 box").click()
    expect(page.get_by_role("alert").filter(has_text="Dent")).to_be_visible()
    expect(page.get_by_role("button", name="Send 1 box")).to_have_count(0)
    page.get_by_role("button", name=f"Take box {boxes[0].serial} off").click()
    said(page, "Put it in quarantine.")
    assert Shipment.objects.get().stage == "open"


def test_targets_fit_gloves_and_nothing_hangs_over(
    page: Page, live_server, boxes: list[Box]
) -> None:
    page.clock.install()
    sign_in(page, live_server.url)
    begin(page)
    scan(page, boxes[0].serial)
    said(page, f"Box {boxes[0].serial} is on the shipment.")
    holds.place_hold(
        target="box", value=boxes[0].pk, reason="Torn", sign=factories.sign()
    )
    time_passes(page)
    expect(page.locator("#held button")).to_be_visible()
    targets = page.locator("#shipment :is(button, input[data-scan], .button)").all()
    for size in (TABLET, PHONE):
        page.set_viewport_size(size)
        assert width(page) <= size["width"]
        measured = [box for target in targets if (box := target.bounding_box())]
        assert len(measured) == 5
        assert min(box["height"] for box in measured) >= TARGET_PX - 0.1
        assert min(box["width"] for box in measured) >= TARGET_PX - 0.1
    page.goto(f"{live_server.url}/log/")
    for size in (TABLET, PHONE):
        page.set_viewport_size(size)
        assert width(page) <= size["width"]


def test_a_scan_sends_no_form_that_is_half_filled_in(
    page: Page, live_server, console_errors: list[str], boxes: list[Box]
) -> None:
    sign_in(page, live_server.url)
    page.goto(f"{live_server.url}/shipments/returns/new/")
    page.wait_for_load_state("load")
    type_scan(page, str(boxes[0].serial))
    expect(page.get_by_label("Scan the box")).to_have_value(str(boxes[0].serial))
    expect(page.get_by_label("How it came back")).to_be_focused()
    expect(page.get_by_text("Choose whether")).to_have_count(0)
    assert console_errors == []


def test_a_recall_on_paper_has_what_is_known_and_nothing_to_press(
    page: Page, live_server, boxes: list[Box]
) -> None:
    factories.make_person("quality officer", name="quality")
    lot = boxes[0].lines.get().lot
    page.goto(f"{live_server.url}/sign-in/?next=/recall/?q={lot.number}")
    page.fill("input[name=username]", "quality")
    page.fill("input[name=password]", "pass")
    page.press("input[name=password]", "Enter")
    acts = page.get_by_text("Stop it", exact=True)
    expect(acts).to_have_count(2)
    expect(acts.first).to_be_visible()
    page.emulate_media(media="print")
    for act in acts.all():
        expect(act).to_be_hidden()
    expect(page.get_by_text("To the piece")).to_be_visible()
