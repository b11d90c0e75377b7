"""A ward calls; everybody who has the lot is told and answers; a second person closes it."""

from __future__ import annotations

import io
import re
from dataclasses import dataclass

import pypdf
import pytest
from django.utils import timezone
from playwright.sync_api import Browser, Page, expect

from dispatch.models import Case, Consignee
from kitting.ledger.setup import ensure_workshop
from kitting.models import Box, Workshop
from tests import factories
from tests.benches import make_packing
from tests.browser.measuring import width
from tests.browser.test_complaint import sign_in

pytestmark = pytest.mark.django_db(transaction=True)

HAZARD = "The headband may crack while it is worn"
DESK, NIGHT = "+44 1632 960123", "+44 1632 960199"
"""01632 960… is for drama and documents: the numbering plan of Ofcom, from memory."""
PHONE = {"width": 390, "height": 844}


@dataclass
class Scene:
    boxes: list[Box]
    whom: list[Consignee]
    lot: str
    url: str


@pytest.fixture
def scene(
    transactional_db: None, live_server, monkeypatch: pytest.MonkeyPatch
) -> Scene:
    """One lot in two boxes, at two consignees, sent now: the server has the real clock."""
    ensure_workshop("Harrow Lane Workshop")
    now = timezone.now()
    monkeypatch.setattr(factories, "NOW", now)
    monkeypatch.setattr(factories, "TODAY", now.date())
    for name, role in (
        ("clerk", "clerk"),
        ("quality", "quality officer"),
        ("deputy", "quality officer"),
    ):
        factories.make_person(role, name=name)
    at = make_packing()
    Workshop.objects.update(contact=DESK, night_contact=NIGHT)
    boxes = []
    for bags in (at.bags, ()):  # the second is filled from what is open by then
        box = factories.make_open_box(at.size, at.bench, *bags)
        boxes.append(factories.label_box(factories.close_box(box)))
    whom = [
        factories.make_consignee(name)
        for name in ("Eskmoor General", "Thornwick Children's")
    ]
    for box, one in zip(boxes, whom, strict=True):
        factories.send(factories.make_shipment(box, consignee=one))
    return Scene(boxes, whom, at.band_bag.lot.number, live_server.url)


def complain(page: Page, scene: Scene) -> None:
    sign_in(page, scene.url, "clerk")
    page.goto(f"{scene.url}/complaints/new/")
    page.get_by_label("What happened").fill(HAZARD)
    page.get_by_label("somebody could have been hurt").check()
    page.get_by_label("Who says so").fill("Sister, Ward 3")
    page.fill("input[name=about]", scene.lot)
    page.get_by_role("button", name="Take it down").click()
    page.wait_for_url(re.compile("/complaints/F[0-9]"))


def open_a_case(page: Page, scene: Scene) -> Case:
    address = page.url
    sign_in(page, scene.url, "quality")
    page.goto(address)
    page.get_by_role("link", name="Open a case from it").click()
    page.get_by_label("this lot,").check()
    page.get_by_role("button", name="Open the case").click()
    page.wait_for_url(re.compile("/recall/cases/V[0-9]"))
    expect(page.locator(".answer").first).to_contain_text("2 at 2 consignees")
    return Case.objects.get()


def of_case(page: Page, scene: Scene, name: str, of: str = "") -> None:
    """Sign in and open the page of the case, or one behind it."""
    sign_in(page, scene.url, name)
    page.goto(f"{scene.url}/recall/cases/{Case.objects.get()}/{of}")


def call(page: Page, scene: Scene) -> None:
    of_case(page, scene, "clerk")
    page.get_by_role("link", name="Note a call").first.click()
    page.get_by_label("reached", exact=True).check()
    page.get_by_label("Who was reached").fill("Night matron")
    page.get_by_label("The boxes are in quarantine there").check()
    page.get_by_role("button", name="Note the call").click()
    expect(page.locator("#whom + p")).to_contain_text("1 of 2 consignees reached")


def write(page: Page, scene: Scene) -> None:
    of_case(page, scene, "quality")
    page.get_by_role("link", name="Make letters").click()
    page.get_by_label("What is to be done with the product").fill("Set it aside.")
    page.get_by_role("button", name=re.compile("letters")).click()
    expect(page.locator("#whom + p")).to_be_visible()
    text = paper(page, page.get_by_role("link", name="All letters (PDF)"))
    for said in (HAZARD, "Set it aside.", DESK, NIGHT):
        assert said in text.replace("\n", " "), said
    for number in (scene.lot, *map(str, scene.boxes)):
        assert number in bare(text), number


def bare(text: str) -> str:
    """Numbers without the spaces in which they are set."""
    return re.sub(r"\s", "", text)


def paper(page: Page, link) -> str:
    """What stands on a paper behind a link."""
    address = str(link.first.evaluate("e => e.href"))
    answer = page.request.get(address)
    assert answer.headers["content-type"] == "application/pdf"
    pages = pypdf.PdfReader(io.BytesIO(answer.body())).pages
    return "\n".join(each.extract_text() for each in pages)


def answer_by_link(browser: Browser, page: Page, scene: Scene) -> None:
    """The consignee on a phone, whom nobody signed in: it sees its own box alone."""
    code = scene.whom[0].code
    page.goto(f"{scene.url}/recall/cases/{Case.objects.get()}/answers/{code}/link/")
    link = page.locator(".delivery-link").inner_text()
    own = browser.new_context(viewport=PHONE)  # type: ignore[arg-type]
    ward = own.new_page()
    ward.goto(link)
    assert width(ward) <= PHONE["width"]
    expect(ward.locator("body")).to_contain_text(HAZARD)
    shown = bare(ward.locator("body").inner_text())
    assert str(scene.boxes[0].serial) in shown
    assert str(scene.boxes[1].serial) not in shown
    ward.locator("select").first.select_option("used")
    ward.locator("input[name=by]").fill("Night matron")
    ward.get_by_role("button", name="Send these answers").click()
    expect(ward.locator("body")).to_contain_text(
        "Every box that went to you is answered"
    )
    own.close()


def answer_by_call(page: Page, scene: Scene) -> None:
    of_case(page, scene, "clerk", f"answers/{scene.whom[1].code}/")
    page.get_by_label("Who said so").fill("Stores")
    page.get_by_label("Answer", exact=True).select_option("destroyed")
    page.get_by_role("button", name=re.compile("answer|said", re.I)).first.click()
    expect(page.locator("#answers + p")).to_contain_text("Every box is accounted for.")


def check_that_it_reached(page: Page, scene: Scene) -> None:
    of_case(page, scene, "quality", "effectiveness/")
    page.get_by_label("A: every consignee").check()
    page.get_by_role("button", name="Draw whom to ask").click()
    for _one in scene.whom:
        page.get_by_role("link", name="Note what they say").first.click()
        every_yes = page.locator("input[value=yes]")
        expect(every_yes).to_have_count(3)  # the page may still be on its way
        for yes in every_yes.all():
            yes.check()
        page.get_by_label("Who said so").fill("Stores")
        page.get_by_role("button", name="Keep what they said").click()
        page.wait_for_url(re.compile("effectiveness$"))


def close(page: Page, scene: Scene) -> None:
    """Whoever opened it does not close it."""
    of_case(page, scene, "quality", "close/")
    expect(page.get_by_text("You opened this case yourself")).to_be_visible()
    # Its letter was made and never sent, and nobody called there.
    expect(page.get_by_text("no letter was sent")).to_contain_text(scene.whom[1].name)
    expect(page.get_by_role("button", name="Close the case")).to_have_count(0)
    of_case(page, scene, "deputy", "close/")
    page.get_by_label("Cause").fill("Printed too cold")
    page.get_by_label("What was done").fill("All were used or destroyed")
    page.get_by_label("What keeps it from").fill("The bed is warmed for an hour")
    page.get_by_label("Your password again").fill("pass")
    page.get_by_role("button", name="Close the case").click()
    expect(page.locator("#closing + dl")).to_contain_text("Printed too cold")


def test_from_a_complaint_to_the_report_of_a_closed_case(
    page: Page, browser: Browser, scene: Scene
) -> None:
    complain(page, scene)
    case = open_a_case(page, scene)
    call(page, scene)
    write(page, scene)
    answer_by_link(browser, page, scene)
    answer_by_call(page, scene)
    check_that_it_reached(page, scene)
    close(page, scene)
    report = paper(page, page.get_by_role("link", name="Report, as PDF"))
    for said in (
        *(HAZARD, "Night matron", "Printed too cold", "The bed is warmed for an hour"),
        *(one.name for one in scene.whom),
        *("used", "destroyed"),
    ):
        assert said in report, said
    assert case.number in bare(report)
    assert factories.prove() == []
