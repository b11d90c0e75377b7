"""What a label says, read from the record."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

from kitting.clock import day_of
from kitting.domain.errors import Missing, WrongStage
from kitting.labels.box_label import BoxLabel
from kitting.models import Box, BoxLine, Workshop

if TYPE_CHECKING:
    from collections.abc import Sequence

DEMO_MARK = "DEMONSTRATION – NOT FOR USE"


def box_label(box_id: int) -> BoxLabel:
    """The label of a box that has its identity.

    Args:
        box_id: The box.

    Returns:
        Everything that is printed, as its first copy.

    Raises:
        Missing: If there is no such box.
        WrongStage: ``box_wrong_stage`` if it is still open.
    """
    box = (
        Box.objects.select_related("size__product", "recipe").filter(pk=box_id).first()
    )
    if box is None:
        raise Missing("row_missing", what="box")
    if box.serial is None or box.packed_on is None:
        raise WrongStage(
            "box_wrong_stage", box=str(box), stage=box.stage, wanted="printed"
        )
    workshop = Workshop.objects.get(pk=1)
    product = box.size.product
    lines = list(
        BoxLine.objects.filter(box=box)
        .select_related("lot__part", "run__protocol")
        .order_by("lot__part__code", "lot__number", "pk")
    )
    when, words = _disinfected(lines, workshop)
    return BoxLabel(
        product_name=product.name,
        sets=box.size.sets,
        packed_on=box.packed_on,
        disinfected_on=when,
        disinfected_words=words,
        use_by=box.use_by,
        kit_batch=box.batch,
        serial=box.serial,
        lots=_lots(lines),
        sscc=box.sscc,
        gtin=box.size.gtin if workshop.gs1_prefix else None,
        profile=product.profile,
        cautions=product.caution_lines(),
        maker_name=workshop.name,
        maker_address=tuple(workshop.address.splitlines()),
        mark=DEMO_MARK if workshop.demo else None,
        latex=any(line.lot.part.latex for line in lines),
    )


def _disinfected(
    lines: Sequence[BoxLine], workshop: Workshop
) -> tuple[date | None, str]:
    runs = [line.run for line in lines if line.run is not None and line.run.closed_at]
    if not runs:
        return None, ""
    oldest = min(runs, key=lambda run: (run.closed_at, run.pk))
    assert oldest.closed_at is not None  # noqa: S101
    return day_of(workshop, oldest.closed_at), oldest.protocol.label_words


def _lots(lines: Sequence[BoxLine]) -> tuple[tuple[str, str], ...]:
    seen = {(line.lot.part.name, line.lot.number): None for line in lines}
    return tuple(seen)
