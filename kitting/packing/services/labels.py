"""Printing the label of a box, and making it again."""

from __future__ import annotations

from dataclasses import replace
from uuid import uuid5

from kitting.domain.prints import Again, Onto
from kitting.labels.copies import as_copy
from kitting.labels.kinds import BOX
from kitting.labels.press import draw
from kitting.ledger import locking
from kitting.ledger.kept import Kept, foresee
from kitting.ledger.operations import Act, Sign, outcome_of, perform
from kitting.ledger.reach import STANDING
from kitting.models import Box, Print
from kitting.packing.labels import BOXES, asked_of, box_subject
from kitting.packing.queries.bench_rows import lines_in
from kitting.packing.steps import refuse_unlabelled_held
from kitting.printing.queries.printers import AT_BENCH
from kitting.printing.queries.prints import LOGGED, SLIPS, newest_slips
from kitting.printing.queries.stocks import laid_as, of_kind
from kitting.printing.services.prints import (
    Printed,
    need_printable,
    onto_bench,
    print_labels,
    what_was_sent,
)
from kitting.printing.steps import log_prints, make_ready


def print_box_label(
    *,
    box_id: int,
    sign: Sign,
    again: Again | None = None,
    onto: Onto | None = None,
    first: bool = False,
) -> Printed:
    """Draw a box's label, prove it readable, and log the print.

    Args:
        box_id: The box; closed, labelled or loaded.
        sign: Who, when and the operation key.
        again: What a reprint needs: why, and what became of the label before.
        onto: Where it is to come out; without it the printer of the bench, or a PDF.
        first: Whether nothing can have been done under the key yet.

    Returns:
        Which copy it is and the hash of its PDF; ``label_pdf`` makes the same bytes.

    Raises:
        CodeError: If a number cannot be encoded.
        Conflict: ``page_is_old`` if somebody else printed it meanwhile.
        LotwardError: ``label_unreadable`` if a symbol does not read back.
        Missing: If there is no such box, printer or stock.
        NotFit: If the label does not fit its stock.
        OnHold: If it waits for its label and a hold reaches it.
        Refused: ``reprint_needs_a_reason``, ``first_label_stays``,
            ``first_label_is_another``, ``entry_too_long``.
        WrongStage: If the box is open, gone or voided.
        OperationKeyReused: If the key was used for another act.
    """
    again = again or Again()
    # A print that is sent again is answered, even if its label no longer fits.
    ready = None
    if first or outcome_of(sign) is None:
        where = onto or onto_bench(BOX, sign.bench_id)
        ready = make_ready(BOXES, [box_subject(box_id)], where)

    def work(act: Act) -> Printed:
        assert ready is not None  # noqa: S101
        locking.wait_for((Box, box_id))
        copies = (LOGGED, BOX.name, *(one.number for one in ready.subjects))
        its = (lines_in, box_id)
        foresee((locking.by_id(Box), box_id), (STANDING,), its, copies)
        box = locking.lock_row(Box, box_id)
        need_printable(box)
        refuse_unlabelled_held(box)
        job = log_prints(act, ready, again)
        return Printed(
            box=str(box),
            copy=ready.copies[0],
            pdf_sha=ready.pressed.sha.hex(),
            job=job.pk if job else None,
        )

    return perform(
        "print_box_label", work, Printed, sign, box=box_id, **what_was_sent(again, onto)
    )


def print_at_bench(
    *, box_id: int, sign: Sign, again: Again | None = None, closed: Box | None = None
) -> Printed:
    """Print a box's label at its bench, and the slips of its sets once, where it has them.

    The slips are an act of their own: where they cannot be printed, the label is.

    Args:
        box_id: The box.
        sign: Who, when, at which bench, and the operation key.
        again: What a reprint of the label needs.
        closed: The box, with size and product, where the act before this one closed it.

    Returns:
        As ``print_box_label``.

    Raises:
        LotwardError: As in ``print_box_label``, of the label or of the slips.
    """
    first = closed is not None
    if closed is not None:
        copies = (LOGGED, BOX.name, str(closed.serial))
        begin = locking.begins_with(sign.by)
        foresee((AT_BENCH, closed.bench_id), copies, *asked_of(closed), *begin)
    printed = print_box_label(box_id=box_id, again=again, sign=sign, first=first)
    box = closed or _BOX(box_id)[0]
    if box.size.product.set_slips and newest_slips(box) is None:
        after = replace(sign, key=uuid5(sign.key, SLIPS))
        print_labels(kind=SLIPS, numbers=[str(box.serial)], sign=after)
    return printed


_BOX = Kept(lambda pk: Box.objects.select_related("size__product").filter(pk=pk))


def label_pdf(*, box_id: int, copy: int) -> bytes:
    """Make the PDF of a box's label, as its log or the box's own size has it.

    Args:
        box_id: The box.
        copy: Which print of its label, from 1; one that is not logged is drawn all the
            same.

    Returns:
        The PDF.

    Raises:
        Missing: If there is no such box.
        WrongStage: If the box has no identity yet.
    """
    logged = Print.objects.filter(box=box_id, copy=copy).first()
    paper = logged.paper if logged is not None else None
    laid = laid_as(paper) if paper else of_kind(BOX)
    faces = [as_copy(face, copy) for face in box_subject(box_id).labels]
    return draw(BOX, faces, laid.on, start=laid.start).pdf
