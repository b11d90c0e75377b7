"""Labels of boxes and their sets, and of the commands that a bench is given by scans."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Final

from django.utils.translation import gettext_lazy as _

from kitting.domain.errors import Missing
from kitting.labels import kinds
from kitting.labels.box_label import BoxLabel
from kitting.labels.cards import CommandLabel
from kitting.labels.slip import SetSlip
from kitting.ledger.clock import day_of
from kitting.ledger.kept import Kept
from kitting.ledger.needs import wrong_box
from kitting.models import Box, BoxLine, Workshop
from kitting.packing.queries.commands import (
    command_list,
    size_commands,
    words_of_command,
)
from kitting.printing.queries.labels import (
    Labelled,
    Subject,
    each_once,
    mark_of,
    register,
)


def box_subject(box_id: int) -> Subject:
    """The label of one box, to be printed.

    Args:
        box_id: The box.

    Returns:
        What is printed.

    Raises:
        Missing: If there is no such box.
        WrongStage: ``box_wrong_stage`` if it is still open.
    """
    label = box_label(box_id)
    return Subject(label.serial, (label,), box_id=box_id)


def _boxes(serials: Sequence[str]) -> tuple[Subject, ...]:
    rows = Box.objects.filter(serial__in=serials).values_list("serial", "pk")
    found = {str(serial): pk for serial, pk in rows}
    return tuple(box_subject(found[one]) for one in each_once(serials, found, "box"))


def _slips(serials: Sequence[str]) -> tuple[Subject, ...]:
    """The slips of whole boxes: one for each set."""
    workshop = Workshop.objects.get(pk=1)
    boxes = Box.objects.filter(serial__in=serials).select_related("size__product")
    found = {str(box.serial): box for box in boxes}
    return tuple(
        Subject(one, tuple(_slips_of(found[one], workshop)))
        for one in each_once(serials, found, "box")
    )


def _slips_of(box: Box, workshop: Workshop) -> list[SetSlip]:
    product, sets = box.size.product, box.size.sets
    return [
        SetSlip(
            product_name=product.name,
            kit_batch=box.batch,
            serial=str(box.serial),
            cautions=product.caution_lines(),
            nth=nth,
            of=sets,
            mark=mark_of(workshop),
        )
        for nth in range(1, sets + 1)
    ]


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
    boxes = _BOX(box_id)
    if not boxes:
        raise Missing("row_missing", what="box")
    (box,) = boxes
    if box.serial is None or box.packed_on is None:
        raise wrong_box(box, "printed")
    workshop = Workshop.objects.get(pk=1)
    product = box.size.product
    lines = _LINES(box_id)
    return BoxLabel(
        product_name=product.name,
        sets=box.size.sets,
        packed_on=box.packed_on,
        disinfected=_disinfected(lines, workshop),
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
        mark=mark_of(workshop),
        latex=any(line.lot.part.latex for line in lines),
    )


_BOX = Kept(
    lambda pk: Box.objects.select_related("size__product", "recipe").filter(pk=pk)
)
_LINES = Kept(
    lambda box: (
        BoxLine.objects.filter(box=box)
        .select_related("lot__part", "run__protocol")
        .order_by("lot__part__code", "lot__number", "pk")
    )
)


def _disinfected(
    lines: Sequence[BoxLine], workshop: Workshop
) -> tuple[tuple[str, date], ...]:
    """What may be said of all that is in a box: a line for each protocol's words.

    No words are stronger than those of another protocol, so none stand for both; where
    one protocol has none, nothing is said of the box.
    """
    oldest: dict[str, date] = {}
    for line in lines:
        if line.run is not None and line.run.closed_at is not None:
            on = day_of(workshop, line.run.closed_at)
            words = line.run.protocol.label_words
            oldest[words] = min(on, oldest.get(words, on))
    return () if "" in oldest else tuple(sorted(oldest.items()))


def _lots(lines: Sequence[BoxLine]) -> tuple[tuple[str, str], ...]:
    seen = {(line.lot.part.name, line.lot.number): None for line in lines}
    return tuple(seen)


def _commands(wanted: Sequence[str]) -> tuple[Subject, ...]:
    mark = mark_of()
    subjects = []
    for command in each_once(wanted, wanted, "command"):
        does = words_of_command(command)
        if does is None:
            raise Missing("row_missing", what="command")
        subjects.append(Subject(command, (CommandLabel(command, does, mark=mark),)))
    return tuple(subjects)


def every_command() -> list[str]:
    """Every command label there is, those of box sizes first."""
    return [text for text, _words in (*size_commands(), *command_list())]


BOXES: Final = Labelled(
    "box",
    kinds.BOX,
    _boxes,
    words=(_("box label"), _("box labels")),
    page="kitting:box-detail",
)
register(
    BOXES,
    Labelled(
        "set_slip",
        kinds.SET_SLIP,
        _slips,
        words=(_("slips of sets"), _("slips of sets")),
        page="kitting:box-detail",
    ),
    Labelled(
        "command",
        kinds.COMMAND,
        _commands,
        words=(_("command label"), _("command labels")),
        every=every_command,
    ),
)
