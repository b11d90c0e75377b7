"""Tampering with recall cases: their acts, their holds, the boxes on their lists."""

from __future__ import annotations

from datetime import timedelta

from django.db.models import F

from dispatch.models import (
    Case,
    CaseBox,
    CaseHold,
    CaseLook,
    Closing,
    ClosingBox,
    EffectAnswer,
    EffectCheck,
    Letter,
    Reply,
    ReplyBox,
    ReplyLink,
    ReplyTerm,
    Sought,
)
from kitting.models import Link
from tests import factories
from tests.commands.tampering.ways import Named, change, link_of, remove, tamperer
from tests.ledgers import History


def _listed(history: History) -> CaseBox:
    return CaseBox.objects.get(box=history.sent)


@tamperer
def case_box_said_to_be_here(history: History) -> list[Named]:
    row = _listed(history)
    change(row, stage="labelled")
    return [("case boxes", CaseBox, row.pk), ("chain", Link, link_of(row))]


@tamperer
def case_box_on_no_shipment(history: History) -> list[Named]:
    row = _listed(history)
    change(row, shipment=None)
    return [("case boxes", CaseBox, row.pk), ("chain", Link, link_of(row))]


@tamperer
def case_box_on_another_shipment(history: History) -> list[Named]:
    row = _listed(history)
    change(row, shipment=history.waiting)
    return [("case boxes", CaseBox, row.pk), ("chain", Link, link_of(row))]


@tamperer
def case_box_at_another_consignee(history: History) -> list[Named]:
    row = _listed(history)
    change(row, consignee=history.waiting.consignee)
    return [("case boxes", CaseBox, row.pk), ("chain", Link, link_of(row))]


@tamperer
def case_box_with_more_inside(history: History) -> list[Named]:
    row = _listed(history)
    change(row, pieces=F("pieces") + 1)
    return [("case lists", CaseBox, row.pk), ("chain", Link, link_of(row))]


@tamperer
def case_box_that_is_another(history: History) -> list[Named]:
    row = _listed(history)
    change(row, box=history.labelled)
    return [("case lists", CaseBox, row.pk), ("case lists", CaseLook, row.look_id)]


@tamperer
def case_box_deleted(history: History) -> list[Named]:
    row = _listed(history)
    remove(row)
    return [("case lists", CaseLook, row.look_id), ("chain", Link, link_of(row))]


@tamperer
def case_box_of_another_look(history: History) -> list[Named]:
    row = _listed(history)
    other = CaseLook.objects.exclude(case=row.case_id).latest("pk")
    change(row, look=other)
    return [("case acts", CaseBox, row.pk), ("chain", Link, link_of(row))]


@tamperer
def case_hold_of_another_act(history: History) -> list[Named]:
    row = CaseHold.objects.get(hold__box=history.voided)
    change(row, operation=CaseHold.objects.earliest("pk").operation)
    return [("case acts", CaseHold, row.pk), ("chain", Link, link_of(row.look))]


@tamperer
def case_look_out_of_its_row(history: History) -> list[Named]:
    row = CaseLook.objects.get(nth=3)
    change(row, nth=5)
    return [("case acts", Case, row.case_id), ("chain", Link, link_of(row))]


@tamperer
def case_opened_by_another_act(history: History) -> list[Named]:
    row = CaseLook.objects.filter(nth=1).earliest("pk")
    change(row, operation=CaseLook.objects.get(nth=2).operation)
    return [
        ("case acts", CaseLook, row.pk),
        ("case acts", CaseHold, row.holds.get().pk),
    ]


@tamperer
def case_with_a_number_of_a_shipment(history: History) -> list[Named]:
    row = Case.objects.latest("pk")
    change(row, number=history.gone.number)
    return [("case acts", Case, row.pk), ("chain", Link, link_of(row))]


@tamperer
def closing_out_of_its_row(history: History) -> list[Named]:
    row = Closing.objects.earliest("pk")
    change(row, nth=4)
    return [("case closings", Case, row.case_id), ("chain", Link, link_of(row))]


@tamperer
def closing_of_another_case(history: History) -> list[Named]:
    row = Closing.objects.latest("pk")
    other = Closing.objects.earliest("pk").case
    change(row, case=other, nth=2)
    [its] = row.boxes.all()
    return [("boxes of closings", ClosingBox, its.pk), ("chain", Link, link_of(row))]


@tamperer
def closing_box_that_is_another(history: History) -> list[Named]:
    row = ClosingBox.objects.get(box=history.sent)
    change(row, box=history.labelled)
    return [
        ("boxes of closings", ClosingBox, row.pk),
        ("boxes of closings", Closing, row.closing_id),
    ]


@tamperer
def closing_box_deleted(history: History) -> list[Named]:
    row = ClosingBox.objects.get(box=history.sent)
    remove(row)
    found = [("boxes of closings", Closing, row.closing_id)]
    return [*found, ("chain", Link, link_of(row))]


@tamperer
def all_that_was_done_while_a_case_was_closed(history: History) -> list[Named]:
    row = Closing.objects.get(boxes__box=history.sent)
    case = row.case_id
    done = [
        CaseLook.objects.filter(case=case),
        EffectAnswer.objects.filter(of__check_of__case=case),
        *(
            model.objects.filter(case=case)
            for model in (Sought, Letter, EffectCheck, Reply, ReplyLink, ReplyTerm)
        ),
    ]
    link = link_of(row)
    change(row, operation=CaseLook.objects.get(case=case, nth=1).operation)
    found = [("case closings", each.model, each.latest("pk").pk) for each in done]
    return [*found, ("chain", Link, link)]


@tamperer
def reply_about_fewer_sets(history: History) -> list[Named]:
    row = ReplyBox.objects.filter(box=history.sent, answer="used").earliest("pk")
    change(row, sets=1)
    return [("replies", Reply, row.reply_id), ("chain", Link, link_of(row))]


@tamperer
def reply_that_was_said_after_its_note(history: History) -> list[Named]:
    row = Reply.objects.earliest("pk")
    change(row, said_at=row.operation.at + timedelta(seconds=1))
    return [("replies", Reply, row.pk), ("chain", Link, link_of(row))]


@tamperer
def reply_without_its_boxes(history: History) -> list[Named]:
    row = Reply.objects.earliest("pk")
    seq = link_of(row)
    for line in row.lines.all():
        remove(line)
    return [("replies", Reply, row.pk), ("chain", Link, seq)]


@tamperer
def reply_box_of_another_act(history: History) -> list[Named]:
    row = ReplyBox.objects.earliest("pk")
    change(row, operation=CaseLook.objects.earliest("pk").operation)
    return [("replies", ReplyBox, row.pk), ("chain", Link, link_of(row.reply))]


@tamperer
def reply_about_a_box_that_is_not_on_the_list(history: History) -> list[Named]:
    row = ReplyBox.objects.earliest("pk")
    change(row, box=history.labelled)
    return [("reply boxes", ReplyBox, row.pk), ("chain", Link, link_of(row.reply))]


@tamperer
def reply_of_another_consignee(history: History) -> list[Named]:
    row = Reply.objects.earliest("pk")
    change(row, consignee=factories.make_consignee())
    line = row.lines.earliest("pk").pk
    return [("reply boxes", ReplyBox, line), ("chain", Link, link_of(row))]


@tamperer
def reply_said_to_have_come_by_a_link(history: History) -> list[Named]:
    row = Reply.objects.filter(way="call").earliest("pk")
    change(row, way="link", nth=1)
    return [("reply links", Reply, row.pk), ("chain", Link, link_of(row))]


@tamperer
def thing_brought_elsewhere(history: History) -> list[Named]:
    row = Sought.objects.get(box=history.voided, into__isnull=False)
    change(row, into=history.line)
    return [("case things", Sought, row.pk), ("chain", Link, link_of(row))]


@tamperer
def thing_found_at_another_place(history: History) -> list[Named]:
    row = Sought.objects.get(bag__isnull=False)
    change(row, at=history.line)
    return [("case things", Sought, row.pk), ("chain", Link, link_of(row))]


@tamperer
def reply_by_another_link(history: History) -> list[Named]:
    row = Reply.objects.get(way="link")
    change(row, nth=1)
    return [("reply links", Reply, row.pk), ("chain", Link, link_of(row))]


@tamperer
def reply_link_out_of_its_row(history: History) -> list[Named]:
    row = ReplyLink.objects.get()
    change(row, nth=2)
    return [("reply links", ReplyLink, row.pk), ("chain", Link, link_of(row))]
