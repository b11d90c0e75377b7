"""Complaints: taken down once, corrected by notes, decided, followed in a case."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest

from dispatch.complaints import services
from dispatch.complaints.queries import complaints as queries
from dispatch.models import Case, Complaint, ComplaintNote
from dispatch.recall import services as recall
from kitting.domain import numbers
from kitting.domain.errors import LotwardError, OperationKeyReused
from kitting.lots.services.lots import NewBag
from kitting.models import Hold, Operation
from tests import factories
from tests.factories import sign

pytestmark = pytest.mark.django_db

TODAY = factories.NOW.date()


def take(**changes: Any) -> Complaint:
    said = {
        "what": "The visor fogs",
        "severity": "fault",
        "said_by": "Sister on Ward 3",
        "received_on": TODAY,
        "sign": sign(),
        **changes,
    }
    done = services.take_complaint(**said)
    return Complaint.objects.get(number=done.complaint)


def refused(**changes: Any) -> str:
    with pytest.raises(LotwardError) as caught:
        take(**changes)
    assert not Complaint.objects.exists()
    return caught.value.code


@pytest.mark.smoke
def test_three_answers_are_enough() -> None:
    row = take()
    assert numbers.read(row.number).kind is numbers.Kind.COMPLAINT
    assert (row.about, row.box, row.lot, row.consignee) == ("", None, None, None)
    assert queries.waiting() == 1
    assert factories.prove() == []


def test_it_is_about_whatever_the_trace_knows() -> None:
    box = factories.make_labelled_box()
    shipment = factories.send(factories.make_shipment(box))
    lot = box.lines.get().lot
    bag = factories.make_lot(bags=(NewBag(pieces=5),)).bags.get()
    by_box = take(about=f" {str(box.serial).lower()} ")
    assert (by_box.about, by_box.box, by_box.lot) == (box.serial, box, None)
    by_lot = take(about=lot.number)
    assert (by_lot.about, by_lot.box, by_lot.lot) == (lot.number, None, lot)
    by_bag = take(about=bag.number)
    assert (by_bag.about, by_bag.lot) == (bag.number, bag.lot)
    by_shipment = take(about=shipment.number)
    assert (by_shipment.about, by_shipment.lot) == (shipment.number, None)
    assert factories.prove() == []


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"severity": "grave"}, "complaint_severity"),
        ({"what": "  "}, "entry_missing"),
        ({"said_by": ""}, "entry_missing"),
        ({"what": "x" * 1001}, "entry_too_long"),
        ({"about": "K1000001A"}, "number_check_wrong"),
        ({"about": "NOT-A-LOT"}, "nothing_has_number"),
        ({"part_id": 1}, "row_missing"),
        ({"consignee_id": 1}, "row_missing"),
    ],
)
def test_what_cannot_be_is_refused(changes: dict[str, Any], code: str) -> None:
    assert refused(**changes) == code


def test_no_day_is_later_than_today_or_out_of_order() -> None:
    today = TODAY
    later, before = today + timedelta(days=1), today - timedelta(days=1)
    assert refused(received_on=later) == "complaint_day"
    assert refused(received_on=before, happened_on=today) == "complaint_day"
    assert take(received_on=before, happened_on=before).received_on == before


def test_a_place_is_nothing_to_complain_about() -> None:
    place = factories.make_place()
    assert refused(about=place.code) == "complaint_about"


def test_a_part_that_is_not_inside_is_refused() -> None:
    box = factories.make_labelled_box()
    lot = box.lines.get().lot
    other = factories.make_part()
    assert refused(about=str(box.serial), part_id=other.pk) == "complaint_part"
    assert refused(about=lot.number, part_id=other.pk) == "complaint_part"
    assert take(about=str(box.serial), part_id=lot.part_id).part == lot.part
    assert take(part_id=other.pk).part == other


def test_a_note_corrects_and_leaves_what_was_said() -> None:
    row = take()
    services.note_complaint(number=row.number, text=" Ward 4 it was ", sign=sign())
    row.refresh_from_db()
    assert row.what == "The visor fogs"
    [note] = queries.notes_of(row)
    assert (note.text, note.decision) == ("Ward 4 it was", "")
    assert queries.waiting() == 1
    with pytest.raises(LotwardError):
        services.note_complaint(number=row.number, text=" ", sign=sign())
    assert factories.prove() == []


def decide(row: Complaint, decision: str, **changes: Any) -> None:
    said = {"text": "Rubbed with a dry cloth", "sign": sign(), **changes}
    services.decide_complaint(number=row.number, decision=decision, **said)


def test_the_newest_decision_counts_and_the_others_stay() -> None:
    row = take()
    decide(row, "none", reply="Told how to clean it")
    assert queries.waiting() == 0
    assert queries.filtered({}).count() == 0
    decide(row, "traced")
    assert queries.told().get().decision == "traced"  # type: ignore[attr-defined]
    assert ComplaintNote.objects.count() == 2
    for wrong, code in (("", "complaint_decision"), ("case", "complaint_case")):
        with pytest.raises(LotwardError) as caught:
            decide(row, wrong)
        assert caught.value.code == code
    assert factories.prove() == []


def test_several_are_followed_in_one_case() -> None:
    box = factories.make_labelled_box()
    said = {"hazard": "Fogs", "reason": "A ward called"}
    case = recall.open_case(scope=[("box", box.pk)], **said, sign=sign()).case
    rows = [take(), take()]
    for row in rows:
        decide(row, "case", case=case)
    told = Complaint.objects.filter(notes__case__number=case)
    assert sorted(told.values_list("pk", flat=True)) == [row.pk for row in rows]
    with pytest.raises(LotwardError) as caught:
        decide(rows[0], "none", case=case)
    assert caught.value.code == "complaint_case"


def test_a_case_is_opened_from_it_in_one_act() -> None:
    box = factories.make_labelled_box()
    row = take(about=str(box.serial))
    signed = sign()
    said = {"hazard": row.what, "reason": "A ward called", "rated": ""}
    values = {"number": row.number, "scope": [("box", box.pk)], **said}
    done = services.open_case_for(**values, sign=signed)
    assert services.open_case_for(**values, sign=signed) == done
    assert (done.boxes, done.holds) == (1, 1)
    case = Case.objects.get()
    note = ComplaintNote.objects.get()
    assert (note.case, note.decision, note.complaint) == (case, "case", row)
    assert note.operation_id == case.operation_id
    assert Operation.objects.get(pk=case.operation_id).name == "open_case_for"
    assert factories.prove() == []
    with pytest.raises(LotwardError) as caught:
        services.open_case_for(**{**values, "number": "F1"}, sign=sign())
    assert caught.value.code == "case_has_it"
    assert Hold.objects.count() == 1


def test_the_same_act_is_done_once() -> None:
    signed = sign()
    assert take(sign=signed) == take(sign=signed)
    assert Complaint.objects.count() == 1
    with pytest.raises(OperationKeyReused):
        take(sign=signed, what="Something else")
