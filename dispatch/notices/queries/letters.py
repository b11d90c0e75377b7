"""Letters about a case: who gets one, about which boxes, and what each says."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace

from django.utils import timezone

from dispatch.labels.letter_words import words_for
from dispatch.labels.letters import Notice, Recalled
from dispatch.models import Case, Consignee, Letter, LetterBox
from dispatch.notices.queries.whom import Reached, Whom, moved, whom
from dispatch.recall.links import links_of
from dispatch.recall.listing import lots_of
from dispatch.recall.queries.cases import standing_holds_of
from kitting.ledger.proof import heads
from kitting.ledger.reach import held_boxes, reach_of
from kitting.models import Lot, Workshop
from kitting.printing.queries.labels import mark_of


@dataclass(frozen=True)
class Named:
    """A box that a letter would name."""

    box: Reached
    lots: tuple[str, ...]
    """Numbers of those in it that the case is about."""
    new: bool
    """Whether no letter that reached this consignee named it."""
    waits: bool = False
    """Whether one that is still to be sent names it."""


@dataclass(frozen=True)
class Addressee:
    """Somebody who gets a letter."""

    whom: Whom
    boxes: tuple[Named, ...]

    @property
    def consignee(self) -> Consignee:
        """The consignee."""
        return self.whom.consignee

    @property
    def new(self) -> int:
        """Boxes that no letter named which reached it."""
        return sum(box.new for box in self.boxes)

    @property
    def is_to_write(self) -> bool:
        """Whether of some of these no letter is on its way or made either."""
        return any(box.new and not box.waits for box in self.boxes)


def addressees(case: Case) -> list[Addressee]:
    """Give those whom a letter about a case can go to: who got boxes of its scope.

    Args:
        case: The case.

    Returns:
        Each with its boxes that did not come back and are still in the scope, by name.
    """
    lots = lots_of(case, standing_holds_of(case))
    names: dict[int, set[int]] = defaultdict(set)
    every = LetterBox.objects.filter(letter__case=case).order_by()
    for letter, listed in every.values_list("letter", "listed"):
        names[letter].add(listed)
    found = []
    for one in whom(case):
        told = {pk for row in one.letters if row.sent for pk in names[row.pk]}
        waits = names[one.letters[-1].pk] if _waits(one) else set()
        boxes = tuple(
            Named(box, lots[box.box.pk], box.row.pk not in told, box.row.pk in waits)
            for box in one.boxes
            if not box.is_back and box.box.pk in lots
        )
        if boxes:
            found.append(Addressee(one, boxes))
    return sorted(found, key=lambda one: (one.consignee.name, one.consignee.code))


def _waits(one: Whom) -> bool:
    """Whether the newest letter to it is to be sent as it is: it was never away."""
    newest = one.letters[-1] if one.letters else None
    if newest is None or newest.pk in one.moved:
        return False
    return all(each.fault for each in newest.tries)


def recalling(case: Case, rows: Iterable[Letter]) -> frozenset[int]:
    """Say which letters name a box that is still recalled.

    Args:
        case: The case.
        rows: Letters about it.

    Returns:
        Their ids.
    """
    reach = reach_of(standing_holds_of(case))
    named = LetterBox.objects.filter(letter__in=[row.pk for row in rows])
    still = named.filter(listed__box__in=held_boxes(reach)) if reach else named.none()
    return frozenset(still.order_by().values_list("letter", flat=True))


def to_send(case: Case, rows: Sequence[Letter]) -> list[Letter]:
    """Give the letters that are still to be sent.

    Args:
        case: The case.
        rows: All letters about it, with how they went.

    Returns:
        Of each consignee the newest, where it did not go or did not arrive, bears its
        address of now and names a box that is still recalled.
    """
    newest = {row.consignee.stays.pk: row for row in rows}
    waiting = [row for row in newest.values() if not row.sent]
    away = moved(waiting)
    still = recalling(case, waiting) if waiting else ()
    return [row for row in waiting if row.pk in still and row.pk not in away]


def notices_of(rows: Sequence[Letter], workshop: Workshop) -> list[Notice]:
    """Say what letters say, as they were made.

    Args:
        rows: Letters of one case, at least one, with their acts, it and consignees.
        workshop: The workshop.

    Returns:
        Each as it is drawn.
    """
    boxes: dict[int, list[LetterBox]] = defaultdict(list)
    beside = ("listed__box__size__product", "shipment", "passed_to")
    for box in (
        LetterBox.objects.filter(letter__in=[row.pk for row in rows])
        .select_related(*beside)
        .order_by("listed__box__serial")
    ):
        boxes[box.letter_id].append(box)
    parts = _parts(box for some in boxes.values() for box in some)
    links = links_of(rows[0].case, [row.consignee for row in rows])
    sealed = heads.of_acts({row.operation_id for row in rows})
    return [
        replace(
            _notice(row, boxes[row.pk], parts, workshop),
            address=links.get(row.consignee.stays.pk, ""),
            head=sealed[row.operation_id],
        )
        for row in rows
    ]


def _parts(boxes: Iterable[LetterBox]) -> dict[str, tuple[str, str, str]]:
    numbers = {lot for box in boxes for lot in box.lots.splitlines()}
    lots = Lot.objects.filter(number__in=numbers).select_related("part", "revision")
    return {
        lot.number: (lot.part.name, lot.revision.code, lot.number)
        for lot in lots.order_by("part__name", "number")
    }


def _notice(
    row: Letter,
    boxes: Collection[LetterBox],
    parts: dict[str, tuple[str, str, str]],
    workshop: Workshop,
) -> Notice:
    named = {lot for box in boxes for lot in box.lots.splitlines()}
    sender = (workshop.name, *workshop.address.splitlines())
    return Notice(
        words=words_for(row.language),
        case=row.case.number,
        urgent=row.urgent,
        written_on=timezone.localtime(row.operation.at).date(),
        to=tuple(row.address.splitlines()),
        sender=tuple(line for line in sender if line.strip()),
        contact=row.contact,
        night_contact=row.night_contact,
        hazard=row.hazard,
        to_do=row.to_do,
        answer_by=row.answer_by,
        boxes=tuple(_recalled(box) for box in boxes),
        parts=tuple(told for lot, told in parts.items() if lot in named),
        mark=mark_of(workshop),
    )


def _recalled(row: LetterBox) -> Recalled:
    box, shipment = row.listed.box, row.shipment
    return Recalled(
        serial=str(box.serial),
        product=box.size.product.name,
        sets=box.size.sets,
        lots=tuple(row.lots.splitlines()),
        shipment=shipment.number,
        sent_on=timezone.localtime(shipment.sent_at).date()
        if shipment.sent_at
        else None,
        passed_to=row.passed_to.name if row.passed_to else "",
        new=row.new,
    )
