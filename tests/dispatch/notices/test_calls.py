"""Whom a case reaches, and the calls to them."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from dispatch.consignees.services.consignees import merge_consignees
from dispatch.domain.notices import Heard
from dispatch.models import CallUndone, Case, CaseCall, Consignee
from dispatch.notices.queries.whom import Whom, told, whom
from dispatch.notices.services import calls
from dispatch.recall import services
from dispatch.receipts.services.passing import pass_on
from kitting.domain.errors import Conflict, LotwardError
from kitting.ledger import holds
from kitting.models import Box, Hold
from tests import factories
from tests.dispatch.notices.calling import (
    REACHED,
    There,
    a_case,
    box_at,
    call,
    came_back,
)
from tests.factories import sign, sign_by_another

pytestmark = pytest.mark.django_db

SILENT = Heard("no_answer", said="Left word on the machine")


def passed(box: Box, to: Consignee, **at: datetime) -> None:
    load = box.shipment_boxes.get(live=True)
    pass_on(
        shipment_id=load.shipment_id,
        box_ids=[box.pk],
        consignee_id=to.pk,
        point="",
        told_by="Sister",
        on=factories.TODAY,
        note="",
        sign=sign(**at),
    )


def told_of(case: Case) -> list[tuple[str, list[str], list[str]]]:
    """Each consignee, the boxes that it has, and those that it passed on or gave back."""
    return [
        (
            one.consignee.code,
            [str(box.box) for box in one.there],
            [str(box.box) for box in one.boxes if not box.is_there],
        )
        for one in whom(case)
    ]


def one_of(case: Case, consignee: Consignee) -> Whom:
    return next(one for one in whom(case) if one.consignee == consignee)


@pytest.mark.smoke
def test_a_case_reaches_whoever_has_its_boxes_and_whoever_passed_them_on(
    there: There,
) -> None:
    here = factories.make_labelled_box()
    box, first = there
    other, _same = box_at(first)
    third = factories.make_consignee()
    case = a_case(here, box, other)
    assert told_of(case) == [(first.code, [str(box), str(other)], [])]
    passed(other, third)
    assert sorted(told_of(case)) == sorted(
        [(first.code, [str(box)], [str(other)]), (third.code, [str(other)], [])]
    )
    [away] = [each for each in one_of(case, first).boxes if each.passed_to]
    assert away.passed_to == third
    assert one_of(case, third).boxes[0].passed_by == first
    passed(other, first)  # and back
    assert sorted(told_of(case)) == sorted(
        [(first.code, [str(box), str(other)], []), (third.code, [], [str(other)])]
    )


def test_what_came_back_is_told_of_whoever_had_it(there: There) -> None:
    box, consignee = there
    case = a_case(box)
    came_back(box, opened=False)
    assert told_of(case) == [(consignee.code, [], [str(box)])]
    later = a_case(factories.make_labelled_box())
    assert told_of(later) == []


def test_a_case_on_what_has_not_left_reaches_nobody() -> None:
    loaded = factories.make_labelled_box()
    shipment = factories.make_shipment(loaded)
    case = a_case(loaded)
    assert whom(case) == []
    assert shipment.stage == "open"


def test_one_that_was_merged_is_told_as_the_other(there: There) -> None:
    box, gone = there
    other, stays = box_at()
    case = a_case(box, other)
    call(case, gone)
    what = {"code": gone.code, "into_id": stays.pk, "reason": "the same door"}
    merge_consignees(**what, sign=sign())
    assert told_of(case) == [(stays.code, [str(box), str(other)], [])]
    assert one_of(case, stays).reached is not None
    call(case, gone, SILENT)  # from a page that was open before
    assert CaseCall.objects.latest("pk").consignee == stays


def test_who_was_not_reached_comes_first_and_of_those_whose_call_is_longest_ago() -> (
    None
):
    boxes, people = zip(*(box_at() for _ in range(4)), strict=True)
    case = a_case(*boxes)
    reached, silent, waited, never = people
    call(case, reached)
    call(case, waited, SILENT)
    call(case, silent, Heard("wrong_number"))
    order = [one.consignee for one in whom(case)]
    assert order == [never, waited, silent, reached]
    assert [one.last.outcome for one in whom(case) if one.last] == [
        *("no_answer", "wrong_number", "reached")
    ]
    assert told(case) == [reached]


def test_who_was_reached_before_boxes_were_added_is_called_again(
    there: There, there_too: There
) -> None:
    (first, at), (_other, elsewhere) = there, there_too
    case = a_case(first)
    call(case, at)
    [one] = whom(case)
    assert (one.knows, one.since) == (True, [])
    more, _at = box_at(at)
    services.widen_case(
        number=case.number, scope=[("box", more.pk)], reason="Another", sign=sign()
    )
    [one] = whom(case)
    assert (one.knows, [each.box for each in one.since]) == (False, [more])
    call(case, at)
    assert [one.knows for one in whom(case)] == [True]
    assert elsewhere not in told(case)


def test_who_got_a_box_after_a_call_is_called_about_it(
    there: There, there_too: There
) -> None:
    """Such a call was about others: of this one nobody there was told."""
    (box, giver), (other, taker) = there, there_too
    case = a_case(box, other)
    for one in (giver, taker):
        call(case, one)
    passed(box, taker)
    found = one_of(case, taker)
    assert [each.box for each in found.since] == [box]
    assert found.is_to_call
    call(case, taker)
    passed(box, giver)  # who was told of it while it was there before
    passed(box, taker)
    assert [one.knows for one in whom(case)] == [True, True]


def test_what_is_no_longer_recalled_is_nobodys_to_be_called_about(
    there: There, there_too: There
) -> None:
    (bad, first), (sound, second) = there, there_too
    case = a_case(bad, sound)
    hold = Hold.objects.get(box=sound)
    holds.lift_hold(hold_id=hold.pk, reason="Sound", sign=sign_by_another())
    found = {one.consignee: one for one in whom(case)}
    assert (found[first].is_to_call, found[second].is_to_call) == (True, False)
    assert [each.is_free for each in found[second].boxes] == [True]
    assert [one.consignee for one in whom(case)] == [first, second]


def test_a_note_is_undone_and_stays(there: There) -> None:
    box, consignee = there
    case = a_case(box)
    call(case, consignee)
    note = CaseCall.objects.get()
    assert note.operation.name == "note_call"
    assert (note.spoke_to, note.said, note.stopped) == ("Night sister", "We stop", True)
    back = {"call_id": note.pk, "reason": "It was another ward", "sign": sign()}
    done = calls.undo_call(**back)
    assert (done.case, done.reason) == (case.number, "It was another ward")
    assert calls.undo_call(**back) == done  # sent twice
    one = one_of(case, consignee)
    assert one.calls == (note,)
    assert (one.last, one.reached, told(case)) == (None, None, [])
    with pytest.raises(Conflict) as caught:
        calls.undo_call(**{**back, "sign": sign()})
    assert caught.value.code == "call_undone"
    assert CallUndone.objects.get().reason == "It was another ward"
    assert factories.prove() == []


@pytest.mark.parametrize(
    ("heard", "code"),
    [
        (Heard("reached"), "spoke_to_missing"),
        (Heard("reached", spoke_to=" "), "spoke_to_missing"),
        (replace(REACHED, outcome="no_answer"), "call_reached_nobody"),
        (Heard("no_answer", set_aside=True), "call_reached_nobody"),
        (Heard("wrong_number", told_on=True), "call_reached_nobody"),
        (Heard("engaged"), "entry_missing"),
        (replace(REACHED, said="x" * 201), "entry_too_long"),
        (replace(REACHED, spoke_to="x" * 81), "entry_too_long"),
    ],
)
def test_what_cannot_be_is_refused(heard: Heard, code: str, there: There) -> None:
    box, consignee = there
    case = a_case(box)
    with pytest.raises(LotwardError) as caught:
        call(case, consignee, heard)
    assert caught.value.code == code
    assert not CaseCall.objects.exists()


def test_a_call_to_somebody_whom_the_case_does_not_reach_is_refused(
    there: There,
) -> None:
    box, _consignee = there
    case, other = a_case(box), factories.make_consignee()
    with pytest.raises(LotwardError) as caught:
        call(case, other)
    assert caught.value.code == "case_not_there"


def test_the_database_is_asked_the_same_for_any_number_of_them(there: There) -> None:
    box, consignee = there
    one = a_case(box)
    call(one, consignee)
    boxes, people = zip(*(box_at() for _ in range(3)), strict=True)
    many = a_case(*boxes)
    for each in people:
        call(many, each)
        call(many, each, SILENT)
    passed(boxes[0], people[1])
    asked = []
    for case in (one, many):
        with CaptureQueriesContext(connection) as queries:
            whom(case)
        asked.append(len(queries))
    assert asked[0] == asked[1]
