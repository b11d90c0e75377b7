"""What consignees say of boxes of a case, and which of these are accounted for."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone

from dispatch.closing.services import reopen_case
from dispatch.consignees.services.consignees import merge_consignees
from dispatch.domain.replies import Line
from dispatch.models import PassedOn, Reply, ReplyBox, Return
from dispatch.receipts.services.returns import record_return, undo_return
from dispatch.replies import services
from dispatch.replies.queries import accounts as queries
from dispatch.replies.queries import follow_up
from dispatch.replies.queries.accounts import unaccounted
from kitting.domain.errors import LotwardError, Missing, WrongStage
from kitting.ledger import holds
from kitting.models import Box, Hold
from kitting.models.catalogue import PlaceKind
from kitting.packing.services.voiding import void_box
from kitting.places.services.places import put_box
from tests import factories
from tests.dispatch.replies.replying import (
    One,
    Two,
    case_on,
    closed,
    lines,
    newest,
    reply,
    sent_to,
)
from tests.factories import sign, sign_by_another

pytestmark = pytest.mark.django_db


def left_of(case: Any) -> dict[str, int]:
    """Sets that are not accounted for, by box."""
    return {each.box.serial: each.unaccounted for each in unaccounted(case)}


def parts_of(case: Any, box: Box) -> dict[str, int]:
    [found] = [each for each in queries.accounts(case) if each.box.box == box.pk]
    return {part.answer: part.sets for part in found.parts}


def refused(code: str, case: Any, whom: Any, *said: Line, **other: Any) -> None:
    before = Reply.objects.count()
    with pytest.raises(LotwardError) as caught:
        reply(case, whom, *said, **other)
    assert caught.value.code == code
    assert Reply.objects.count() == before


def test_a_box_of_which_some_sets_were_used_is_answered_to_the_set(two: Two) -> None:
    whom, (box, other), case = two
    assert left_of(case) == {box.serial: 6, other.serial: 6}
    done = reply(case, whom, *lines(box, used=4, found=2), *lines(other, destroyed=6))
    assert (done.boxes, done.consignee) == (2, whom.name)
    assert parts_of(case, box) == {"used": 4, "found": 2}
    assert left_of(case) == {box.serial: 2}
    assert factories.prove() == []


@pytest.mark.parametrize(
    ("answer", "left"),
    [
        ("used", 0),
        ("destroyed", 0),
        ("found", 6),
        ("quarantine", 6),
        ("returned", 6),
        ("passed", 6),
        ("unknown", 6),
    ],
)
def test_an_answer_accounts_for_a_box_where_nothing_can_come_of_it_any_more(
    answer: str, left: int, one: One
) -> None:
    whom, box, case = one
    reply(case, whom, *lines(box, **{answer: 6}))
    assert sum(left_of(case).values()) == left
    [asked] = queries.by_consignee(queries.accounts(case))
    assert (asked.consignee, asked.to_answer, asked.unaccounted) == (whom, 0, left)


def test_a_new_answer_supersedes_the_one_before_and_both_stay(two: Two) -> None:
    whom, (box, other), case = two
    reply(case, whom, *lines(box, unknown=6), *lines(other, used=6))
    reply(case, whom, *lines(box, quarantine=5, used=1), told_by="The store")
    assert parts_of(case, box) == {"quarantine": 5, "used": 1}
    assert parts_of(case, other) == {"used": 6}
    second, first = queries.replies_of(case, whom)
    assert (first.told_by, second.told_by) == ("M. Ward", "The store")
    assert ReplyBox.objects.filter(box=box).count() == 3
    assert factories.prove() == []


def test_what_comes_back_counts_as_here_and_not_as_on_the_way(one: One) -> None:
    whom, box, case = one
    reply(case, whom, *lines(box, used=2, returned=4))
    cage = factories.make_place(PlaceKind.QUARANTINE)
    back = {"box_id": box.pk, "opened": True, "place_id": cage.pk, "note": "Recall"}
    record_return(**back, sets=3, sign=sign())
    assert parts_of(case, box) == {"used": 2, "returned": 1}
    assert left_of(case) == {box.serial: 1}
    refused("sets_not_all", case, whom, *lines(box, used=6))
    reply(case, whom, *lines(box, used=3))
    assert left_of(case) == {}
    undo_return(return_id=Return.objects.get().pk, reason="Another", sign=sign())
    assert left_of(case) == {box.serial: 3}  # of these nobody says anything
    record_return(**back, sets=6, sign=sign())
    assert left_of(case) == {}
    assert factories.prove() == []


def test_a_box_here_is_accounted_for_in_quarantine_or_voided() -> None:
    boxes = [factories.make_labelled_box() for _ in range(3)]
    case = case_on(*boxes)
    cage = factories.make_place(PlaceKind.QUARANTINE)
    put_box(box_id=boxes[0].pk, place_id=cage.pk, sign=sign())
    void_box(
        box_id=boxes[1].pk,
        reason="Cracks",
        label=str(boxes[1].serial),
        sign=sign_by_another(),
    )
    assert left_of(case) == {boxes[2].serial: 6}
    assert queries.by_consignee(queries.accounts(case)) == ()


def test_what_is_out_of_the_scope_has_not_to_be_accounted_for(two: Two) -> None:
    whom, (box, other), case = two
    hold = Hold.objects.get(box=box)
    holds.lift_hold(hold_id=hold.pk, reason="Sound", sign=sign_by_another())
    assert left_of(case) == {other.serial: 6}
    assert queries.asked_of(case, whom).to_answer == 1


def test_a_whole_box_passed_on_is_that_ones_to_answer_for(two: Two) -> None:
    whom, (box, other), case = two
    next_door = factories.make_consignee()
    to = {"consignee_id": next_door.pk}
    reply(
        case,
        whom,
        Line(box.pk, "passed", 6, **to),
        Line(other.pk, "passed", 2, **to),
        Line(other.pk, "used", 4),
    )
    row = PassedOn.objects.get()
    assert (row.box, row.giver, row.consignee) == (box, whom, next_door)
    first, second = queries.by_consignee(queries.accounts(case))
    assert {(each.consignee, each.to_answer) for each in (first, second)} == {
        (whom, 0),
        (next_door, 1),
    }
    # Of the other box some sets went there: its own consignee goes on answering for it.
    assert left_of(case) == {box.serial: 6, other.serial: 2}
    refused("box_not_theirs", case, whom, *lines(box, used=6))
    reply(case, next_door, *lines(box, used=6))
    assert left_of(case) == {other.serial: 2}
    assert factories.prove() == []


def test_who_was_merged_twice_answers_for_what_was_passed_on_to_the_first() -> None:
    giver, old, new, newest_ = (factories.make_consignee() for _ in range(4))
    [box] = sent_to(giver)
    case = case_on(box)
    reply(case, giver, Line(box.pk, "passed", 6, consignee_id=old.pk))
    for one, into in ((old, new), (new, newest_)):
        merge_consignees(code=one.code, into_id=into.pk, reason="one", sign=sign())
    reply(case, newest_, *lines(box, used=6))
    assert left_of(case) == {}
    closed(case)
    assert factories.prove() == []


def test_what_cannot_be_is_refused_and_nothing_is_written() -> None:
    whom, stranger = factories.make_consignee(), factories.make_consignee()
    [box], [alien] = sent_to(whom), sent_to(whom)
    here = factories.make_labelled_box()
    case = case_on(box, here)
    refused("answers_missing", case, whom)
    refused("sets_not_all", case, whom, *lines(box, used=5))
    refused("sets_not_all", case, whom, *lines(box, used=6, found=1))
    refused("box_not_theirs", case, stranger, *lines(box, used=6))
    refused("box_not_theirs", case, whom, *lines(alien, used=6))
    refused("box_not_theirs", case, whom, *lines(here, used=6))
    refused("whom_missing", case, whom, Line(box.pk, "passed", 6))
    refused("entry_missing", case, whom, *lines(box, used=6), told_by=" ")
    refused("entry_too_long", case, whom, *lines(box, used=6), note="x" * 201)
    refused("reply_way", case, whom, *lines(box, used=6), way="link")
    case.number = "V000000"
    with pytest.raises(Missing):
        reply(case, whom, *lines(box, used=6))


def test_an_answer_that_knew_nothing_of_a_newer_one_is_told(two: Two) -> None:
    whom, (box, other), case = two
    reply(case, whom, *lines(box, used=6))
    refused("answered_since", case, whom, *lines(box, found=6), seen=0)
    reply(case, whom, *lines(other, found=6), seen=0)  # of this one nothing is newer
    reply(case, whom, *lines(box, found=6), seen=newest(case))
    assert parts_of(case, box) == {"found": 6}


def test_the_day_for_answers_is_the_newest_that_was_set() -> None:
    [box] = sent_to()
    case = case_on(box)
    assert follow_up.due_on(case) is None
    for days in (9, 1):
        services.want_replies(number=case.number, days=days, sign=sign())
    due = follow_up.due_on(case)
    assert due is not None
    on_time, late = (
        follow_up.follow_up(case, day) for day in (due, due.replace(year=2999))
    )
    assert on_time.late == ()
    assert [each.to_answer for each in late.late] == [1]
    for days in (-1, 91):
        with pytest.raises(LotwardError) as caught:
            services.want_replies(number=case.number, days=days, sign=sign())
        assert caught.value.code == "reply_days"


def test_nothing_is_said_of_a_case_that_is_closed(one: One) -> None:
    whom, box, case = one
    closed(case, box)
    refused("case_closed", case, whom, *lines(box, used=6))
    with pytest.raises(WrongStage):
        services.want_replies(number=case.number, days=1, sign=sign())


def test_a_case_closes_without_a_reason_once_every_set_has_its_end(two: Two) -> None:
    whom, (box, other), case = two
    next_door = factories.make_consignee()
    reply(case, whom, *lines(box, used=4, returned=2), *lines(other, destroyed=6))
    with pytest.raises(LotwardError) as caught:
        closed(case)
    assert caught.value.params["box"] == box.serial
    assert not caught.value.besides
    cage = factories.make_place(PlaceKind.QUARANTINE)
    back = {"box_id": box.pk, "opened": True, "place_id": cage.pk, "note": "Recall"}
    record_return(**back, sets=2, sign=sign())
    closed(case)
    assert factories.prove() == []
    # What is said of a box, or becomes of it, after that counts for a reopening alone.
    reopen_case(number=case.number, reason="A second ward", sign=sign())
    reply(
        case,
        whom,
        *lines(box, unknown=4),
        Line(other.pk, "passed", 6, "", next_door.pk),
    )
    assert left_of(case) == {box.serial: 4, other.serial: 6}
    assert factories.prove() == []


def test_late_are_those_who_have_boxes_now_of_which_they_say_nothing() -> None:
    whom, next_door, third = (factories.make_consignee() for _ in range(3))
    box, passed, sound, back = sent_to(whom, 4)
    [theirs] = sent_to(third)
    case = case_on(box, passed, sound, back, theirs)
    later = timezone.localdate() + timedelta(days=1000)
    assert follow_up.late(later) == []  # nobody set a day
    services.want_replies(number=case.number, days=1, sign=sign())
    due = follow_up.due_on(case)
    assert due is not None
    assert follow_up.late(due) == []
    assert {(each.code, each.boxes) for each in follow_up.late(later)} == {
        (whom.code, 4),
        (third.code, 1),
    }
    reply(case, whom, Line(passed.pk, "passed", 6, "", next_door.pk))
    cage = factories.make_place(PlaceKind.QUARANTINE)
    came = {"sets": 6, "opened": False, "place_id": cage.pk, "note": "Recall"}
    record_return(box_id=back.pk, **came, sign=sign())
    hold = Hold.objects.get(box=sound)
    holds.lift_hold(hold_id=hold.pk, reason="Sound", sign=sign_by_another())
    reply(case, third, *lines(theirs, found=6))
    merge_consignees(code=whom.code, into_id=third.pk, reason="one", sign=sign())
    found = {(each.code, each.boxes) for each in follow_up.late(later)}
    assert found == {(third.code, 1), (next_door.code, 1)}
    page = follow_up.follow_up(case, later)
    assert {(e.consignee.code, e.to_answer) for e in page.late} == found
    closed(case, box, passed, theirs)
    assert follow_up.late(later) == []
