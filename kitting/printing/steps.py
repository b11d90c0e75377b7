"""Inner steps of printing: a document that is proven readable, its log, its job."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final
from uuid import UUID

import reportlab
from django.db import IntegrityError
from django.db.models import Exists, OuterRef, Q

from kitting.domain.errors import Conflict, Refused
from kitting.domain.prints import DESTROYED, SCANNED, TEST, Again, Onto
from kitting.domain.stages import PRINT_OVER, PrintState
from kitting.labels.copies import as_copy, data_sha
from kitting.labels.kinds import Kind
from kitting.labels.press import press
from kitting.labels.pressed import Pressed
from kitting.ledger import bulk, locking
from kitting.ledger.needs import need_reason
from kitting.ledger.operations import Act
from kitting.models import Box, Print, Printer, PrintJob
from kitting.printing.queries.labels import Labelled, Subject
from kitting.printing.queries.printers import printer_of
from kitting.printing.queries.prints import copies_made, newer_copies
from kitting.printing.queries.stocks import Laid, laid_out, of_kind, stock_of

RENDERER: Final = f"lotward 2, reportlab {reportlab.__version__}"

OF_BOXES: Final = ("box", "set_slip")
"""Labels that are printed only while their box is here."""

FURTHER: Final = "Another copy"
"""Reason of a label of which many may be in use, where it is not the first."""

MOST_LABELS: Final = 240
"""How many labels one act prints: each is read back before the act is written."""


@dataclass(frozen=True)
class Ready:
    """A document that was drawn and read back, not yet in the log."""

    labelled: Labelled
    subjects: tuple[Subject, ...]
    copies: tuple[int, ...]
    """Which copy each subject's label is."""

    laid: Laid
    printer: Printer | None
    pressed: Pressed

    @property
    def labels(self) -> int:
        """How many labels the document has."""
        return sum(len(subject.labels) for subject in self.subjects)


def make_ready(labelled: Labelled, subjects: Sequence[Subject], onto: Onto) -> Ready:
    """Draw labels as their next copies and read each one back.

    Args:
        labelled: What all of them are.
        subjects: What is labelled.
        onto: Where they are to come out.

    Returns:
        The document.

    Raises:
        CodeError: If a number cannot be encoded.
        LotwardError: ``label_unreadable`` or ``bars_uneven`` if a symbol does not
            read back.
        Missing: If there is no such printer or stock.
        NotFit: If a label does not fit its stock.
        Refused: ``nothing_to_print``, ``too_many_labels``, ``start_out_of_range``.
    """
    count = sum(len(subject.labels) for subject in subjects)
    if not count:
        raise Refused("nothing_to_print")
    if count > MOST_LABELS:
        raise Refused("too_many_labels", labels=count, most=MOST_LABELS)
    kind = labelled.kind
    laid, printer = _paper(kind, onto)
    made = copies_made(labelled.name, [subject.number for subject in subjects])
    copies = tuple(made.get(subject.number, 0) + 1 for subject in subjects)
    faces = [
        as_copy(face, copy)
        for subject, copy in zip(subjects, copies, strict=True)
        for face in subject.labels
    ]
    pressed = press(kind, faces, laid.on, start=laid.start)
    return Ready(labelled, tuple(subjects), copies, laid, printer, pressed)


def _paper(kind: Kind[Any], onto: Onto) -> tuple[Laid, Printer | None]:
    if onto.printer:
        printer = printer_of(onto.printer)
        head = (printer.head_dots, printer.head_um)
        return laid_out(printer.stock, head=head, start=onto.start), printer
    if onto.stock:
        return laid_out(stock_of(onto.stock), start=onto.start), None
    return of_kind(kind), None


def log_prints(act: Act, ready: Ready, again: Again) -> PrintJob | None:
    """Write a document into the print log, and queue it where a printer is named.

    Args:
        act: The act in the making; what is labelled is locked.
        ready: The document.
        again: What a reprint needs to be told.

    Returns:
        The job, or None for a PDF.

    Raises:
        Conflict: ``page_is_old`` if one of the labels was printed meanwhile.
        Refused: ``reprint_needs_a_reason``, ``first_label_stays``,
            ``first_label_is_another``, ``entry_too_long``.
    """
    made = copies_made(ready.labelled.name, [one.number for one in ready.subjects])
    now = tuple(made.get(one.number, 0) + 1 for one in ready.subjects)
    if now != ready.copies:
        raise Conflict("page_is_old")
    reason, first = _reprint(ready, again)
    job = _queue(act, ready)
    nth = 1
    rows = []
    for subject, copy in zip(ready.subjects, ready.copies, strict=True):
        faces = [as_copy(face, copy) for face in subject.labels]
        rows.append(
            Print(
                box_id=subject.box_id,
                bag_id=subject.bag_id,
                kind=ready.labelled.name,
                number=subject.number,
                copy=copy,
                nth=nth,
                data_sha=data_sha(faces),
                pdf_sha=ready.pressed.sha,
                renderer=RENDERER,
                paper=ready.laid.text,
                printer=ready.printer,
                job=job,
                reason=reason if copy > 1 else "",
                first=first if copy > 1 else None,
            )
        )
        nth += len(faces)
    try:
        act.write(*rows)
    except IntegrityError as error:
        # Not all that is labelled has a row to lock: somebody was faster.
        raise Conflict("page_is_old") from error
    _stop_replaced(act, ready)
    return job


def _stop_replaced(act: Act, ready: Ready) -> None:
    """Cancel jobs on their way whose labels are all replaced by reprints.

    Two labels of one thing would be out. One that has not left ends here; of one that
    has, the worker asks the printer to give it up.
    """
    name = ready.labelled.name
    pairs = zip(ready.subjects, ready.copies, strict=True)
    again = [subject.number for subject, copy in pairs if copy > 1]
    if not again:
        return
    before = Print.objects.filter(kind=name, number__in=again, job__isnull=False)
    # Of those that failed, one may be sent again in the same instant.
    ended = (PrintState.DONE, PrintState.CANCELLED)
    jobs = PrintJob.objects.exclude(state__in=ended).filter(pk__in=before.values("job"))
    held = Print.objects.filter(job=OuterRef("pk")).filter(~Exists(newer_copies()))
    replaced = [*jobs.filter(~Exists(held)).values_list("pk", flat=True)]
    for job in locking.lock_rows(PrintJob, replaced).values():
        if job.state not in PRINT_OVER:
            stop(job, act.now)


def stop_labels_of(box: Box, now: datetime) -> None:
    """Cancel jobs on their way that have labels and slips of one box and no other.

    Args:
        box: The box, locked; one that is voided.
        now: The moment.
    """
    stop_jobs(Q(kind__in=OF_BOXES, number=box.serial), now)


def stop_jobs(of: Q, now: datetime) -> None:
    """Cancel jobs on their way that have nothing but labels which must not come out.

    Args:
        of: Which labels, as rows of the print log.
        now: The moment.
    """
    its = Print.objects.filter(of)
    others = Print.objects.filter(job=OuterRef("pk")).exclude(of)
    jobs = PrintJob.objects.exclude(state__in=PRINT_OVER).filter(
        pk__in=its.values("job")
    )
    alone = [*jobs.filter(~Exists(others)).values_list("pk", flat=True)]
    locked = locking.lock_rows(PrintJob, alone).values()
    for job in [one for one in locked if one.state not in PRINT_OVER]:
        stop(job, now)


def stop(job: PrintJob, now: datetime) -> None:
    """Cancel a job that is not over, or ask for it to be given up if it has left.

    Args:
        job: The job, locked.
        now: The moment.
    """
    job.stop_asked = True
    if job.state == PrintState.QUEUED:
        job.state, job.document, job.ended_at = PrintState.CANCELLED, None, now
    job.save(update_fields=["stop_asked", "state", "document", "ended_at"])


def _reprint(ready: Ready, again: Again) -> tuple[str, str | None]:
    """The reason of a reprint, and what became of the label before."""
    repeated = [
        subject
        for subject, copy in zip(ready.subjects, ready.copies, strict=True)
        if copy > 1
    ]
    if not repeated:
        return "", None
    if ready.labelled.kind.many:
        return FURTHER, None
    if not again.reason.strip():
        raise Refused("reprint_needs_a_reason", label=repeated[0].number)
    reason = need_reason(again.reason)
    told = again.first.strip()
    if not told:
        raise Refused("first_label_stays", label=repeated[0].number)
    if told == DESTROYED:
        return reason, DESTROYED
    symbols = ready.labelled.kind.symbols
    for subject in repeated:
        carried = {symbol.data for face in subject.labels for symbol in symbols(face)}
        if _bare(told) not in carried | {subject.number}:
            raise Refused("first_label_is_another", label=subject.number)
    return reason, SCANNED


def _bare(scanned: str) -> str:
    """What was scanned, without the symbology identifier some scanners send."""
    return scanned[3:] if scanned[:1] == "]" else scanned


def _queue(act: Act, ready: Ready) -> PrintJob | None:
    if ready.printer is None:
        return None
    numbers = [subject.number for subject in ready.subjects]
    title = numbers[0] if len(numbers) == 1 else f"{numbers[0]} … {numbers[-1]}"
    return queue_document(
        act,
        ready.pressed,
        ready.laid,
        printer=ready.printer,
        kind=ready.labelled.name,
        title=title,
        labels=ready.labels,
    )


TESTED_AGAIN: Final = "Test page"
"""Reason of a test page that is not the first of its kind: it replaces none."""


@dataclass(frozen=True)
class Tried:
    """A test page on its way to a printer."""

    printer: str
    number: str
    """As the print log has it: the code of a stock, or what label it shows."""
    copy: int
    pdf_sha: str
    job: int


def send_test(
    act: Act,
    pressed: Pressed,
    laid: Laid,
    *,
    printer: Printer,
    number: str,
    data_sha: bytes,
) -> Tried:
    """Log a test page and send it to a printer.

    Args:
        act: The act in the making; it holds a lock against another one of this number.
        pressed: The document.
        laid: What it was laid out on.
        printer: Where it is to come out.
        number: What it is of, as the print log has it.
        data_sha: Hash of what it says.

    Returns:
        What is on its way; ``services.prints.document_pdf`` makes the same bytes.
    """
    job = queue_document(
        act, pressed, laid, printer=printer, kind=TEST, title=number, labels=1
    )
    copy = copies_made(TEST, [number]).get(number, 0) + 1
    act.write(
        Print(
            kind=TEST,
            number=number,
            copy=copy,
            nth=1,
            data_sha=data_sha,
            pdf_sha=pressed.sha,
            renderer=RENDERER,
            paper=laid.text,
            printer=printer,
            job=job,
            reason=TESTED_AGAIN if copy > 1 else "",
        )
    )
    return Tried(printer.code, number, copy, pressed.sha.hex(), job.pk)


def queue_document(
    act: Act,
    pressed: Pressed,
    laid: Laid,
    *,
    printer: Printer,
    kind: str,
    title: str,
    labels: int,
) -> PrintJob:
    """Make a print job of a document.

    Args:
        act: The act in the making.
        pressed: The document.
        laid: What it was laid out on.
        printer: Where it is to come out.
        kind: What it is, as the print log has it.
        title: What people call it.
        labels: How many labels it has.

    Returns:
        The job, named after the operation key: the printer's own list shows it by that.
    """
    job = PrintJob(
        printer=printer,
        name=f"lotward-{UUID(bytes=bytes(act.operation.key))}",
        kind=kind,
        title=title,
        labels=labels,
        width_um=laid.page_um[0],
        height_um=laid.page_um[1],
        document=pressed.pdf,
        pdf_sha=pressed.sha,
        asked_at=act.now,
        asked_by=act.operation.by_name,
    )
    bulk.insert([job], last=True)
    return job
