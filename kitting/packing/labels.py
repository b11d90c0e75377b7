"""Labels of boxes and their sets, and of the commands that a bench is given by scans."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import date
from typing import Any, Final, TypeAlias

from django.db.models import Max, Min
from django.utils.translation import gettext_lazy as _

from kitting.domain import gs1
from kitting.domain.batch import kit_batch
from kitting.domain.errors import Missing, NotFit
from kitting.labels import kinds
from kitting.labels.box_label import BoxLabel, BoxWords
from kitting.labels.cards import CommandLabel
from kitting.labels.slip import SetSlip, SetSlipWords
from kitting.ledger.clock import day_of
from kitting.ledger.kept import Kept
from kitting.ledger.needs import wrong_box
from kitting.ledger.upheld import Rows
from kitting.models import (
    Box,
    BoxLine,
    BoxSize,
    DefectKind,
    LabelWord,
    Part,
    Product,
    Protocol,
    ProtocolLoad,
    Recipe,
    RecipeLine,
    RecipeSubstitute,
    Workshop,
)
from kitting.packing.queries.commands import (
    command_list,
    desk_commands,
    size_commands,
    words_of_command,
)
from kitting.printing import fitting
from kitting.printing.fitting import LAST_COPY, LAST_DAY, LONGEST_NUMBER, those
from kitting.printing.queries.label_words import said_of_products, spoken, words_in
from kitting.printing.queries.labels import (
    Labelled,
    Subject,
    each_once,
    mark_of,
    register,
)

Said: TypeAlias = tuple[tuple[str, date], ...]
"""Words of protocols, each with a date."""


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
    slip = _slip(product, workshop, sets, box.batch, str(box.serial))
    return [replace(slip, nth=nth) for nth in range(1, sets + 1)]


def _slip(
    product: Product, workshop: Workshop, sets: int, batch: str, serial: str
) -> SetSlip:
    """The last slip of a box."""
    words = words_in(product.language, demo=workshop.demo)
    return SetSlip(
        product_name=product.name,
        kit_batch=batch,
        serial=serial,
        cautions=product.caution_lines(demo=workshop.demo),
        nth=sets,
        of=sets,
        words=spoken(SetSlipWords, words),
        contact=workshop.contact,
        mark=mark_of(workshop),
    )


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
    (workshop,) = _WORKSHOP(1)
    lines = _LINES(box_id)
    return _box_face(
        box.size.product,
        workshop,
        sets=box.size.sets,
        packed_on=box.packed_on,
        disinfected=disinfected_of(lines, workshop),
        use_by=box.use_by,
        kit_batch=box.batch,
        serial=box.serial,
        lots=_lots(lines),
        sscc=box.sscc,
        gtin=box.size.gtin if workshop.gs1_prefix else None,
        latex=any(line.lot.part.latex for line in lines),
    )


def asked_of(box: Box) -> list[tuple[Any, ...]]:
    """What ``box_label`` is going to ask of a box, to be foreseen."""
    return [(_BOX, box.pk), (_WORKSHOP, 1), (_LINES, box.pk)]


def _box_face(
    product: Product,
    workshop: Workshop,
    *,
    disinfected: Said,
    **of_box: Any,
) -> BoxLabel:
    also = [said for said, _ in disinfected]
    words = words_in(product.language, demo=workshop.demo, also=also)
    return BoxLabel(
        disinfected=tuple((words[said], on) for said, on in disinfected),
        words=spoken(BoxWords, words),
        contact=workshop.contact,
        reference=product.reference,
        single_use=product.single_use,
        product_name=product.name,
        profile=product.profile,
        cautions=product.caution_lines(demo=workshop.demo),
        maker_name=workshop.name,
        maker_address=tuple(workshop.address.splitlines()),
        mark=mark_of(workshop),
        **of_box,
    )


_WORKSHOP = Kept(lambda pk: Workshop.objects.filter(pk=pk))
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


def disinfected_of(lines: Sequence[BoxLine], workshop: Workshop) -> Said:
    """What may be said of all that is in a box: a line for each protocol's words.

    No words are stronger than those of another protocol, so none stand for both; where
    one protocol has none, nothing is said of the box.

    Args:
        lines: What is in the box, with runs and protocols.
        workshop: The workshop, for its days.

    Returns:
        The words of each protocol, in English, and the oldest day, by words.
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
    every = (*size_commands(), *command_list(), *desk_commands())
    return [text for text, _words in every]


# The longest that a label can get ------------------------------------------------------


def _longest_boxes(touched: Rows) -> Iterator[tuple[str, BoxLabel]]:
    workshop = Workshop.objects.get(pk=1)
    products = list(_products(touched, workshop))
    said_of, latex = said_of_products() if products else ({}, set())
    for product, sets, batch in products:
        if product.caution_lines(demo=True) != product.caution_lines(
            demo=workshop.demo
        ):
            raise NotFit("cautions_unreviewed", product=product.name)
        said = sorted(said_of.get(product.pk, ()))
        prefix = workshop.gs1_prefix
        gtin = f"0{prefix:9<12}"
        yield (
            product.name,
            _box_face(
                product,
                workshop,
                sets=sets,
                packed_on=LAST_DAY,
                disinfected=tuple((one, LAST_DAY) for one in said),
                use_by=LAST_DAY,
                kit_batch=batch,
                serial=LONGEST_NUMBER,
                lots=_NO_ROOM,
                sscc=gs1.sscc(prefix, 1, _NEVER) if prefix else None,
                gtin=gtin + gs1.check_digit(gtin) if prefix else None,
                latex=product.pk in latex,
                copy=LAST_COPY,
            ),
        )


def _longest_slips(touched: Rows) -> Iterator[tuple[str, SetSlip]]:
    workshop = Workshop.objects.get(pk=1)
    for product, sets, batch in _products(touched, workshop):
        slip = _slip(product, workshop, sets, batch, LONGEST_NUMBER)
        yield product.name, replace(slip, copy=LAST_COPY)


def _longest_commands(touched: Rows) -> Iterator[tuple[str, CommandLabel]]:
    """Those of box sizes and defects; the others are asked for only with all."""
    mark, others = mark_of(), () if touched else command_list()
    desk = desk_commands() if not touched or touched.get(DefectKind) else ()
    for command, does in (*size_commands(), *desk, *others):
        yield command, CommandLabel(command, does, mark=mark)


def _products(touched: Rows, workshop: Workshop) -> Iterator[tuple[Product, int, str]]:
    """Products with the least and the most sets in a box and the longest kit batch."""
    ids = None
    if touched:
        ids = touched[Product] | {
            product
            for model in (BoxSize, Recipe)
            for product in those(model._default_manager.all(), touched).values_list(
                "product", flat=True
            )
        }
    rows = Product.objects.annotate(
        least=Min("sizes__sets"),
        most=Max("sizes__sets"),
        last=Max("recipes__version"),
    )
    for product in rows if ids is None else rows.filter(pk__in=ids):
        version = max(product.last or 1, _VERSION)
        batch = kit_batch(workshop.site, product.code, LAST_DAY, version)
        for sets in {product.least or 1, product.most or _SETS}:  # One set, or sets.
            yield product, sets, batch


_NO_ROOM: Final = (("W" * 99, LONGEST_NUMBER),)
"""Lots that no label has room for: it says where they stand."""

_NEVER: Final = 9
"""Extension digit of an SSCC that no box gets: those of boxes have 0."""

_VERSION: Final = 99
"""Further versions of a recipe need no check of their own."""

_SETS: Final = 99
"""Of a product that has no box size yet."""

_SHARED: Final = (Workshop, LabelWord)
_OF_BOXES: Final = (
    *(*_SHARED, RecipeLine, RecipeSubstitute),
    *(Part, Protocol, ProtocolLoad),
)

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
fitting.register(
    fitting.Longest(
        "box",
        kinds.BOX,
        BOXES.words[0],
        _longest_boxes,
        (Product, BoxSize, Recipe),
        "kitting:products",
        _OF_BOXES,
    ),
    fitting.Longest(
        "set_slip",
        kinds.SET_SLIP,
        _("set slip"),
        _longest_slips,
        (Product, BoxSize, Recipe),
        "kitting:products",
        _SHARED,
    ),
    fitting.Longest(
        "command",
        kinds.COMMAND,
        _("command label"),
        _longest_commands,
        (BoxSize, Recipe, DefectKind),
        "kitting:products",
        (Workshop,),
        number="command",
    ),
)
