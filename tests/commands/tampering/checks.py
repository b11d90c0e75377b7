"""Checks, their plans, and what became of rejected bags, bent past the services."""

from __future__ import annotations

from kitting.models import Check, CheckedClass, Defect, Disposition, Movement, Switching
from tests.commands.tampering.ways import Named, change, link_of, remove, tamperer
from tests.ledgers import History


@tamperer
def accepted_against_its_plan(history: History) -> list[Named]:
    row = Check.objects.get(found=9)
    change(row, verdict="accepted")
    return [("check plans", Check, row.pk), ("chain", "kitting_link", link_of(row))]


@tamperer
def bad_pieces_forgotten(history: History) -> list[Named]:
    row = CheckedClass.objects.get(found=9)
    change(row, found=0)
    return [("check plans", Check, row.check_made_id)]


@tamperer
def reduced_without_a_decision(history: History) -> list[Named]:
    row = CheckedClass.objects.get(severity="reduced")
    remove(Switching.objects.get())
    return [("switching", CheckedClass, row.pk)]


@tamperer
def reduced_too_early(history: History) -> list[Named]:
    row, one = Switching.objects.get(), CheckedClass.objects.get(severity="reduced")
    earlier = CheckedClass.objects.filter(
        check_made__lot__part=row.part, defect_class="major", pk__lt=one.pk
    )
    change(earlier.order_by("pk")[4], found=2)
    return [("switching", Switching, row.pk)]


@tamperer
def inspected_more_leniently_than_due(history: History) -> list[Named]:
    part = Switching.objects.get().part
    row = CheckedClass.objects.filter(
        check_made__lot__part=part, defect_class="minor"
    ).last()
    assert row is not None
    change(row, severity="reduced")
    return [("switching", CheckedClass, row.pk)]


@tamperer
def passed_although_its_reduced_plan_rejects(history: History) -> list[Named]:
    row = CheckedClass.objects.get(severity="reduced")
    change(row, reject=1)
    return [("check plans", Check, row.check_made_id)]


@tamperer
def more_defects_than_found(history: History) -> list[Named]:
    row = Defect.objects.get()
    change(row, pieces=10)
    return [("check plans", Check, row.check_made_id)]


@tamperer
def sorted_better_than_it_was(history: History) -> list[Named]:
    row = Disposition.objects.get(fate="sorted")
    change(row, good=25, bad=0)
    return [("rejected bags", Disposition, row.pk)]


@tamperer
def accepted_instead_of_sent_back(history: History) -> list[Named]:
    row = Disposition.objects.get(fate="sent_back")
    change(row, fate="concession")
    return [("rejected bags", Disposition, row.pk)]


@tamperer
def brought_back_without_a_word(history: History) -> list[Named]:
    row = Disposition.objects.get(fate="concession")
    remove(row)
    return [("rejected bags", Disposition, None)]


@tamperer
def sent_back_fewer(history: History) -> list[Named]:
    row = Movement.objects.get(kind="sent_back")
    change(row, pieces=24, delta=-24, after=1)
    return [("bags", Movement, row.pk), ("lots", "kitting_lot", row.lot_id)]


@tamperer
def set_back_and_on_again_without_a_checker(history: History) -> list[Named]:
    """As if a count had brought it on."""
    back = Movement.objects.get(kind="set_back", stage_after="arrived")
    row = Movement.objects.get(bag=back.bag_id, kind="accepted")
    change(row.operation, name="count_again")
    return [
        ("bags set back", Movement, row.pk),
        ("chain", "kitting_link", link_of(row)),
    ]
