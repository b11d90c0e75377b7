"""A case opens while a bench is in mid-box and a van is half loaded: all is brought in."""

from __future__ import annotations

import re

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from dispatch.models import ShipmentBox, Sought
from kitting.ledger.setup import ensure_workshop
from kitting.lots.services.lots import NewBag
from kitting.models import Box, OpenBag
from kitting.models.catalogue import PlaceKind
from tests import factories

pytestmark = pytest.mark.django_db(transaction=True)

PHONE = {"width": 390, "height": 844}


def enter(page: Page, address: str, name: str, to: str) -> None:
    page.context.clear_cookies()
    page.goto(f"{address}/sign-in/?next={to}")
    page.fill("input[name=username]", name)
    page.fill("input[name=password]", "pass")
    page.press("input[name=password]", "Enter")
    page.wait_for_url(lambda url: "sign-in" not in url)


def scan(page: Page, text: str | None, words: str) -> None:
    """Scan with the focus anywhere, and read what is said under the field."""
    expect(page.locator("main form.htmx-request")).to_have_count(0)
    page.locator("main h1").click()
    page.keyboard.type(text or "", delay=2)
    page.keyboard.press("Enter")
    expect(page.locator("#scan-said")).to_contain_text(words)


@pytest.fixture(autouse=True)
def workshop(transactional_db: None, monkeypatch: pytest.MonkeyPatch) -> None:
    """A quarantine, and people; the server reads the real clock."""
    ensure_workshop("Harrow Lane Workshop")
    now = timezone.now()
    monkeypatch.setattr(factories, "NOW", now)
    monkeypatch.setattr(factories, "TODAY", now.date())
    for role in ("clerk", "quality officer"):
        factories.make_person(role, name=role.split()[0])
    factories.make_place(PlaceKind.QUARANTINE)


def test_a_bench_in_mid_box_and_a_van_half_loaded(
    page: Page, live_server, console_errors: list[str]
) -> None:
    loaded = [factories.make_labelled_box() for _ in range(2)]
    van = factories.make_shipment(*loaded)
    size = factories.make_size(factories.make_recipe(), 6)
    revision = size.product.recipes.get().lines.get().revision
    bag = factories.make_lot(revision, bags=(NewBag(pieces=9),)).bags.get()
    opened = factories.make_open_box(size, None, bag)

    enter(page, live_server.url, "quality", f"/recall/cases/new/?q={bag.lot.number}")
    page.get_by_label("What can happen to whom").fill("The clip breaks")
    page.get_by_label("Reason").fill("Ward 4 called")
    page.get_by_role("button", name="Open the case").click()
    page.wait_for_url(re.compile("/recall/cases/V[0-9]"))
    number = page.url.rstrip("/").rpartition("/")[2]
    page.goto(f"{live_server.url}/recall/cases/{number}/widen/?q={loaded[0].serial}")
    page.get_by_label("Reason").fill("The same bench")
    page.get_by_role("button", name="Widen the case").click()
    expect(page.locator("main")).to_contain_text("1 to take off shipments")

    enter(page, live_server.url, "clerk", f"/shipments/{van.number}/")
    expect(page.get_by_role("link", name="Send 2 boxes")).to_have_count(0)
    expect(page.locator("#held")).to_contain_text("Take 1 box off")
    page.set_viewport_size(PHONE)  # type: ignore[arg-type]
    page.get_by_role("link", name="Scan it off and into quarantine").click()
    page.wait_for_url(re.compile("/bring/"))
    expect(page.locator("main")).to_contain_text("0 of 3 are in quarantine")
    scan(page, loaded[1].serial, "Leave it where it was")
    scan(page, loaded[0].serial, "It is off shipment")
    scan(page, bag.number, "It is no longer open at")
    page.get_by_role("link", name="Not found").click()
    page.get_by_label("Where it was looked for").fill("The whole bench")
    page.get_by_role("button", name="It was not found").click()
    expect(page.locator("main")).to_contain_text("Looked for and not found: 1")
    scan(page, opened.number, "which can begin another")
    expect(page.locator("main")).to_contain_text(
        "All that it holds here is in quarantine"
    )
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]

    assert list(
        ShipmentBox.objects.filter(live=True).values_list("box", flat=True)
    ) == [loaded[1].pk]
    assert not OpenBag.objects.filter(bag=bag).exists()
    kinds = Box.objects.filter(place__kind=PlaceKind.QUARANTINE)
    assert set(kinds) == {loaded[0], opened}
    assert Sought.objects.filter(into=None).count() == 1
    page.goto(f"{live_server.url}/shipments/{van.number}/")
    expect(page.get_by_role("link", name="Send 1 box")).to_be_visible()
    assert factories.prove() == []
    wrong = [each for each in console_errors if "422" not in each]  # what was refused
    assert wrong == []
