"""A morning of bags by a scanner alone: nothing is touched, and nothing typed by hand.

300 headbands in 12 bags, 5 sheets, 3 boxes of manuals, a lot rejected, a bag counted again.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from kitting.ledger.setup import ensure_workshop
from kitting.lots.services import lots
from kitting.lots.services.blanks import give_out_numbers
from kitting.models import Bag, Lot, Movement
from tests import factories
from tests.browser.test_bags import later, scan
from tests.browser.walking import TABLET, Walker

pytestmark = pytest.mark.django_db(transaction=True)

WATCH = """
    for (const kind of ["pointerdown", "keydown"]) {
      addEventListener(kind, (event) => {
        if (event.isTrusted && (kind === "pointerdown" || event.key === "Enter")) {
          sessionStorage[kind] = Number(sessionStorage[kind] || 0) + 1;
        }
      }, true);
    }
"""
"""Counts what a finger does and how often a scanner has read."""


@dataclass
class Yesterday:
    """The lots of the day before, like which those of this morning are taken in."""

    bands: Lot
    sheets: Lot
    manuals: Lot


@pytest.fixture
def before(transactional_db: None, monkeypatch: pytest.MonkeyPatch) -> Yesterday:
    ensure_workshop("Harrow Lane Workshop")
    now = timezone.now()
    monkeypatch.setattr(factories, "NOW", now)
    monkeypatch.setattr(factories, "TODAY", now.date())
    factories.make_person("checker", name="checker")
    factories.make_kind("critical", name="Cracked", code="CRACK")

    def lot(name: str, pieces: int, **of_part: bool) -> Lot:
        revision = factories.make_revision(factories.make_part(name=name, **of_part))
        return factories.make_lot(revision, bags=(lots.NewBag(pieces),))

    free = {"needs_check": False, "needs_clearing": False}
    return Yesterday(
        lot("Headband", 25), lot("Visor sheet", 1), lot("Manual", 50, **free)
    )


def count_of(page: Page, kind: str) -> int:
    return int(page.evaluate(f"Number(sessionStorage.{kind} || 0)"))


def begin(page: Page, last: Lot, bags: str) -> Lot:
    """Take in a lot like another one, from the number on any of its papers."""
    scan(page, last.number)
    scan_on(page, f"/lots/{last.number}/", "ACT-LOT-NEW")
    expect(page.get_by_label("Bags", exact=True)).to_be_focused()
    scan(page, f"ACT-{bags}")
    scan(page, "ACT-DO")
    expect(page.locator("#said")).to_contain_text("is taken in")
    new = Lot.objects.latest("pk")
    expect(page).to_have_url(re.compile(f"/lots/{new.number}/$"))
    return new


def scan_on(page: Page, path: str, text: str) -> None:
    page.wait_for_url(f"**{path}")
    scan(page, text)


def harvest(page: Page, lot: Lot, numbers: list[str]) -> None:
    """Two scans a bag: its number asks, its number again adds it."""
    scan_on(page, f"/lots/{lot.number}/", "ACT-BAG-NEW")
    expect(page.locator("[data-harvest]")).to_be_focused()
    page.wait_for_load_state("load")
    for digit in "25":  # the count of the first bag stays for the others
        scan(page, f"ACT-{digit}")
    before = count_of(page, "keydown")
    for number in numbers:
        scan(page, number)
        expect(page.locator("#harvest-said")).to_contain_text(f"Bag {number}, 25")
        later(page)
        scan(page, number)
        expect(page.locator("#said")).to_contain_text(f"Bag {number} is in lot")
        page.wait_for_load_state("load")
    assert count_of(page, "keydown") - before == 2 * len(numbers)


def reject(page: Page, lot: Lot) -> None:
    scan_on(page, f"/lots/{lot.number}/", "ACT-LOT-CLOSE")
    scan_on(page, f"/lots/{lot.number}/close/", "ACT-DO")
    scan_on(page, f"/lots/{lot.number}/", "ACT-LOT-CHECK")
    page.wait_for_url("**/check/")
    for _ in range(2):
        scan(page, "ACT-DEF-CRACK")
    expect(page.locator("[data-says]")).to_contain_text("the lot is rejected")
    scan(page, "ACT-REASON")
    scan(page, "Cracked at the edge")
    scan(page, "ACT-DO")
    expect(page.locator(".answer")).to_contain_text("rejected")


def recount(page: Page, bag: str) -> None:
    scan(page, bag)
    scan_on(page, f"/bags/{bag}/", "ACT-BAG-COUNT")
    page.wait_for_url("**/count/")
    for digit in "24":
        scan(page, f"ACT-{digit}")
    expect(page.get_by_label("In the bag")).to_have_value("24")
    scan(page, "ACT-REASON")
    scan(page, "One was torn")
    scan(page, "ACT-DO")
    expect(page.locator("#said")).to_contain_text("holds 24. Missing: 1.")


def test_a_morning_is_walked_by_scans_alone(
    page: Page, before: Yesterday, live_server: object
) -> None:
    numbers = give_out_numbers(count=12, sign=factories.sign()).numbers
    page.add_init_script(WATCH)
    walker = Walker(page, str(live_server))
    with walker.signed_in("checker", TABLET, "/lots/"):
        page.evaluate("sessionStorage.clear()")
        page.clock.install()
        bands = begin(page, before.bands, "0")
        harvest(page, bands, numbers)
        scan(page, "ACT-BACK")
        page.wait_for_url(f"**/lots/{bands.number}/")
        sheets = begin(page, before.sheets, "5")
        reject(page, sheets)
        manuals = begin(page, before.manuals, "3")
        recount(page, numbers[4])
        assert count_of(page, "pointerdown") == 0
    bags = Bag.objects.filter(lot=bands).order_by("pk")
    assert [bag.number for bag in bags] == numbers
    received = Movement.objects.filter(lot=bands, kind="received")
    assert sum(received.values_list("pieces", flat=True)) == 300
    assert [bag.pieces for bag in bags] == [25] * 4 + [24] + [25] * 7
    assert [bag.pieces for bag in sheets.bags.all()] == [1] * 5
    sheets.refresh_from_db()
    check = sheets.checks.get()
    assert (sheets.verdict, check.found) == ("rejected", 2)
    assert check.reason == "Cracked at the edge"
    assert [bag.pieces for bag in manuals.bags.all()] == [50] * 3
    assert (walker.refused, walker.complaints, walker.barriers) == ([], [], [])
    assert factories.prove() == []
