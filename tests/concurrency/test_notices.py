"""Two people tell the same consignee at the same moment: it is told and replaced once."""

from __future__ import annotations

import time
from collections.abc import Callable
from functools import partial
from typing import Any

import pytest
from django.db import IntegrityError, connection

from dispatch.domain.needs import Asked
from dispatch.models import (
    CallUndone,
    Case,
    CaseCall,
    Consignee,
    Letter,
    LetterBack,
    LetterSent,
    PassedOn,
    Replacement,
    Request,
)
from dispatch.notices.services import calls, letters, replacements
from dispatch.receipts.services import returns
from dispatch.requests.services import cancel_request
from kitting.models import Box
from kitting.models.catalogue import PlaceKind
from tests import factories
from tests.concurrency.threads import Results, at_once, meeting
from tests.dispatch.notices.calling import (
    TEXTS,
    a_case,
    box_at,
    call,
    came_back,
    named_workshop,
    write,
)
from tests.dispatch.notices.test_calls import passed
from tests.dispatch.notices.test_replacements import instead, served_box
from tests.factories import sign

pytestmark = pytest.mark.django_db(transaction=True)

control = pytest.mark.skipif(
    connection.vendor == "sqlite",
    reason="SQLite lets one writer in at a time: the race cannot happen there",
)


@pytest.fixture
def told() -> tuple[Case, Consignee, Box]:
    sign()  # the person who signs is made once, before any thread
    named_workshop()
    box, whom = box_at()
    return a_case(box), whom, box


def twice(act: Callable[..., Any], **values: Any) -> Results:
    return at_once([partial(act, **values, sign=sign()) for _ in range(2)])


def replace_twice(case: Case, whom: Consignee, box: Box) -> Results:
    asked = Asked(sets=0, tier=1, way="telephone")
    to = {"number": case.number, "consignee_id": whom.pk, "box_ids": [box.pk]}
    return twice(replacements.replace_boxes, **to, asked=asked)


def test_a_box_is_replaced_once(told: tuple[Case, Consignee, Box]) -> None:
    (error,) = replace_twice(*told).errors
    assert error.code == "box_replaced"
    assert Replacement.objects.count() == 1
    assert factories.prove() == []


@control
def test_without_the_lock_it_would_be_replaced_twice(
    told: tuple[Case, Consignee, Box], monkeypatch: pytest.MonkeyPatch
) -> None:
    meet, asked = meeting(2), replacements.replaced

    def both_asked(case: Case) -> Any:
        found = asked(case)
        meet()
        return found

    def unlocked(model: Any, ids: Any, *_beside: str) -> Any:
        return model.objects.in_bulk(list(ids))

    monkeypatch.setattr(replacements.locking, "lock_rows", unlocked)
    monkeypatch.setattr(replacements, "replaced", both_asked)
    replace_twice(*told)
    assert Replacement.objects.count() == 2


def test_of_two_letters_made_at_once_neither_says_what_was_told_before(
    told: tuple[Case, Consignee, Box],
) -> None:
    case, whom, _box = told
    to = {"number": case.number, "consignee_ids": [whom.pk]}
    assert twice(letters.make_letters, **to, texts=TEXTS, urgent=True).errors == []
    rows = Letter.objects.order_by("nth").values_list("nth", "boxes__new")
    assert list(rows) == [(1, True), (2, True)]
    assert factories.prove() == []


def pass_on_meanwhile(
    told: tuple[Case, Consignee, Box], monkeypatch: pytest.MonkeyPatch
) -> Results:
    """A box moves on while a letter is made, once that has read who has it."""
    case, whom, box = told
    other = factories.make_consignee()
    meet, asked = meeting(2), letters.addressees

    def slowly(case: Case) -> Any:
        found = asked(case)
        meet()
        time.sleep(0.5)  # the other is done by then, if nothing keeps it
        return found

    def go_on() -> None:
        meet()
        passed(box, other)

    monkeypatch.setattr(letters, "addressees", slowly)
    return at_once([partial(write, case, whom), go_on])


def test_a_letter_says_who_has_a_box_that_moves_on_while_it_is_made(
    told: tuple[Case, Consignee, Box], monkeypatch: pytest.MonkeyPatch
) -> None:
    assert pass_on_meanwhile(told, monkeypatch).errors == []
    assert Letter.objects.get().operation_id < PassedOn.objects.get().operation_id
    assert factories.prove() == []


@control
def test_without_the_gate_a_letter_would_say_what_was_over(
    told: tuple[Case, Consignee, Box], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(letters.locking, "shut_gate", lambda: None)
    assert pass_on_meanwhile(told, monkeypatch).errors == []
    assert [fault.words for fault in factories.prove()] == [
        "Its box was not passed on to them."
    ]


def sending(told: tuple[Case, Consignee, Box]) -> partial[Any]:
    case, whom, _box = told
    [row] = write(case, whom)
    of: dict[str, Any] = {"letter_id": row.pk, "way": "paper", "by": "Driver 2"}
    return partial(letters.send_letter, **of, sign=sign())


def making(told: tuple[Case, Consignee, Box]) -> partial[Any]:
    case, whom, _box = told
    to: dict[str, Any] = {"number": case.number, "consignee_ids": [whom.pk]}
    return partial(letters.make_letters, **to, texts=TEXTS, urgent=True, sign=sign())


def test_a_letter_made_while_one_is_sent_says_what_was_told_by_then(
    told: tuple[Case, Consignee, Box],
) -> None:
    assert at_once([sending(told), making(told)]).errors == []
    assert factories.prove() == []


@control
def test_without_the_lock_it_would_not_know_of_one_on_record_before_it(
    told: tuple[Case, Consignee, Box], monkeypatch: pytest.MonkeyPatch
) -> None:
    acts = [sending(told), making(told)]
    meet, asked = meeting(2), letters.addressees

    def read(case: Case) -> Any:
        found = asked(case)
        meet()
        time.sleep(0.5)  # the other is sent by then
        return found

    monkeypatch.setattr(letters, "addressees", read)
    monkeypatch.setattr(letters, "_lock", lambda *_any: meet())
    assert at_once(acts).errors == []
    assert [fault.words for fault in factories.prove()] == [
        "It names a box as new that is not, or the other way."
    ]


def test_a_note_is_undone_once(told: tuple[Case, Consignee, Box]) -> None:
    case, whom, _box = told
    call(case, whom)
    note = {"call_id": CaseCall.objects.get().pk, "reason": "another ward"}
    (error,) = twice(calls.undo_call, **note).errors
    assert error.code == "call_undone"
    assert CallUndone.objects.count() == 1


def test_a_letter_comes_back_once(told: tuple[Case, Consignee, Box]) -> None:
    case, whom, _box = told
    [row] = write(case, whom)
    letters.send_letter(letter_id=row.pk, way="paper", by="Driver 2", sign=sign())
    sent = {"sending_id": LetterSent.objects.get().pk, "reason": "an old address"}
    (error,) = twice(letters.note_letter_back, **sent).errors
    assert error.code == "letter_back"
    assert LetterBack.objects.count() == 1


@control
def test_without_the_lock_it_would_come_back_twice(
    told: tuple[Case, Consignee, Box], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Only the database keeps it from that then, and says so in no words of ours."""
    case, whom, _box = told
    [row] = write(case, whom)
    letters.send_letter(letter_id=row.pk, way="paper", by="Driver 2", sign=sign())
    meet = meeting(2)
    monkeypatch.setattr(letters, "_lock", lambda *_any: meet())
    sent = {"sending_id": LetterSent.objects.get().pk, "reason": "an old address"}
    (error,) = twice(letters.note_letter_back, **sent).errors
    assert isinstance(error, IntegrityError)


def cancel_and_return(box: Box, number: str) -> None:
    said = {"reason": "They have others", "sign": sign()}
    acts = [
        partial(cancel_request, number=number, **said),
        partial(came_back, box, opened=False),
    ]
    assert at_once(acts).errors == []


@pytest.fixture
def replaced(db: None) -> tuple[Box, str]:
    sign()
    factories.make_place(PlaceKind.QUARANTINE)
    box, whom, _request = served_box()
    return box, instead(a_case(box), whom, box).requests[0]


def test_what_comes_back_while_its_request_is_cancelled_opens_one_or_none(
    replaced: tuple[Box, str],
) -> None:
    cancel_and_return(*replaced)
    assert factories.prove() == []


@control
def test_without_the_lock_it_would_come_back_replaced_by_nothing(
    replaced: tuple[Box, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    meet, save = meeting(2), Request.save

    def unlocked(box: Box, _load: Any) -> bool:
        found = Replacement.standing().filter(listed__box=box).exists()
        meet()
        time.sleep(0.5)  # the other is done by then
        return found

    def saved(row: Request, **values: Any) -> None:
        meet()
        save(row, **values)

    monkeypatch.setattr(returns, "_replaced", unlocked)
    monkeypatch.setattr(Request, "save", saved)
    cancel_and_return(*replaced)
    assert [fault.words for fault in factories.prove()] == [
        "It came back unopened, or not."
    ]
