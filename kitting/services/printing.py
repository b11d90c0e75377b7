"""Printing a label: drawn, read back from its own pixels, then written in the log."""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict, dataclass, replace

import reportlab

from kitting import locking
from kitting.domain.errors import Conflict, Refused, WrongStage
from kitting.domain.stages import BoxStage
from kitting.labels.box import draw_box
from kitting.labels.box_label import BoxLabel
from kitting.labels.readback import check_box
from kitting.labels.stock import BOX_100X150, Stock
from kitting.models import Box, Print
from kitting.operations import Act, Sign, outcome_of, perform
from kitting.queries.labels import box_label
from kitting.services.steps.boxes import need_reason

RENDERER = f"lotward 1, reportlab {reportlab.__version__}"
PRINTABLE = (BoxStage.CLOSED, BoxStage.LABELLED, BoxStage.LOADED)


@dataclass(frozen=True)
class Printed:
    """A print that stands in the log."""

    box: str
    copy: int
    pdf_sha: str


def print_box_label(
    *, box_id: int, reason: str, sign: Sign, stock: Stock = BOX_100X150
) -> Printed:
    """Draw a box's label, prove it readable, and log the print.

    Drawing and reading back happen before the transaction, which only writes.

    Args:
        box_id: The box; closed, labelled or loaded.
        reason: Why it is printed again; needed from the second print on.
        sign: Who, when and the operation key.
        stock: The labels in the printer.

    Returns:
        Which copy it is and the hash of its PDF; ``label_pdf`` makes the same bytes.

    Raises:
        CodeError: If a number cannot be encoded.
        Conflict: ``page_is_old`` if somebody else printed it meanwhile.
        LotwardError: ``label_unreadable`` if a symbol does not read back.
        Missing: If there is no such box.
        NotFit: If the label does not fit its stock.
        Refused: ``reprint_needs_a_reason``, ``entry_too_long``.
        WrongStage: If the box is open, gone or voided.
        OperationKeyReused: If the key was used for another act.
    """
    # A print that is sent again is answered, even if its label no longer fits.
    drawn = _draw(box_id, stock) if outcome_of(sign) is None else None

    def work(act: Act) -> Printed:
        assert drawn is not None  # noqa: S101
        label, pdf_sha = drawn
        box = locking.lock_row(Box, box_id)
        if box.stage not in PRINTABLE:
            raise WrongStage(
                "box_wrong_stage", box=str(box), stage=box.stage, wanted="printed"
            )
        if _copies(box_id) + 1 != label.copy:
            raise Conflict("page_is_old")
        if label.copy > 1 and not reason.strip():
            raise Refused("reprint_needs_a_reason", box=str(box))
        why = need_reason(reason) if reason.strip() else ""
        act.write(
            Print(
                box=box,
                copy=label.copy,
                data_sha=data_sha(label),
                pdf_sha=pdf_sha,
                renderer=RENDERER,
                reason=why,
            )
        )
        return Printed(box=str(box), copy=label.copy, pdf_sha=pdf_sha.hex())

    sent = {"box": box_id, "reason": reason}
    return perform("print_box_label", sign=sign, sent=sent, gives=Printed, work=work)


def _draw(box_id: int, stock: Stock) -> tuple[BoxLabel, bytes]:
    """The next copy of a box's label, read back, and the hash of its PDF."""
    label = replace(box_label(box_id), copy=_copies(box_id) + 1)
    pdf = draw_box(label, stock)
    check_box(pdf, label, stock)
    return label, hashlib.sha256(pdf).digest()


def _copies(box_id: int) -> int:
    return Print.objects.filter(box=box_id).count()


def data_sha(label: BoxLabel) -> bytes:
    """Hash what a label says, however it is drawn.

    Args:
        label: The label.

    Returns:
        32 bytes.
    """
    text = json.dumps(asdict(label), sort_keys=True, default=str)
    return hashlib.sha256(text.encode()).digest()


def label_pdf(*, box_id: int, copy: int, stock: Stock = BOX_100X150) -> bytes:
    """Make the PDF of a logged print again, byte for byte.

    Args:
        box_id: The box.
        copy: Which print of its label, from 1.
        stock: The labels in the printer.

    Returns:
        The PDF.

    Raises:
        Missing: If there is no such box.
        WrongStage: If the box has no identity yet.
    """
    return draw_box(replace(box_label(box_id), copy=copy), stock)
