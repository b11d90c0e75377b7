"""Ways of tampering with the print log and with what is on its way to a printer."""

from __future__ import annotations

from kitting.domain.prints import DESTROYED, Again, Onto
from kitting.models import Link, Print, PrintJob
from kitting.services.printing import print_labels
from tests import factories
from tests.commands.tampering.ways import Named, change, link_of, remove, tamperer
from tests.ledgers import History
from tests.printers import BAG_ROLL, make_printer


def three_copies() -> list[Print]:
    """A place's label, printed three times by the services."""
    place = factories.make_place()
    for reason in ("", "Faded", "Torn"):
        print_labels(
            kind="place",
            numbers=[place.code],
            again=Again(reason, DESTROYED if reason else ""),
            sign=factories.sign(),
        )
    return list(Print.objects.filter(number=place.code).order_by("copy"))


def queued() -> PrintJob:
    make_printer("ipp://printer.example/ipp/print", BAG_ROLL)
    done = print_labels(
        kind="place",
        numbers=[factories.make_place().code],
        onto=Onto(printer="P1"),
        sign=factories.sign(),
    )
    return PrintJob.objects.get(pk=done.job)


@tamperer
def print_deleted(history: History) -> list[Named]:
    _first, second, third = three_copies()
    link = link_of(second)
    remove(second)
    return [("prints", Print, third.pk), ("chain", Link, link)]


@tamperer
def reprint_without_what_became_of_the_first(history: History) -> list[Named]:
    _first, second, _third = three_copies()
    change(second, first=None)
    return [("prints", Print, second.pk), ("chain", Link, link_of(second))]


@tamperer
def print_counted_as_another_copy(history: History) -> list[Named]:
    *_before, third = three_copies()
    change(third, copy=7)
    return [("prints", Print, third.pk), ("chain", Link, link_of(third))]


@tamperer
def document_on_its_way_exchanged(history: History) -> list[Named]:
    job = queued()
    change(job, document=b"%PDF-1.4 another label")
    return [("print jobs", PrintJob, job.pk)]


@tamperer
def document_and_its_hash_exchanged(history: History) -> list[Named]:
    job, other = queued_twice()
    change(job, document=other.document, pdf_sha=other.pdf_sha)
    return [("print jobs", Print, job.prints.get().pk)]


def queued_twice() -> tuple[PrintJob, PrintJob]:
    job = queued()
    done = print_labels(
        kind="place",
        numbers=[factories.make_place().code],
        onto=Onto(printer="P1"),
        sign=factories.sign(),
    )
    return job, PrintJob.objects.get(pk=done.job)
