"""What labels say, read from the record."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final
from zoneinfo import ZoneInfo

from kitting.clock import day_of
from kitting.domain import numbers
from kitting.domain.errors import Missing, Refused, WrongStage
from kitting.domain.stages import BagStage
from kitting.labels import kinds
from kitting.labels.bag_label import BagContent, BagLabel
from kitting.labels.box_label import BoxLabel
from kitting.labels.cards import CommandLabel, PlaceLabel
from kitting.labels.cleared import ClearedLabel
from kitting.labels.slip import SetSlip
from kitting.models import Bag, Box, BoxLine, Carrier, Counter, Place, Workshop
from kitting.queries.command_words import words_of_command
from kitting.reach import refuse_held_bag, standing_reach

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence
    from datetime import date

    from kitting.labels.kinds import Kind
    from kitting.models import Run

DEMO_MARK: Final = "DEMONSTRATION – NOT FOR USE"
NOT_STERILE: Final = "Disinfection is not sterilisation."
UNITS: Final = {"piece": "", "gram": " g", "mm": " mm"}


@dataclass(frozen=True)
class Subject:
    """One thing to print labels for."""

    number: str
    """What the label names."""

    labels: tuple[Any, ...]
    """What is drawn, as first copies: one, or the slips of all sets of a box."""

    box_id: int | None = None
    """The box whose box label it is."""

    bag_id: int | None = None
    """The bag whose label it is."""


@dataclass(frozen=True)
class Labelled:
    """Labels of one purpose: how they are drawn, and how they are composed."""

    name: str
    """As the print log names them, at most 12 characters."""

    kind: Kind[Any]
    compose: Callable[[Sequence[str]], tuple[Subject, ...]]
    """From what the labels name, in order; raises ``Missing`` for what there is not."""


def labelled_as(name: str) -> Labelled:
    """Give labels of a purpose.

    Args:
        name: As the print log names them.

    Returns:
        How they are drawn and composed.

    Raises:
        Missing: If there are none of that name.
    """
    found = LABELLED.get(name)
    if found is None:
        raise Missing("row_missing", what="label")
    return found


def register(labelled: Labelled) -> None:
    """Add labels that another room composes; once, when it is loaded."""
    LABELLED[labelled.name] = labelled


def mark_of(workshop: Workshop) -> str | None:
    """What stands across every label of a demo."""
    return DEMO_MARK if workshop.demo else None


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
    return tuple(box_subject(found[one]) for one in _all(serials, found, "box"))


def _all(wanted: Sequence[str], found: Iterable[str], what: str) -> Sequence[str]:
    """The wanted numbers, if each was found and none is there twice."""
    if not set(wanted) <= set(found):
        raise Missing("row_missing", what=what)
    if len(set(wanted)) < len(wanted):
        raise Refused("label_asked_twice")
    return wanted


def _slips(serials: Sequence[str]) -> tuple[Subject, ...]:
    """The slips of whole boxes: one for each set."""
    workshop = Workshop.objects.get(pk=1)
    boxes = Box.objects.filter(serial__in=serials).select_related("size__product")
    found = {str(box.serial): box for box in boxes}
    return tuple(
        Subject(one, tuple(_slips_of(found[one], workshop)))
        for one in _all(serials, found, "box")
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


def _bags(wanted: Sequence[str]) -> tuple[Subject, ...]:
    mark = mark_of(Workshop.objects.get(pk=1))
    rows = Bag.objects.filter(number__in=wanted).select_related(
        "lot__part", "lot__revision"
    )
    found = {bag.number: bag for bag in rows}
    return tuple(
        Subject(one, (_bag_label(found[one], mark),), bag_id=found[one].pk)
        for one in _all(wanted, found, "bag")
    )


def _bag_label(bag: Bag, mark: str | None) -> BagLabel:
    lot = bag.lot
    content = BagContent(
        part=lot.part.name,
        revision=lot.revision.code,
        lot=lot.number,
        pieces=f"{bag.pieces}{UNITS[lot.part.unit]}",
        made_on=lot.made_on,
    )
    return BagLabel(bag.number, content, mark=mark)


def _bag_numbers(wanted: Sequence[str]) -> tuple[Subject, ...]:
    """Blank labels for numbers that were given out and are on no bag yet."""
    workshop = Workshop.objects.get(pk=1)
    given_out = Counter.objects.get(site=workshop.site, name="bag").next
    for read in map(numbers.read, wanted):
        ours = read.site == workshop.site and read.sequence < given_out
        if not ours or read.kind is not numbers.Kind.BAG:
            raise Refused("number_not_given_out", read=read.text)
    alive = Bag.objects.filter(number__in=wanted).values_list("number", flat=True)
    for number in alive[:1]:
        raise Refused("blank_in_use", read=number)
    return tuple(
        Subject(one, (BagLabel(one, mark=mark_of(workshop)),))
        for one in _all(wanted, wanted, "bag")
    )


def _cleared(wanted: Sequence[str]) -> tuple[Subject, ...]:
    """Labels for bags, and for carriers whose bags one run cleared."""
    workshop = Workshop.objects.get(pk=1)
    bags = _by_number(
        Bag.objects.filter(number__in=wanted).select_related(
            "cleared_run__protocol", "lot"
        )
    )
    carriers = _by_number(Carrier.objects.filter(number__in=wanted))
    _all(wanted, {**bags, **carriers}, "bag")
    reach = standing_reach()
    subjects = []
    for number in wanted:
        loaded = [bags[number]] if number in bags else _on(carriers[number])
        for bag in loaded:
            refuse_held_bag(bag, reach)
        run = _one_run(number, loaded)
        what = "Bag" if number in bags else "Carrier"
        label = _cleared_label(number, what, run, workshop)
        subjects.append(Subject(number, (label,)))
    return tuple(subjects)


def _by_number(rows: Iterable[Any]) -> dict[str, Any]:
    return {row.number: row for row in rows}


def _on(carrier: Carrier) -> list[Bag]:
    rows = Bag.objects.filter(carrier=carrier).exclude(stage=BagStage.USED_UP)
    return list(rows.select_related("cleared_run__protocol", "lot").order_by("number"))


def _one_run(number: str, bags: Sequence[Bag]) -> Run:
    """The run that cleared a bag, or all bags of a carrier."""
    for bag in bags:
        if bag.stage != BagStage.CLEARED or bag.cleared_run is None:
            raise WrongStage("bag_not_cleared_by_a_run", bag=bag.number)
    runs = {bag.cleared_run for bag in bags if bag.cleared_run is not None}
    if not runs:
        raise Refused("carrier_is_empty", carrier=number)
    if len(runs) > 1:
        raise Refused("carrier_of_several_runs", carrier=number)
    return runs.pop()


def _cleared_label(
    number: str, what: str, run: Run, workshop: Workshop
) -> ClearedLabel:
    assert run.closed_at is not None  # noqa: S101
    there = run.closed_at.astimezone(ZoneInfo(workshop.time_zone))
    return ClearedLabel(
        number=number,
        what=what,
        run=run.number,
        protocol=(run.protocol.code, str(run.protocol.version)),
        released_at=f"{there:%Y-%m-%d %H:%M}",
        cautions=(NOT_STERILE,),
        mark=mark_of(workshop),
    )


def _places(wanted: Sequence[str]) -> tuple[Subject, ...]:
    mark = mark_of(Workshop.objects.get(pk=1))
    rows = Place.objects.filter(code__in=wanted).values_list("code", "name")
    found = dict(rows)
    return tuple(
        Subject(one, (PlaceLabel(one, found[one], mark=mark),))
        for one in _all(wanted, found, "place")
    )


def _carriers(wanted: Sequence[str]) -> tuple[Subject, ...]:
    mark = mark_of(Workshop.objects.get(pk=1))
    rows = Carrier.objects.filter(number__in=wanted).values_list("number", "name")
    found = dict(rows)
    return tuple(
        Subject(one, (PlaceLabel(one, found[one], mark=mark),))
        for one in _all(wanted, found, "carrier")
    )


def _commands(wanted: Sequence[str]) -> tuple[Subject, ...]:
    mark = mark_of(Workshop.objects.get(pk=1))
    subjects = []
    for command in _all(wanted, wanted, "command"):
        does = words_of_command(command)
        if does is None:
            raise Missing("row_missing", what="command")
        subjects.append(Subject(command, (CommandLabel(command, does, mark=mark),)))
    return tuple(subjects)


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
        mark=mark_of(workshop),
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


BOXES: Final = Labelled("box", kinds.BOX, _boxes)
LABELLED: Final = {
    one.name: one
    for one in (
        BOXES,
        Labelled("set_slip", kinds.SET_SLIP, _slips),
        Labelled("bag", kinds.BAG, _bags),
        Labelled("bag_number", kinds.BAG, _bag_numbers),
        Labelled("cleared", kinds.CLEARED, _cleared),
        Labelled("place", kinds.PLACE, _places),
        Labelled("carrier", kinds.PLACE, _carriers),
        Labelled("command", kinds.COMMAND, _commands),
    )
}
"""Labels by the name that the print log gives them; dispatch adds its own."""
