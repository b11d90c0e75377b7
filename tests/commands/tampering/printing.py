"""Ways of tampering with the print log and with what is on its way to a printer."""

from __future__ import annotations

from kitting.models import Link, Print, PrintJob
from tests.commands.tampering.ways import Named, change, link_of, remove, tamperer
from tests.ledgers import History


def copy_of_a_place(copy: int) -> Print:
    return Print.objects.get(kind="place", copy=copy)


@tamperer
def copy_deleted(history: History) -> list[Named]:
    second = copy_of_a_place(2)
    link = link_of(second)
    remove(second)
    return [("prints", Print, copy_of_a_place(3).pk), ("chain", Link, link)]


@tamperer
def reprint_without_what_became_of_the_first(history: History) -> list[Named]:
    second = copy_of_a_place(2)
    change(second, first=None)
    return [("prints", Print, second.pk), ("chain", Link, link_of(second))]


@tamperer
def print_counted_as_another_copy(history: History) -> list[Named]:
    third = copy_of_a_place(3)
    change(third, copy=7)
    return [("prints", Print, third.pk), ("chain", Link, link_of(third))]


@tamperer
def document_and_its_hash_exchanged(history: History) -> list[Named]:
    job, other = PrintJob.objects.order_by("pk")
    change(job, document=other.document, pdf_sha=other.pdf_sha)
    return [("print jobs", Print, job.prints.get().pk)]
