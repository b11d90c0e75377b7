"""A checker harvests, counts and tests bags; a quality officer signs a protocol."""

from __future__ import annotations

import re

import pytest
from django.utils import timezone
from playwright.sync_api import Browser, Page, Route, expect

from kitting.ledger.setup import ensure_workshop
from kitting.lots.services import lots
from kitting.lots.services.blanks import give_out_numbers
from kitting.models import Bag, Protocol
from tests import factories
from tests.browser.measuring import barriers
from tests.browser.walking import DESK, TABLET, Walker

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def bag(transactional_db: None, monkeypatch: pytest.MonkeyPatch) -> Bag:
    """A cleared bag of visors, as of now: the server in the test reads the real clock."""
    ensure_workshop("Harrow Lane Workshop")
    now = timezone.now()
    monkeypatch.setattr(factories, "NOW", now)
    monkeypatch.setattr(factories, "TODAY", now.date())
    factories.make_person("checker", name="checker")
    for name in ("quality", "deputy"):
        factories.make_person("quality officer", name=name)
    part = factories.make_part(name="Visor", needs_check=False, needs_clearing=False)
    revision = factories.make_revision(part)
    lot = factories.make_lot(revision, bags=(lots.NewBag(pieces=41),))
    return lot.bags.get()


def count(page: Page, bag: Bag) -> None:
    page.get_by_role("link", name="Count again").click()
    expect(page.locator(".question")).to_contain_text("How much is in bag")
    page.get_by_label("In the bag").fill("-3")
    page.get_by_role("button", name="Save the count").click()
    expect(page.locator("[data-wrong]")).to_be_visible()
    page.get_by_label("In the bag").fill("40")
    page.get_by_label("Why").fill("One was torn")
    page.get_by_role("button", name="Save the count").click()
    page.wait_for_url(re.compile(f"/bags/{bag.number}/$"))
    expect(page.locator("#said")).to_contain_text("holds 40. Missing: 1.")


def weigh(page: Page, bag: Bag) -> None:
    page.get_by_role("link", name="Count by weight").click()
    shown = {
        "The full container": "252,5",
        "The same container, empty": "50",
        "Reference: pieces counted by hand": "40",
        "Reference: their mass": "200",
        "How much the mass of single pieces differs": "0.005",
        "Uncertainty of the scale": "0.02",
    }
    for label, value in shown.items():
        page.get_by_label(label).fill(value)
    page.get_by_role("button", name="Compute the count").click()
    expect(page.locator(".weighed")).to_contain_text("not that of a whole number")
    page.get_by_label("The full container").fill("250")
    page.get_by_role("button", name="Compute it again").click()
    expect(page.locator(".weighed")).to_contain_text("Trusted to the piece")
    expect(page.locator(".weighed .yes")).to_have_text("yes")
    page.get_by_role("button", name="Save 40 as the count").click()
    page.wait_for_url(re.compile(f"/bags/{bag.number}/$"))
    expect(page.locator("#said")).to_contain_text("as on record")


def send_to_test(page: Page, bag: Bag) -> None:
    page.get_by_role("link", name="Send pieces to a test").click()
    page.get_by_label("How many").fill("2")
    page.get_by_label("What for").fill("Swabs")
    page.get_by_label("To whom").fill("Eskmoor laboratory")
    page.get_by_role("button", name="Send them to the test").click()
    expect(page.locator("#said")).to_contain_text("38 are left")
    page.get_by_role("link", name=re.compile(bag.lot.number)).first.click()
    expect(page.locator("#main")).to_contain_text("Samples without a result")
    page.get_by_role("link", name="Record the result").click()
    page.get_by_label("What was found").fill("No growth")
    page.get_by_role("button", name="Record the result").click()
    expect(page.locator("#main")).to_contain_text("No growth")


def record_a_report(page: Page) -> None:
    page.get_by_role("link", name="Evidence").click()
    page.get_by_role("link", name="Record a report").click()
    shown = {
        "Code": "EV-1",
        "Laboratory": "Eskmoor laboratory",
        "Surface": "Visor sheet",
        "Organism or measurement": "Log reduction",
        "Result": "See the report",
        "Document": "Report 17",
        "Date of the report": timezone.now().date().isoformat(),
    }
    for label, value in shown.items():
        page.get_by_label(label, exact=label == "Code").first.fill(value)
    page.get_by_role("button", name="Record the report").click()
    expect(page.locator("#said")).to_contain_text("recorded as EV-1")
    page.get_by_role("link", name="Protocols").first.click()


def draft_a_protocol(page: Page, bag: Bag) -> None:
    page.get_by_role("link", name="Draft a protocol").click()
    page.get_by_label("Code").fill("BELT")
    page.get_by_label("Name", exact=True).fill("Belt, one layer")
    page.get_by_label("Process").select_option("uvc_belt")
    page.get_by_label("In force from").fill(timezone.now().date().isoformat())
    page.get_by_label(re.compile("EV-1")).check()
    line = page.get_by_role("group", name="Line 1")
    line.get_by_label("Part and revision").select_option(str(bag.lot.revision_id))
    line.get_by_label("Container").select_option("tote")
    line.get_by_label("Pieces in one").fill("120")
    page.get_by_role("button", name="Keep the draft").click()
    expect(page.locator("[data-wrong]")).to_contain_text("requires nothing yet")
    page.get_by_label("required dose, top side").fill("77,5")
    page.get_by_role("button", name="Keep the draft").click()
    expect(page.locator("#said")).to_contain_text("is a draft")


def sign_it(page: Page) -> None:
    page.get_by_role("link", name="Sign", exact=True).click()
    expect(page.locator("#main")).to_contain_text("77.5 mJ/cm²")
    page.get_by_label("Your password").fill("pass")
    page.get_by_role("button", name="Sign BELT version 1").click()
    expect(page.locator(".answer")).to_contain_text("in force since")
    expect(page.locator("#main")).to_contain_text("Approved for use")


def walk(walker: Walker, bag: Bag) -> None:
    with walker.signed_in("checker", TABLET, f"/bags/{bag.number}/") as page:
        walker.look("Bag")
        count(page, bag)
        weigh(page, bag)
        send_to_test(page, bag)
    with walker.signed_in("quality", DESK, "/protocols/") as page:
        record_a_report(page)
        walker.look("Protocols")
        draft_a_protocol(page, bag)
        walker.look("Draft")
    with walker.signed_in("deputy", DESK, "/protocols/BELT/1/") as page:
        sign_it(page)
        walker.look("Signed")
    bag.refresh_from_db()
    assert bag.pieces == 38
    assert Protocol.objects.get().signed_by == "deputy"
    assert walker.complaints == []
    assert walker.barriers == []


def test_counting_and_signing_by_pages(
    page: Page, bag: Bag, live_server: object
) -> None:
    walker = Walker(page, str(live_server))
    walk(walker, bag)
    assert set(walker.refused) <= {422}


def test_the_same_without_scripts(
    browser: Browser, bag: Bag, live_server: object
) -> None:
    context = browser.new_context(java_script_enabled=False)
    try:
        walker = Walker(context.new_page(), str(live_server), script=False)
        walk(walker, bag)
        assert set(walker.refused) <= {422}
    finally:
        context.close()


def scan(page: Page, number: str) -> None:
    """As a scanner does it: the keys of the number, then Enter, wherever the focus is."""
    page.keyboard.type(number)
    page.keyboard.press("Enter")


def later(page: Page) -> None:
    """Past the time within which a scanner has read one label twice."""
    page.clock.fast_forward(600)


def harvest(page: Page, numbers: list[str]) -> None:
    first, second, third = numbers
    said, done = page.locator("#harvest-said"), page.locator("#said")
    scan(page, first)
    expect(said).to_contain_text(f"Bag {first}, 50 pieces. Scan it again")
    page.keyboard.insert_text(first)  # the scanner read twice at once
    page.keyboard.press("Enter")
    scan(page, second)  # another bag after all
    expect(said).to_contain_text(f"Bag {first} was not added. Now: bag {second}")
    page.get_by_label("How many").fill("48")
    page.keyboard.press("Enter")  # sends nothing
    expect(said).to_contain_text(f"Bag {second}, 48 pieces.")
    later(page)
    page.get_by_label("How many").focus()
    held: list[Route] = []
    page.route("**/add-bag/", lambda route: held.append(route), times=1)
    with page.expect_request("**/add-bag/"):
        scan(page, second)  # taken wherever the focus is
    scan(page, third)  # too early: nothing of it is taken
    expect(said).to_contain_text(f"Bag {second}, 48 pieces.")
    held[0].continue_()
    expect(done).to_contain_text("with 48")
    page.wait_for_load_state()  # its scripts are there
    expect(page.get_by_label("How many")).to_have_value("48")
    scan(page, third)
    later(page)
    page.context.set_offline(True)
    scan(page, third)
    expect(page.locator("#alarm")).to_contain_text("it will happen only once")
    expect(said).to_contain_text(f"Bag {third}, 48 pieces.")
    page.context.set_offline(False)
    scan(page, third)
    expect(done).to_contain_text(third)


def test_bags_are_harvested_by_a_scanner_alone(
    page: Page, bag: Bag, live_server: object
) -> None:
    lot = factories.make_lot(bag.lot.revision, bags=(lots.NewBag(50),), close=False)
    numbers = give_out_numbers(count=3, sign=factories.sign()).numbers
    walker = Walker(page, str(live_server))
    with walker.signed_in("checker", TABLET, f"/lots/{lot.number}/add-bag/"):
        walker.look("Harvest")
        page.clock.install()
        harvest(page, numbers)
        assert barriers(page) == []
    taken = list(lot.bags.order_by("pk").values_list("number", "pieces"))
    assert taken[1:] == [(numbers[1], 48), (numbers[2], 48)]
    assert (walker.refused, walker.barriers) == ([], [])


def test_what_was_typed_stays_where_a_part_is_chosen(
    page: Page, bag: Bag, live_server: object
) -> None:
    walker = Walker(page, str(live_server))
    held: list[Route] = []
    part = page.get_by_label("Part and revision")
    source = page.get_by_label("Source", exact=True)
    with walker.signed_in("checker", DESK, "/lots/new/"):
        page.get_by_text("More: numbers, use by").click()
        page.get_by_label("Use by").fill("2030-01-02")
        asks = "**/lots/new/?revision=*"
        page.route(asks, lambda route: held.append(route), times=1)
        with page.expect_request(asks):
            part.select_option(str(bag.lot.revision_id))
        source.click()
        page.keyboard.type("Bench 2")  # while the form is on its way
        held[0].continue_()
        expect(page.locator(".asked-like")).to_contain_text(bag.lot.number)
        expect(source).to_be_focused()
        expect(source).to_have_value("Bench 2")
        expect(page.get_by_label("Use by")).to_have_value("2030-01-02")
        expect(page.get_by_label("Use by")).to_be_visible()
        expect(page.get_by_label("In each bag")).to_have_value("41")
        part.focus()
        part.select_option("")
        expect(page.locator(".asked-like")).to_have_count(0)
        expect(page.locator(".htmx-added")).to_have_count(0)  # it listens again
        part.select_option(str(bag.lot.revision_id))
        expect(page.get_by_label("Bags", exact=True)).to_be_focused()
        expect(source).to_have_value("Bench 2")
