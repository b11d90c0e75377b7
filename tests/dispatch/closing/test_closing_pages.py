"""The pages on which a case is closed and reopened, and its report on paper."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from typing import Any

import pypdfium2
import pytest
from django.test import Client
from django.urls import reverse

from dispatch.domain.replies import Line
from dispatch.models import Case, Closing, ClosingBox, ShipmentBox
from dispatch.recall import services
from dispatch.replies.services import record_reply
from kitting.models import Box, User, Workshop
from tests import factories
from tests.assertions import text_of
from tests.dispatch.closing.test_closings import DECIDED, a_case, close, mark, sent_box
from tests.factories import sign

pytestmark = pytest.mark.django_db


@pytest.fixture
def officer() -> User:
    return factories.make_person("quality officer")


@pytest.fixture
def quality(client_for: Callable[[User], Client], officer: User) -> Client:
    officer.set_password("harrow lane 2026")
    officer.save()
    return client_for(officer)


def said(answer: Any) -> str:
    return " ".join(text_of(answer).split())


def page_of(case: str, name: str = "case-detail") -> str:
    return reverse(f"dispatch:{name}", args=[case])


def decided(case: str, **more: str) -> dict[str, str]:
    key, password = str(uuid.uuid4()), "harrow lane 2026"
    asked = {"op_key": key, "seen": mark(case), "password": password}
    return {**asked, **DECIDED, **more}


def whom(box: Box) -> int:
    load = ShipmentBox.objects.select_related("shipment").get(box=box, live=True)
    return load.shipment.consignee_id


@pytest.mark.smoke
def test_a_case_is_closed_with_one_reason_for_all_that_somebody_has(
    quality: Client,
) -> None:
    first, second = factories.make_labelled_box(), factories.make_labelled_box()
    factories.send(factories.make_shipment(first, second))
    other = sent_box()
    case = a_case(first, second, other)
    shown = said(quality.get(page_of(case, "case-close")))
    assert "2 boxes not accounted for" in shown
    burnt = {f"all-{whom(first)}": "burnt", f"box-{second.pk}": "lost"}
    answer = quality.post(page_of(case, "case-close"), decided(case, **burnt))
    assert answer.status_code == 422
    assert said(answer).count("It is not known where box") == 1
    assert not Closing.objects.exists()
    burnt[f"all-{whom(other)}"] = "the ward is closed"
    answer = quality.post(
        page_of(case, "case-close"), decided(case, **burnt), follow=True
    )
    assert f"Case {case} is closed." in said(answer)
    assert "What it holds stays held" in said(answer)
    reasons = dict(ClosingBox.objects.values_list("box", "reason"))
    assert reasons == {
        first.pk: "burnt",
        second.pk: "lost",
        other.pk: "the ward is closed",
    }
    for gone in ("case-widen", "case-look", "case-close"):
        assert page_of(case, gone) not in answer.content.decode()


def test_what_consignees_said_needs_no_reason_where_nothing_can_come(
    quality: Client, recalled: tuple[Box, str]
) -> None:
    box, case = recalled
    record_reply(
        number=case,
        consignee_id=whom(box),
        way="call",
        told_by="M. Ward",
        note="",
        lines=[Line(box.pk, "destroyed", box.size.sets)],
        seen=0,
        sign=sign(),
    )
    assert "Every box of its list is accounted for." in said(
        quality.get(page_of(case, "case-close"))
    )
    quality.post(page_of(case, "case-close"), decided(case))
    assert Closing.objects.count() == 1
    assert factories.prove() == []


def test_who_opened_it_is_told_that_another_closes_it(
    quality: Client, officer: User
) -> None:
    Workshop.objects.update(two_people=True)
    box = sent_box()
    said_of = {"hazard": "Cracks", "reason": "A ward called"}
    scope = [("box", box.pk)]
    case = services.open_case(scope=scope, **said_of, sign=sign(by=officer)).case  # type: ignore[arg-type]
    shown = said(quality.get(page_of(case, "case-close")))
    assert "You opened this case yourself." in shown
    lost = {f"all-{whom(box)}": "lost"}
    answer = quality.post(page_of(case, "case-close"), decided(case, **lost))
    assert answer.status_code == 422
    assert not Closing.objects.exists()


@pytest.mark.parametrize("lacking", [*DECIDED, "password", "seen"])
def test_nothing_is_closed_without_words_or_password(
    quality: Client, lacking: str, recalled: tuple[Box, str]
) -> None:
    box, case = recalled
    lost = {f"all-{whom(box)}": "lost", lacking: ""}
    answer = quality.post(page_of(case, "case-close"), decided(case, **lost))
    assert answer.status_code == 422
    assert not Closing.objects.exists()


@pytest.mark.smoke
def test_a_page_that_is_older_than_the_case_closes_nothing(
    quality: Client, recalled: tuple[Box, str]
) -> None:
    box, case = recalled
    lost = decided(case, **{f"all-{whom(box)}": "lost"})
    services.look_again(number=case, sign=sign())
    answer = quality.post(page_of(case, "case-close"), lost)
    assert answer.status_code == 409
    assert "changed since this page was read" in said(answer)


def test_a_case_is_reopened_with_the_reason(
    quality: Client, recalled: tuple[Box, str]
) -> None:
    box, case = recalled
    close(case, (box.pk, "lost"))
    assert quality.get(page_of(case, "case-close")).status_code == 302
    page = page_of(case, "case-reopen")
    sent = {"op_key": str(uuid.uuid4()), "reason": ""}
    assert quality.post(page, sent).status_code == 422
    answer = quality.post(page, {**sent, "reason": "Another ward called"}, follow=True)
    assert f"Case {case} is open again." in said(answer)
    assert "Another ward called" in said(answer)
    assert page_of(case, "case-widen") in answer.content.decode()


def report(client: Client, case: str) -> list[str]:
    answer = client.get(page_of(case, "case-report"))
    assert answer.headers["Content-Type"] == "application/pdf"
    pages = pypdfium2.PdfDocument(answer.content)
    return [bare(page.get_textpage().get_text_bounded()) for page in pages]


def bare(text: str) -> str:
    """A text without any blank: those between the groups of numbers are narrow."""
    return "".join(text.split())


def test_the_report_holds_all_that_is_on_record(quality: Client) -> None:
    boxes = [factories.make_labelled_box() for _ in range(12)]
    factories.send(factories.make_shipment(*boxes))
    case = a_case(*boxes)
    text = "".join(report(quality, case))
    assert bare("Not closed, as of") in text
    assert bare("None yet: the case is not closed.") in text
    close(case, *((box.pk, "the store was emptied") for box in boxes))
    pages = report(quality, case)
    text = "".join(pages)
    assert bare("Not closed") not in text
    for words in (*DECIDED.values(), "A visor cracks", "A ward called"):
        assert bare(words) in text
    for box in boxes:
        assert str(box.serial) in text
    assert text.count(bare("Closed without it: the store was emptied")) == 12
    assert bare("Case opened") in text
    assert bare("Case closed") in text
    assert len(pages) > 1
    for nth, page in enumerate(pages, start=1):
        assert bare(f"Page {nth} of {len(pages)}") in page
        assert bare("Newest link") in page


def test_these_pages_are_for_who_may_see_cases(
    client: Client, client_for: Callable[[User], Client], outsider: User
) -> None:
    case = a_case(sent_box())
    clerk, stranger = client_for(factories.make_person("clerk")), client_for(outsider)
    for name in ("case-close", "case-reopen", "case-report"):
        address = page_of(case, name)
        assert client.get(address).status_code == 302
        assert stranger.get(address).status_code == 403
        assert clerk.get(address).status_code == (200 if name == "case-report" else 403)
    manager = client_for(factories.make_person("manager"))
    assert manager.get(page_of("V9999999Z", "case-close")).status_code == 404
    assert Case.objects.count() == 1


def test_nothing_that_somebody_wrote_keeps_the_report_from_being_drawn(
    quality: Client,
) -> None:
    box = sent_box()
    case = services.open_case(
        scope=[("box", box.pk)],
        hazard="It cracks\nand\tsplinters",
        reason="A ward called",
        sign=sign(),
    ).case
    record_reply(
        number=case,
        consignee_id=whom(box),
        lines=[Line(box.pk, "used", box.size.sets)],
        way="call",
        told_by="Sister \N{THUMBS UP SIGN} \N{ETHIOPIC SYLLABLE HA}",
        note="\N{HEBREW LETTER ALEF}",
        seen=0,
        sign=sign(),
    )
    text = "".join(report(quality, case))
    assert bare("It cracks and splinters") in text
    assert bare("Sister ? ?") in text
