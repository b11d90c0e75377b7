"""A day with too few boxes: shared out, loaded by scans, stopped, sent, received, recalled."""

from __future__ import annotations

import re
from dataclasses import dataclass

import pytest
from django.utils import timezone
from playwright.sync_api import Browser, Page, expect

from dispatch.models import Allotment, Consignee, Request, Shipment
from kitting.domain import gs1
from kitting.ledger import holds
from kitting.ledger.setup import ensure_workshop
from kitting.models import Box, BoxSize, Place, Workshop
from kitting.models.catalogue import PlaceKind
from kitting.packing.services.voiding import void_box
from kitting.places.services.places import put_box
from tests import factories
from tests.browser.measuring import settle
from tests.browser.test_dispatch import PHONE, TABLET, said, scan
from tests.dispatch.allotment.allotting import ask, confirm

pytestmark = pytest.mark.django_db(transaction=True)

PREFIX = "9521234"
ASKED = {"Ward 3": 24, "Emergency": 12, "Theatres": 6}
"""Sets that each hospital asks for, by ward, the neediest first."""


@pytest.fixture
def sizes(transactional_db: None, monkeypatch: pytest.MonkeyPatch) -> list[BoxSize]:
    """A workshop that packs two sizes today: the server reads the real clock."""
    ensure_workshop("Harrow Lane Workshop")
    Workshop.objects.update(gs1_prefix=PREFIX, country="GB")
    now = timezone.now()
    monkeypatch.setattr(factories, "NOW", now)
    monkeypatch.setattr(factories, "TODAY", now.date())
    factories.make_person("clerk", name="clerk")
    recipe = factories.make_recipe(name="Face shield")
    return [factories.make_size(recipe, sets) for sets in (6, 24)]


def make_hospital(name: str) -> Consignee:
    made = factories.make_consignee(name)
    made.points = "\n".join(ASKED)
    made.save()
    return made


def arrive(page: Page, server: str, name: str, to: str) -> Page:
    """Sign in and come to a page."""
    page.goto(f"{server}/sign-in/?next={to}")
    page.fill("input[name=username]", name)
    page.fill("input[name=password]", "pass")
    page.press("input[name=password]", "Enter")
    page.wait_for_url(f"**{to}")
    return page


def unexpected(errors: list[str]) -> list[str]:
    """What the browser complains of, but for answers that refuse something."""
    return [text for text in errors if not re.search("status of 4(09|22)", text)]


# -- The morning -------------------------------------------------------------------------


def take_in(page: Page, rows: list[str]) -> None:
    """Look at a file of requests, then take it in."""
    page.get_by_role("link", name="Requests from a file").click()
    table = "\n".join(["consignee,product,sets,tier,ward", *rows]).encode()
    page.locator("input[type=file]").set_input_files(
        {"name": "today.csv", "mimeType": "text/csv", "buffer": table}
    )
    page.get_by_role("button", name="Look at the file").click()
    expect(page.locator(".answer")).to_contain_text("30 rows. Nothing is written yet.")
    row = page.get_by_role("row").filter(has_text="Infirmary 4, Emergency")
    expect(row).to_contain_text("12 sets, Face shield, They run out within three days")
    assert not Request.objects.exists()
    page.get_by_role("button", name="Take in the file").click()
    expect(page.locator(".answer")).to_contain_text("30 requests for 420 sets")


def move_one(page: Page) -> None:
    """Give a box of 6 of the last that gets one to the first that gets nothing."""
    settle(page)
    rows = page.locator("table.shares tbody tr").filter(has=page.locator("a"))
    gets = rows.locator("td[data-title=Gets]").all_inner_texts()
    links = [link.get_attribute("href") or "" for link in rows.locator("a").all()]
    giver, taker = max(n for n, sets in enumerate(gets) if sets == "6"), gets.index("0")
    page.locator("#id_size").select_option("6")
    page.locator("#id_by").select_option(links[giver].split("/")[-2])
    page.locator("#id_to").select_option(links[taker].split("/")[-2])
    page.get_by_role("button", name="Move them").click()
    expect(rows.nth(taker).locator("td[data-title=Gets]")).to_have_text("6")
    expect(rows.nth(giver).locator("td[data-title=Gets]")).to_have_text("0")


def test_thirty_requests_out_of_a_file_share_what_is_ready(
    page: Page,
    browser: Browser,
    live_server,
    console_errors: list[str],
    sizes: list[BoxSize],
) -> None:
    for size, boxes in zip(sizes, (3, 2), strict=True):
        for _each in range(boxes):
            factories.make_labelled_box(size)
    factories.make_person("clerk", name="second")
    code = sizes[0].product.code
    take_in(
        arrive(page, live_server.url, "clerk", "/requests/"),
        [
            f"{at.code},{code},{sets},{tier},{ward}"
            for at in [make_hospital(f"Infirmary {nth}") for nth in range(10)]
            for tier, (ward, sets) in enumerate(ASKED.items(), start=1)
        ],
    )
    expect(page.locator("#requests, table").get_by_text("Theatres")).to_have_count(10)
    page.get_by_role("link", name="Allot boxes").click()
    expect(page.locator(".answer")).to_contain_text("30 requests lack 420 sets")
    there = browser.new_context().new_page()
    second = arrive(there, live_server.url, "second", "/allotments/new/")
    expect(second.locator(".answer")).to_contain_text("5 boxes with 66 sets")

    move_one(page)
    promise = page.get_by_role("button", name="Promise 5 boxes with 66 sets")
    promise.click()
    refusal = "p.refusal[role=alert]"
    expect(page.locator(refusal)).to_contain_text("No reason was entered.")
    page.get_by_label("Why boxes are moved").fill("Their stores are flooded")
    promise.click()
    said(page, "5 boxes with 66 sets are promised.")
    expect(page.locator("main")).to_contain_text("Their stores are flooded")
    expect(page.locator("table.shares")).to_contain_text("Infirmary 4, Ward 3")

    second.get_by_role("button", name="Promise 5 boxes with 66 sets").click()
    done = Allotment.objects.get()  # the one of the first clerk, and no other
    words = f"clerk confirmed allotment {done.number} after this page was loaded"
    expect(second.locator(refusal)).to_contain_text(words)
    second.context.close()
    assert Allotment.objects.count() == 1
    assert unexpected(console_errors) == []
    assert factories.prove() == []


# -- The dock ----------------------------------------------------------------------------


@dataclass
class Dock:
    """Boxes at a dock: some of them right, some wrong for whatever reason."""

    boxes: dict[str, Box]
    """Four of 6 sets that are free or promised to Hill Infirmary, by number."""
    shelf: Place
    away: Place
    """Quarantine."""
    wrong: list[tuple[str, str]]
    """What a scanner reads of a wrong box, and what is said of where it goes."""


def raw(box: Box) -> str:
    """What a scanner types of a box's label."""
    return f"]C100{box.sscc}"


@pytest.fixture
def dock(sizes: list[BoxSize]) -> Dock:
    """Three boxes are promised to Ward 3 of one hospital, a large one to another."""
    small, large = sizes
    shelf, away = factories.make_place(), factories.make_place(PlaceKind.QUARANTINE)

    def ready(size: BoxSize) -> Box:
        box = factories.make_labelled_box(size)
        put_box(box_id=box.pk, place_id=shelf.pk, sign=factories.sign())
        return box

    hill, dale = make_hospital("Hill Infirmary"), make_hospital("Dale Infirmary")
    asked = ask(hill, small.product, 18, tier=1)
    Request.objects.filter(pk=asked.pk).update(point="Ward 3")
    ask(dale, small.product, 24, tier=1)
    boxes = [ready(small) for _each in range(4)]
    voided, theirs, bare = ready(small), ready(large), factories.make_closed_box(small)
    confirm(small.product)
    label, by = str(voided.serial), factories.sign()
    void_box(box_id=voided.pk, reason="Wet", label=label, sign=by)
    elsewhere = ready(small)
    other = factories.make_shipment(elsewhere, consignee=dale)
    wrong = [
        (raw(voided), "Put it in quarantine."),
        (raw(bare), f"Bring it back to {bare.bench}"),
        (f"]C100{gs1.sscc(PREFIX, 999)}", "put the box in quarantine"),
        (raw(theirs), "all promised to Dale Infirmary (1). Leave it where it is"),
        (raw(elsewhere), f"{other.number} for Dale Infirmary. Put it with their boxes"),
    ]
    return Dock({str(box): box for box in boxes}, shelf, away, wrong)


def fetched(page: Page) -> list[str]:
    """The boxes that the fetch list still names."""
    settle(page)
    texts = page.locator("ul.fetch li:not(.fetched) strong").all_inner_texts()
    return ["".join(text.split()) for text in texts]


def begin_for_ward(page: Page) -> Shipment:
    page.get_by_role("row").filter(has_text="Ward 3").get_by_role("link").click()
    page.get_by_role("button", name="Begin a shipment for it").click()
    page.wait_for_url(re.compile("/shipments/S[0-9]"))
    page.wait_for_load_state("load")
    expect(page.locator("h1")).to_have_text("What goes to Hill Infirmary, Ward 3?")
    return Shipment.objects.get(consignee__name="Hill Infirmary")


def load(page: Page, *numbers: str, dock: Dock) -> None:
    for number in numbers:
        scan(page, raw(dock.boxes[number]))
        said(page, f"Box {number} is on the shipment.")


def send(page: Page) -> None:
    """Say who takes it and under which seal; no printer is there for the labels."""
    page.get_by_role("link", name="Send 3 boxes").click()
    for label, text in (
        ("Haulier", "North couriers"),
        ("Driver", "Driver 2"),
        ("Vehicle", "Van 2"),
        ("Seal number", "S-0417"),
        ("Why it goes without", "The printer is away"),
    ):
        page.get_by_label(label).fill(text)


def test_wrong_boxes_are_answered_and_a_hold_stops_the_sending(
    page: Page, live_server, console_errors: list[str], dock: Dock
) -> None:
    arrive(page, live_server.url, "clerk", "/requests/")
    shipment = begin_for_ward(page)
    for text, words in dock.wrong:
        scan(page, text)
        said(page, words)
        expect(page.locator("#scan")).to_be_focused()
    assert not shipment.scans.exists()
    listed = fetched(page)
    load(page, *listed, dock=dock)
    expect(page.locator("ul.fetch li:not(.fetched)")).to_have_count(0)

    send(page)
    bad = dock.boxes[listed[1]]
    holds.place_hold(target="box", value=bad.pk, reason="Dent", sign=factories.sign())
    page.get_by_role("button", name="Send 3 boxes").click()
    expect(page.locator("#held")).to_contain_text("Dent")
    expect(page.get_by_role("button", name="Send 3 boxes")).to_have_count(0)
    page.get_by_role("button", name=f"Take box {bad} off").click()
    said(page, "Put it in quarantine.")
    put_box(box_id=bad.pk, place_id=dock.away.pk, sign=factories.sign())
    spare = next(number for number in dock.boxes if number not in listed)
    assert fetched(page) == [spare]
    load(page, spare, dock=dock)
    send(page)
    page.get_by_role("button", name="Send 3 boxes").click()
    said(page, "3 boxes, 18 sets")
    shipment.refresh_from_db()
    assert (shipment.stage, shipment.seal) == ("sent", "S-0417")
    for paper in ("Packing list", "Delivery note"):
        to = page.get_by_role("link", name=paper).get_attribute("href")
        answer = page.context.request.get(f"{live_server.url}{to}")
        assert answer.headers["content-type"] == "application/pdf"
        assert answer.body().startswith(b"%PDF-")
    assert unexpected(console_errors) == []
    assert factories.prove() == []


# -- After -------------------------------------------------------------------------------


def record_received(page: Page, short: Box, broken: Box) -> None:
    """One box short, one damaged; then what came of it."""
    page.get_by_role("link", name="Record the delivery").click()
    page.get_by_label("Received by").fill("Sister of Ward 3")
    moment = timezone.localtime()
    page.get_by_label("Date").fill(moment.date().isoformat())
    page.get_by_label("Time").fill(f"{moment:%H:%M}")
    page.get_by_label("Boxes they counted").fill("3")
    for nth, box, how in ((0, short, "short"), (1, broken, "damaged")):
        page.locator(f"#id_line-{nth}-box").select_option(label=str(box))
        page.locator(f"#id_line-{nth}-found").select_option(label=how)
    page.locator("#id_line-0-sets").fill("5")
    page.get_by_role("button", name="Record the delivery").click()
    differs = page.get_by_text("differs from what was sent")
    expect(differs).to_be_visible()
    page.get_by_role("link", name="Settle the difference").click()
    page.get_by_label("What came of it").fill("The ward gets another box tomorrow")
    page.get_by_role("button", name="Settle it").click()
    expect(page.locator("h1")).to_contain_text("What went to")
    expect(differs).to_have_count(0)


def bring_back(page: Page, box: Box, away: Place) -> None:
    page.get_by_role("link", name="Record what came back").click()
    expect(page.locator("h1")).to_have_text("What came back?")
    page.get_by_label("How it came back").select_option("unopened")
    page.get_by_label("Sets that came back").fill("6")
    page.get_by_label("Where it is now").select_option(label=away.name)
    page.get_by_label("Why it came back").fill("A corner is crushed")
    page.get_by_label("Scan the box").focus()
    scan(page, raw(box))  # its Enter sends the form
    said(page, str(box))


def test_what_was_received_comes_back_and_is_found_again(
    page: Page, live_server, console_errors: list[str], dock: Dock
) -> None:
    arrive(page, live_server.url, "clerk", "/requests/")
    shipment = begin_for_ward(page)
    load(page, *fetched(page), dock=dock)
    short, _whole, broken = (
        each.box for each in shipment.shipment_boxes.order_by("pk")
    )
    send(page)
    page.get_by_role("button", name="Send 3 boxes").click()
    said(page, "3 boxes, 18 sets")
    record_received(page, short, broken)
    bring_back(page, broken, dock.away)
    page.goto(f"{live_server.url}/shipments/{shipment.number}/")
    page.set_viewport_size(PHONE)
    cells = page.locator("section:has(> #after) td")
    expect(cells.filter(has_text=str(short)).first).to_be_visible()
    for cell in cells.all():
        box = cell.bounding_box()
        assert box is not None
        assert box["x"] + box["width"] <= PHONE["width"]
    page.set_viewport_size(TABLET)

    page.get_by_role("link", name="Shipping log", exact=True).click()
    page.locator("#id_q").fill(f"00{short.sscc}")
    fits = "field => field.scrollWidth <= field.clientWidth"
    assert page.locator("#id_q").evaluate(fits)
    page.locator("#id_q").fill("")
    scan(page, raw(short))
    expect(page.locator("#log tbody tr")).to_have_count(1)
    expect(page.locator("#log")).to_contain_text("Hill Infirmary, Ward 3")
    lot = short.lines.get().bag.lot
    page.locator("#log").get_by_role("link", name=lot.number).click()
    reached = page.locator("table.reached")
    expect(reached).to_contain_text("Hill Infirmary")
    expect(reached).to_contain_text("Ward 3")
    assert unexpected(console_errors) == []
    assert factories.prove() == []
