"""Printing labels: drawn, read back from their own pixels, then written in the log.

Drawing and reading back happen before the transaction, which only writes. With a
printer the document becomes a job, which ``manage.py printworker`` takes to it; without
one it is opened as a PDF, made again from the log.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Final

from kitting.domain.errors import Conflict, Missing, WrongStage
from kitting.domain.prints import TEST, Again, Onto
from kitting.domain.stages import BagStage, BoxStage
from kitting.labels.copies import as_copy
from kitting.labels.kinds import Kind
from kitting.labels.press import draw
from kitting.labels.trial import test_page
from kitting.ledger import locking
from kitting.ledger.kept import foreseen
from kitting.ledger.needs import wrong_box
from kitting.ledger.operations import Act, Sign, outcome_of, perform
from kitting.models import Bag, Box, Print
from kitting.printing import fitting
from kitting.printing.queries.labels import Labelled, Subject, labelled_as
from kitting.printing.queries.printers import OF_CODE, printers_for
from kitting.printing.queries.stocks import laid_as
from kitting.printing.steps import MOST_LABELS, OF_BOXES, Ready, log_prints, make_ready

__all__ = [
    "MOST_LABELS",
    "PRINTABLE",
    "Printed",
    "PrintedLabels",
    "document_pdf",
    "onto_bench",
    "print_labels",
    "print_subjects",
    "same_as_printed",
]

PRINTABLE: Final = (BoxStage.CLOSED, BoxStage.LABELLED, BoxStage.LOADED)


@dataclass(frozen=True)
class Printed:
    """A box label that stands in the log."""

    box: str
    copy: int
    pdf_sha: str
    job: int | None = None
    """The print job; None for a PDF."""


@dataclass(frozen=True)
class PrintedLabels:
    """Labels that stand in the log, one document."""

    kind: str
    numbers: list[str]
    labels: int
    copy: int
    """The highest copy among them: over 1 if any is a reprint."""

    pdf_sha: str
    job: int | None


def onto_bench(kind: Kind[Any], bench_id: int | None) -> Onto:
    """Tell where labels of a kind come out at a bench.

    Args:
        kind: The kind.
        bench_id: The bench, or None for a desk.

    Returns:
        The bench's printer with stock for them; a PDF where it has none.
    """
    if bench_id is None:
        return Onto()
    for printer in printers_for(kind, bench_id):
        foreseen([printer], OF_CODE, printer.code)
        return Onto(printer=printer.code)
    return Onto()


def need_printable(box: Box) -> None:
    """Refuse a box whose label must not be printed now.

    Args:
        box: The box, locked.

    Raises:
        WrongStage: If it is open, gone or voided.
    """
    if box.stage not in PRINTABLE:
        raise wrong_box(box, "printed")


def print_labels(
    *,
    kind: str,
    numbers: Sequence[str],
    sign: Sign,
    again: Again | None = None,
    onto: Onto | None = None,
) -> PrintedLabels:
    """Print labels of one kind: of bags, cleared bags, slips of a box, places and so on.

    Args:
        kind: Name of the labels, as in ``queries.labels.LABELLED``.
        numbers: What the labels name, in order, each once.
        sign: Who, when and the operation key.
        again: What reprints among them need.
        onto: Where they are to come out; without it the printer of the bench, or a PDF.

    Returns:
        What was printed and the hash of its PDF; ``document_pdf`` makes it again.

    Raises:
        LotwardError: As in ``print_box_label``; and what the kind refuses: a bag that
            is not cleared has no cleared label, and so on.
    """
    labelled = labelled_as(kind)
    return print_subjects(
        labelled=labelled,
        load=lambda: labelled.compose(numbers),
        sent={"numbers": list(numbers)},
        sign=sign,
        again=again,
        onto=onto,
    )


def print_subjects(
    *,
    labelled: Labelled,
    load: Callable[[], Sequence[Subject]],
    sent: dict[str, Any],
    sign: Sign,
    again: Again | None = None,
    onto: Onto | None = None,
    drawn: Callable[[Ready], None] | None = None,
) -> PrintedLabels:
    """Print labels that the caller composes.

    Args:
        labelled: What they are.
        load: Composes them; asked again under the lock, and what they say must not
            have changed.
        sent: The input as it was sent, for telling a resent act from another one.
        sign: Who, when and the operation key.
        again: What reprints among them need.
        onto: Where they are to come out.
        drawn: Given the document before it is logged: for one that is shown only once.

    Returns:
        What was printed.

    Raises:
        LotwardError: As in ``print_labels``.
    """
    again = again or Again()
    ready = None
    if outcome_of(sign) is None:
        subjects = list(load())
        ready = make_ready(
            labelled, subjects, onto or onto_bench(labelled.kind, sign.bench_id)
        )
        if drawn is not None:
            drawn(ready)

    def work(act: Act) -> PrintedLabels:
        assert ready is not None  # noqa: S101
        _lock(ready)
        if list(load()) != list(ready.subjects):
            raise Conflict("page_is_old")
        job = log_prints(act, ready, again)
        return PrintedLabels(
            kind=labelled.name,
            numbers=[subject.number for subject in ready.subjects],
            labels=ready.labels,
            copy=max(ready.copies),
            pdf_sha=ready.pressed.sha.hex(),
            job=job.pk if job else None,
        )

    return perform(
        "print_labels",
        work,
        PrintedLabels,
        sign,
        kind=labelled.name,
        **sent,
        **what_was_sent(again, onto),
    )


def _lock(ready: Ready) -> None:
    """Lock what is labelled, and refuse what must not be labelled now."""
    bags = [subject.bag_id for subject in ready.subjects if subject.bag_id]
    for bag in locking.lock_rows(Bag, bags).values():
        if bag.stage == BagStage.USED_UP:
            raise WrongStage("bag_has_nothing_to_label", bag=bag.number)
    if ready.labelled.name in OF_BOXES:
        serials = [subject.number for subject in ready.subjects]
        ids = Box.objects.filter(serial__in=serials).values_list("pk", flat=True)
        for box in locking.lock_rows(Box, ids).values():
            need_printable(box)


def what_was_sent(again: Again, onto: Onto | None) -> dict[str, Any]:
    """What was sent beside the thing."""
    where = None if onto is None else vars(onto)
    return {"reason": again.reason, "first": again.first, "onto": where}


def document_pdf(pdf_sha: bytes) -> bytes:
    """Make a logged document again, byte for byte.

    Args:
        pdf_sha: Its hash.

    Returns:
        The PDF.

    Raises:
        Conflict: ``record_has_changed`` if what its labels say is no longer so, or
            another version drew it.
        Missing: If no such document was printed.
    """
    rows = list(Print.objects.filter(pdf_sha=pdf_sha).order_by("operation", "nth"))
    rows = [row for row in rows if row.operation_id == rows[0].operation_id]
    if not rows:
        raise Missing("row_missing", what="print")
    if rows[0].kind == TEST:
        return _same(_test_pdf(rows[0]), pdf_sha, rows[0])
    labelled = labelled_as(rows[0].kind)
    subjects = labelled.compose([row.number for row in rows])
    faces = [
        as_copy(face, row.copy)
        for row, subject in zip(rows, subjects, strict=True)
        for face in subject.labels
    ]
    laid = laid_as(rows[0].paper)
    pdf = draw(labelled.kind, faces, laid.on, start=laid.start).pdf
    return _same(pdf, pdf_sha, rows[0])


def _test_pdf(row: Print) -> bytes:
    on = laid_as(row.paper).on
    # Codes of stocks are capitals; labels are named in small letters.
    if row.number.isupper():
        return test_page(on, name=row.number).pdf
    longest = fitting.longest_of(row.number)
    _of, face = fitting.longest_face(longest)
    return fitting.drawn_test(longest, face, on).pdf


def _same(pdf: bytes, pdf_sha: bytes, row: Print) -> bytes:
    if not same_as_printed(pdf, pdf_sha):
        raise Conflict("record_has_changed", label=row.number)
    return pdf


def same_as_printed(pdf: bytes, pdf_sha: bytes) -> bool:
    """Tell whether a PDF has the bytes of the one that was logged."""
    return hashlib.sha256(pdf).digest() == bytes(pdf_sha)
