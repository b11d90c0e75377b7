"""Letters that do not arrive, bear an old address, or ask for an answer by a day."""

from __future__ import annotations

import re
import uuid
from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from dispatch.labels.letter_words import ENGLISH
from dispatch.labels.letters import letters as drawn
from dispatch.labels.sheets import A4
from dispatch.models import Case, Consignee, Letter, LetterBox, LetterSent, ReplyTerm
from dispatch.notices.queries.letters import notices_of
from dispatch.notices.queries.whom import told, whom
from dispatch.notices.services import letters
from dispatch.recall.queries.cases import due_on
from dispatch.replies.queries.follow_up import late
from kitting.domain.errors import LotwardError
from kitting.ledger import clock
from kitting.models import User, Workshop
from tests import factories
from tests.assertions import text_of
from tests.commands.tampering.ways import change
from tests.databases import guards_away, once_a_module
from tests.dispatch.labels.test_sheets import texts
from tests.dispatch.notices.calling import TEXTS, a_case, box_at, named_workshop, write
from tests.factories import TODAY, sign

pytestmark = pytest.mark.django_db

DUE = TODAY + timedelta(days=3)


@once_a_module
def at() -> tuple[Case, Consignee]:
    named_workshop()
    box, consignee = box_at()
    return a_case(box), consignee


def make(case: Case, *to: Consignee, by: date | None = None) -> list[Letter]:
    done = letters.make_letters(
        number=case.number,
        consignee_ids=[one.pk for one in to],
        texts=TEXTS,
        urgent=False,
        answer_by=by,
        sign=sign(),
    )
    beside = ("operation", "case", "consignee__merged_into")
    return list(Letter.objects.filter(pk__in=done.letters).select_related(*beside))


def send(row: Letter) -> LetterSent:
    letters.send_letter(letter_id=row.pk, way="paper", by="Post", sign=sign())
    return LetterSent.objects.latest("pk")


def back(sending: LetterSent) -> None:
    known = {"sending_id": sending.pk, "reason": "An old address"}
    letters.note_letter_back(**known, sign=sign())  # type: ignore[arg-type]


def test_who_was_sent_a_letter_that_came_back_is_not_told(
    at: tuple[Case, Consignee],
) -> None:
    case, consignee = at
    [row] = write(case, consignee)
    sending = send(row)
    assert told(case) == [consignee]
    back(sending)
    assert told(case) == []
    with pytest.raises(LotwardError) as caught:
        back(sending)
    assert caught.value.code == "letter_back"
    send(row)
    assert told(case) == [consignee]
    assert factories.prove() == []


@pytest.mark.parametrize("way", ["unsent", "back", "gone"])
def test_only_what_reached_somebody_is_told_before(
    way: str, at: tuple[Case, Consignee], client_for: Callable[[User], Client]
) -> None:
    """21 CFR 7.49: who never heard of it reads all of it, and of nothing before it."""
    case, consignee = at
    [first] = write(case, consignee)
    if way != "unsent":
        sending = send(first)
    if way == "back":
        back(sending)
    quality = client_for(factories.make_person("quality officer"))
    form = quality.get(reverse("dispatch:case-write", args=[case.number]))
    ticked = {"unsent": [], "back": [consignee.pk], "gone": []}
    assert form.context["form"]["whom"].initial == ticked[way]
    waits = "a letter to it is still to be sent" in text_of(form)
    assert waits == (way == "unsent")
    [second] = write(case, consignee)
    assert [box.new for box in second.boxes.all()] == [way != "gone"]
    said = drawn(notices_of([second], Workshop.objects.get()), A4)
    text = " ".join(" ".join(page.split()) for page in texts(said))
    adds = [ENGLISH[name] in text for name in ("addition", "repeated_help", "before")]
    assert adds == [way == "gone"] * 3
    send(second)  # what is said of the first later changes nothing that this one says
    if way == "gone":
        back(sending)
    if way == "unsent":
        send(first)
    assert factories.prove() == []


def test_what_bears_an_old_address_is_proposed_anew(
    at: tuple[Case, Consignee], client_for: Callable[[User], Client]
) -> None:
    case, consignee = at
    write(case, consignee)
    Consignee.objects.filter(pk=consignee.pk).update(address="2 New Road\nLodebridge")
    quality = client_for(factories.make_person("quality officer"))
    form = quality.get(reverse("dispatch:case-write", args=[case.number]))
    assert form.context["form"]["whom"].initial == [consignee.pk]


def test_the_proof_finds_a_letter_that_says_otherwise_what_was_told(
    at: tuple[Case, Consignee],
) -> None:
    words = "It names a box as new that is not, or the other way."
    for told_before in (False, True):
        [row] = write(*at)
        named = LetterBox.objects.get(letter=row)
        assert named.new is not told_before
        with guards_away():
            change(named, new=told_before)
        assert words in [fault.words for fault in factories.prove()]
        with guards_away():
            change(named, new=not told_before)
        send(row)


def test_what_was_never_sent_does_not_come_back(at: tuple[Case, Consignee]) -> None:
    [row] = write(*at)
    sending = send(row)
    LetterSent.objects.filter(pk=sending.pk)
    failed = LetterSent(
        letter=row, way="email", to="a@b.example", fault="full", operation=row.operation
    )
    failed.save(force_insert=True)
    with pytest.raises(LotwardError) as caught:
        back(failed)
    assert caught.value.code == "letter_not_gone"


@pytest.mark.smoke
def test_a_clerk_says_that_it_did_not_arrive(
    at: tuple[Case, Consignee], client_for: Callable[[User], Client]
) -> None:
    case, consignee = at
    [row] = write(case, consignee)
    sending = send(row)
    clerk = client_for(factories.make_person("clerk"))
    page = reverse("dispatch:case-detail", args=[case.number])
    address = reverse("dispatch:letter-back", args=[sending.pk])
    assert f'href="{address}"' in clerk.get(page).content.decode()
    question = " ".join(text_of(clerk.get(address)).split())
    [serial] = row.boxes.values_list("listed__box__serial", flat=True)
    assert serial in re.sub(r"[\u2009\u202f]", "", question)
    assert "names 1 box" in question
    assert "cannot be undone" in question
    key = {"op_key": str(uuid.uuid4())}
    assert clerk.post(address, {**key, "reason": ""}).status_code == 422
    said = {**key, "reason": "The post brought it back"}
    for _ in range(2):
        shown = " ".join(text_of(clerk.post(address, said, follow=True)).split())
    assert "did not arrive: The post brought it back" in shown
    assert "A letter was sent to 0." in shown
    assert f'href="{address}"' not in clerk.get(page).content.decode()
    assert Client().get(address).status_code == 302
    for_packers = client_for(factories.make_person("packer"))
    assert for_packers.get(address).status_code == 403
    missing = reverse("dispatch:letter-back", args=[1])
    assert clerk.get(missing).status_code == 404


def test_a_letter_that_bears_an_old_address_says_so_until_it_is_sent(
    at: tuple[Case, Consignee], client_for: Callable[[User], Client]
) -> None:
    case, consignee = at
    [row] = write(case, consignee)
    clerk = client_for(factories.make_person("clerk"))
    pages = [reverse(f"dispatch:case-{name}", args=[case.number]) for name in PAGES]
    for page in pages:
        assert "old address" not in text_of(clerk.get(page))
    Consignee.objects.filter(pk=consignee.pk).update(address="2 New Road\nLodebridge")
    for page in pages:
        assert "old address" in text_of(clerk.get(page))
    send(row)
    [one] = whom(case)
    assert not one.moved
    assert "old address" in text_of(clerk.get(pages[1]))  # it may be sent again


PAGES = ("detail", "send")


@pytest.mark.parametrize(
    ("language", "words"),
    [
        ("en", "Answer by 2026-01-17 at the latest."),
        ("de", "Antworten Sie bitte bis spätestens 2026-01-17."),
    ],
)
def test_the_day_stands_in_the_letter_in_its_language(
    language: str, words: str, at: tuple[Case, Consignee]
) -> None:
    case, consignee = at
    Consignee.objects.filter(pk=consignee.pk).update(language=language)
    workshop = Workshop.objects.get()
    for by, times in ((DUE, 2), (None, 0)):
        said = drawn(notices_of(make(case, consignee, by=by), workshop), A4)
        text = "".join(" ".join(page) for page in texts(said)).split()
        assert "".join(text).count("".join(words.split())) == times
    assert factories.prove() == []


def test_it_is_the_day_of_the_case_and_of_the_reminders(
    at: tuple[Case, Consignee],
) -> None:
    case, consignee = at
    make(case, consignee, by=DUE)
    make(case, consignee, by=DUE)
    make(case, consignee)
    assert ReplyTerm.objects.count() == 1
    assert due_on(case) == DUE
    assert late(DUE) == []
    [one] = late(DUE + timedelta(days=1))
    assert (one.case, one.code, one.boxes) == (case.number, consignee.code, 1)
    make(case, consignee, by=DUE + timedelta(days=4))
    assert late(DUE + timedelta(days=1)) == []
    assert factories.prove() == []


@pytest.mark.parametrize("days", [-1, 91])
def test_a_day_that_is_over_or_too_far_is_refused(
    days: int, at: tuple[Case, Consignee]
) -> None:
    with pytest.raises(LotwardError) as caught:
        make(*at, by=TODAY + timedelta(days=days))
    assert caught.value.code == "answer_day"
    assert not Letter.objects.exists()


def test_the_page_proposes_the_day_of_the_case(
    at: tuple[Case, Consignee], client_for: Callable[[User], Client]
) -> None:
    case, consignee = at
    officer = client_for(factories.make_person("quality officer"))
    address = reverse("dispatch:case-write", args=[case.number])
    sent: dict[str, Any] = {
        "op_key": str(uuid.uuid4()),
        "whom": [consignee.pk],
        "hazard_en": "A visor cracks",
        "to_do_en": "Send it back",
        "answer_by": clock.today().isoformat(),
    }
    assert officer.post(address, {**sent, "answer_by": "soon"}).status_code == 422
    for _ in range(2):
        assert officer.post(address, sent).status_code == 302
    assert Letter.objects.get().answer_by == clock.today()
    shown = officer.get(address).content.decode()
    assert f'value="{clock.today().isoformat()}"' in shown
