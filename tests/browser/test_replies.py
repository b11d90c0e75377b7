"""A consignee answers for its boxes on a telephone; a clerk reads it on the case's page."""

from __future__ import annotations

import pytest
from django.utils import timezone
from playwright.sync_api import Browser, Page, expect

from dispatch.models import Case, Consignee, Reply, ReplyBox
from dispatch.recall import links
from dispatch.replies.queries.accounts import unaccounted
from kitting.ledger.setup import ensure_workshop
from kitting.models import Box
from tests import factories
from tests.browser.measuring import width
from tests.dispatch.replies.replying import case_on, sent_to

pytestmark = pytest.mark.django_db(transaction=True)

PHONE = {"width": 390, "height": 844}


@pytest.fixture
def phone(browser: Browser) -> Page:
    """A telephone that runs no script: the page needs none."""
    context = browser.new_context(
        viewport=PHONE, is_mobile=True, has_touch=True, java_script_enabled=False
    )
    return context.new_page()


def sent(monkeypatch: pytest.MonkeyPatch) -> tuple[Case, Consignee, Box, Box]:
    """A case on two boxes, sent now: the server reads the real clock."""
    ensure_workshop("Harrow Lane Workshop")
    now = timezone.now()
    monkeypatch.setattr(factories, "NOW", now)
    monkeypatch.setattr(factories, "TODAY", now.date())
    factories.make_person("clerk", name="clerk")
    whom = factories.make_consignee("Thornwick Children's")
    first, second = sent_to(whom, 2)
    return case_on(first, second), whom, first, second


def read_by_a_clerk(page: Page, address: str, case: Case) -> None:
    """On the page of the case, and on that of the consignee which it leads to."""
    page.set_viewport_size(PHONE)  # type: ignore[arg-type]
    page.goto(f"{address}/sign-in/?next=/recall/cases/{case.number}/")
    page.fill("input[name=username]", "clerk")
    page.fill("input[name=password]", "pass")
    page.press("input[name=password]", "Enter")
    page.wait_for_url("**/recall/cases/**")
    answers = page.locator("#answers ~ *")
    expect(
        answers.filter(has_text="2 boxes of 2 not accounted for: 8 sets.")
    ).to_be_visible()
    assert width(page) <= PHONE["width"]
    page.get_by_role("link", name="Thornwick Children's").last.click()
    expect(page.get_by_text("M. Ward, stores, page of the consignee")).to_be_visible()
    assert width(page) <= PHONE["width"]


def test_a_ward_answers_on_a_telephone(
    phone: Page,
    page: Page,
    live_server,
    transactional_db: None,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    case, whom, first, second = sent(monkeypatch)
    phone.goto(live_server.url + links.path_of(case, whom))
    expect(
        phone.get_by_role("heading", name="What became of these boxes?")
    ).to_be_visible()
    phone.get_by_role("button", name="Send these answers").tap()
    expect(phone.get_by_role("alert")).to_contain_text("Your name")
    assert not Reply.objects.exists()
    phone.get_by_label("Your name").fill("M. Ward, stores")
    phone.get_by_label("All boxes of which nothing is chosen below").select_option(
        label="set aside, nobody uses them"
    )
    box = phone.locator(f"#box-{first.serial}")
    box.get_by_text("Not the same for all its sets?").tap()
    box.get_by_label("used", exact=True).fill("4")
    box.get_by_label("passed on to somebody else").fill("7")
    phone.get_by_role("button", name="Send these answers").tap()
    alert = phone.get_by_role("alert")
    expect(alert).to_contain_text("Nothing was sent yet")
    expect(box.locator("details")).to_have_attribute("open", "")
    box.get_by_label("passed on to somebody else").fill("1")
    phone.get_by_label("Passed on to whom").fill("Ward 7, next door")
    phone.get_by_role("button", name="Send these answers").tap()
    expect(
        phone.get_by_text("Every box that went to you is answered for")
    ).to_be_visible()
    said = ReplyBox.objects.values_list("box", "answer", "sets")
    assert sorted(said) == sorted(
        [
            (first.pk, "used", 4),
            (first.pk, "passed", 1),
            (first.pk, "quarantine", 1),
            (second.pk, "quarantine", 6),
        ]
    )
    assert sum(each.unaccounted for each in unaccounted(case)) == 8
    read_by_a_clerk(page, live_server.url, case)
