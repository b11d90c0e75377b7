"""Tampering with what is said of those who were told of a case."""

from __future__ import annotations

from datetime import timedelta

from dispatch.models import (
    CallUndone,
    Case,
    CaseCall,
    Consignee,
    Letter,
    LetterBack,
    LetterBox,
    LetterSent,
    Replacement,
    Shipment,
)
from kitting.models import Link, Lot
from tests.commands.tampering.ways import Named, change, link_of, remove, tamperer
from tests.ledgers import History


@tamperer
def call_to_whom_the_case_does_not_reach(history: History) -> list[Named]:
    row = CaseCall.objects.latest("pk")
    change(row, consignee=Consignee.objects.create(code="ELSE", name="Else"))
    return [("case calls", CaseCall, row.pk), ("chain", Link, link_of(row))]


@tamperer
def call_that_reached_another(history: History) -> list[Named]:
    row = CaseCall.objects.latest("pk")
    change(row, spoke_to="Somebody else")
    return [("chain", Link, link_of(row))]


@tamperer
def call_before_its_case(history: History) -> list[Named]:
    row = CaseCall.objects.latest("pk")
    change(row, called_at=row.case.operation.at - timedelta(minutes=1))
    return [("case calls", CaseCall, row.pk), ("chain", Link, link_of(row))]


@tamperer
def call_after_its_note(history: History) -> list[Named]:
    row = CaseCall.objects.latest("pk")
    change(row, called_at=row.operation.at + timedelta(seconds=1))
    return [("case calls", CaseCall, row.pk)]


@tamperer
def call_that_is_good_again(history: History) -> list[Named]:
    row = CallUndone.objects.latest("pk")
    remove(row)
    return [("chain", Link, link_of(row))]


@tamperer
def letter_to_whom_the_case_does_not_reach(history: History) -> list[Named]:
    row = Letter.objects.latest("pk")
    change(row, consignee=Consignee.objects.create(code="ELSE", name="Else"))
    return [("case letters", Letter, row.pk), ("chain", Link, link_of(row))]


@tamperer
def letter_that_says_something_else(history: History) -> list[Named]:
    row = Letter.objects.latest("pk")
    change(row, to_do="Use them up")
    return [("chain", Link, link_of(row))]


@tamperer
def letter_that_names_a_box_of_another_list(history: History) -> list[Named]:
    row = LetterBox.objects.latest("pk")
    other = Case.objects.exclude(pk=row.letter.case_id).latest("pk")
    change(row.letter, case=other)
    return [("case letters", LetterBox, row.pk), ("chain", Link, link_of(row))]


@tamperer
def letter_that_names_an_old_box_as_new(history: History) -> list[Named]:
    row = LetterBox.objects.latest("pk")
    change(row, new=True)
    return [("case letters", LetterBox, row.pk), ("chain", Link, link_of(row))]


@tamperer
def letter_that_names_another_shipment(history: History) -> list[Named]:
    row = LetterBox.objects.latest("pk")
    change(row, shipment=Shipment.objects.exclude(pk=row.shipment_id).latest("pk"))
    return [("boxes in letters", LetterBox, row.pk), ("chain", Link, link_of(row))]


@tamperer
def letter_that_names_another_to_whom_it_was_passed_on(history: History) -> list[Named]:
    row = LetterBox.objects.latest("pk")
    change(row, passed_to=Consignee.objects.create(code="ELSE", name="Else"))
    return [("boxes in letters", LetterBox, row.pk), ("chain", Link, link_of(row))]


@tamperer
def letter_that_names_a_lot_less(history: History) -> list[Named]:
    row = LetterBox.objects.latest("pk")
    change(row, lots=row.lots.splitlines()[0])
    return [("boxes in letters", LetterBox, row.pk), ("chain", Link, link_of(row))]


@tamperer
def letter_that_names_a_lot_more(history: History) -> list[Named]:
    row = LetterBox.objects.latest("pk")
    inside = row.listed.box.lines.values("lot")
    other = Lot.objects.exclude(pk__in=inside).latest("pk")
    change(row, lots=f"{row.lots}\n{other.number}")
    return [("boxes in letters", LetterBox, row.pk)]


@tamperer
def letter_that_went_elsewhere(history: History) -> list[Named]:
    row = LetterSent.objects.latest("pk")
    change(row, to="nobody")
    return [("chain", Link, link_of(row))]


@tamperer
def letter_that_came_back_but_was_not_sent(history: History) -> list[Named]:
    row = LetterBack.objects.get()
    change(row.sending, fault="no such box")
    return [("case letters", LetterBack, row.pk)]


@tamperer
def letter_that_wants_an_answer_before_it_was_written(history: History) -> list[Named]:
    row = Letter.objects.latest("pk")
    change(row, answer_by=row.answer_by - timedelta(days=9))
    return [("case letters", Letter, row.pk), ("chain", Link, link_of(row))]


@tamperer
def replacement_that_never_was(history: History) -> list[Named]:
    row = Replacement.objects.latest("pk")
    remove(row)
    return [("chain", Link, link_of(row))]


@tamperer
def replacement_by_a_request_of_another(history: History) -> list[Named]:
    row = Replacement.objects.latest("pk")
    change(row.request, consignee=Consignee.objects.create(code="ELSE", name="Else"))
    return [("replacements", Replacement, row.pk)]


@tamperer
def replacement_of_a_smaller_box(history: History) -> list[Named]:
    row = Replacement.objects.latest("pk")
    change(row.listed.box.size, sets=2)
    return [("replacements", Replacement, row.pk)]
