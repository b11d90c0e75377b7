"""A checker counts defects with a thumb, the quality officer decides about the rest."""

from __future__ import annotations

import re

import pytest
from django.utils import timezone
from playwright.sync_api import Browser, Page, expect

from kitting.ledger.setup import ensure_workshop
from kitting.lots.services import lots
from kitting.models import Disposition, Lot
from tests import factories
from tests.browser.measuring import settle
from tests.browser.walking import Walker

pytestmark = pytest.mark.django_db(transaction=True)

TABLET = {"width": 1280, "height": 800}
# One inch is 25.4 mm and, in CSS Values and Units, 96 px.
TARGET_PX = 18 / 25.4 * 96


@pytest.fixture
def lot(transactional_db: None, monkeypatch: pytest.MonkeyPatch) -> Lot:
    """A lot of 120 in two bags that waits: 20 pieces by the plan, one may be bad.

    Letter F of MIL-STD-105E, Tables I and II-A, at AQL 2.5: 20 pieces, 1/2.
    """
    ensure_workshop("Harrow Lane Workshop")
    now = timezone.now()
    monkeypatch.setattr(factories, "NOW", now)
    monkeypatch.setattr(factories, "TODAY", now.date())
    factories.make_person("checker", name="checker")
    factories.make_person("quality officer", name="quality")
    factories.make_kind(name="Scratched")
    factories.make_kind("critical", name="Cracked")
    revision = factories.sampled_revision("II", 2_500, 4_000, name="Headband")
    bags = (lots.NewBag(pieces=80), lots.NewBag(pieces=40))
    return factories.make_lot(revision, number="HB-7", bags=bags)


def sign_in(page: Page, address: str, who: str, to: str) -> None:
    page.context.clear_cookies()
    page.goto(f"{address}/sign-in/?next={to}")
    page.fill("input[name=username]", who)
    page.fill("input[name=password]", "pass")
    page.press("input[name=password]", "Enter")
    page.wait_for_url(f"**{to}")


def sort_first_bag(page: Page) -> None:
    page.get_by_role("link", name="What is done with it").click()
    expect(page.locator(".answer")).to_contain_text("2 bags with 120")
    page.get_by_role("link", name="Sort piece by piece").first.click()
    page.locator("#id_good").fill("77")
    page.get_by_label(re.compile(r"^\s*Scratched")).fill("3")
    page.get_by_role("button", name="Scrap the bad").click()
    expect(page.locator("#main")).to_contain_text("77 good, 3 scrapped")


def accept_the_rest(page: Page, address: str) -> None:
    sign_in(page, address, "quality", "/lots/HB-7/rejected/")
    page.get_by_role("link", name="Accept under concession").click()
    page.wait_for_url("**/concession/")  # the page may still be on its way
    for bag in page.get_by_role("checkbox").all():
        bag.check()
    page.get_by_label("Why").fill("Looks only")
    page.get_by_role("button", name="Show what that comes to").click()
    expect(page.locator(".asked")).to_contain_text("40 pieces")
    page.get_by_label("Your password again").fill("pass")
    page.get_by_role("button", name="Accept under concession").click()
    expect(page.locator(".answer")).to_contain_text("Decide for each bag")


def assert_settled(lot: Lot) -> None:
    lot.refresh_from_db()
    assert lot.verdict == "rejected"
    assert {bag.stage for bag in lot.bags.all()} == {"accepted"}
    told = Disposition.objects.order_by("pk").values_list("fate", "good", "bad")
    assert list(told) == [("sorted", 77, 3), ("concession", 40, 0)]


def test_taps_count_up_and_the_verdict_follows_the_plan(
    page: Page, live_server, lot: Lot
) -> None:
    page.set_viewport_size(TABLET)  # type: ignore[arg-type]
    walker = Walker(page, live_server.url)
    sign_in(page, live_server.url, "checker", "/lots/HB-7/check/")
    walker.look("Check a lot by sample")
    expect(page.locator(".answer")).to_contain_text("draw 20 of 120")
    says, tap = page.locator("[data-says]"), page.locator("button[data-more]")
    scratched = tap.filter(has_text="Scratched")
    targets = [*tap.all(), *page.locator("button[data-less]").all()]
    targets += page.locator("input.tally").all()
    settle(page)
    sizes = [box for target in targets if (box := target.bounding_box())]
    assert len(sizes) == 9
    assert min(min(box["height"], box["width"]) for box in sizes) >= TARGET_PX
    scratched.click()
    expect(says).to_have_text("By the plan the lot is accepted.")
    scratched.click()
    expect(says).to_have_text("By the plan the lot is rejected.")
    expect(page.get_by_label("Reject the lot")).to_be_checked()
    page.locator("button[data-less]").nth(1).click()
    expect(page.get_by_label("Accept the lot")).to_be_checked()
    tap.filter(has_text="Cracked").click()
    expect(says).to_have_text("By the plan the lot is rejected.")
    page.get_by_label("Accept the lot").check()
    page.get_by_label(re.compile("^I looked at all")).check()
    page.get_by_role("button", name="Give the verdict").click()
    expect(page.locator(".wrong")).to_contain_text("By the plan lot HB-7")
    # What was counted is still there, and is counted on.
    expect(page.locator("input.tally").first).to_have_value("1")
    expect(says).to_have_text("By the plan the lot is rejected.")
    page.get_by_label("Why").fill("Cracked at the clip")
    page.get_by_role("button", name="Give the verdict").click()
    expect(page.locator(".answer")).to_contain_text("the lot was rejected")
    sort_first_bag(page)
    accept_the_rest(page, live_server.url)
    page.goto(f"{live_server.url}/inspection/")
    walker.look("Inspection")
    page.get_by_role("link", name="Headband").click()
    walker.look("Inspection of a source")
    expect(page.locator("svg.verdict-steps")).to_be_visible()
    page.goto(f"{live_server.url}/inspection/curve/")
    walker.look("The curve of a plan")
    page.get_by_label("AQL").select_option("4000")
    page.get_by_role("button", name="Draw").click()
    expect(page.locator(".answer")).to_contain_text("4.0 %")
    page.goto(f"{live_server.url}/inspection/set/")
    walker.look("How parts are checked")
    assert walker.complaints == []
    assert walker.barriers == []
    assert_settled(lot)


def test_numbers_are_typed_where_javascript_is_switched_off(
    browser: Browser, live_server, lot: Lot
) -> None:
    context = browser.new_context(java_script_enabled=False)
    try:
        page = context.new_page()
        sign_in(page, live_server.url, "checker", "/lots/HB-7/check/")
        expect(page.locator("button[data-more]").first).to_be_hidden()
        page.get_by_label(re.compile(r"^\s*Scratched")).fill("2")
        page.get_by_label("Reject the lot").check()
        page.get_by_label("Why").fill("Scratched")
        page.get_by_role("button", name="Give the verdict").click()
        expect(page.locator(".answer")).to_contain_text("the lot was rejected")
        sort_first_bag(page)
        accept_the_rest(page, live_server.url)
        assert_settled(lot)
    finally:
        context.close()
