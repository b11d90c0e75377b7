"""Taking in lots and bags, and closing lots."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import date

from django.db import IntegrityError, transaction

from kitting import locking
from kitting.domain import numbers
from kitting.domain.errors import Conflict, Missing, Refused, WrongStage
from kitting.models import Bag, Guarded, Lot, Part, Revision
from kitting.models.lots import Container, LotStage
from kitting.operations import Act, Sign, perform
from kitting.services.steps.bags import new_bag
from kitting.services.steps.clock import day_of
from kitting.services.steps.counting import take
from kitting.services.steps.intake import numbers_for_bags, use_up

MOST_NUMBERS = 500
"""How many blank bag numbers are given out at once."""


@dataclass(frozen=True)
class NewBag:
    """A bag that comes in."""

    pieces: int
    container: str = Container.TOTE
    place_id: int | None = None
    number: str = ""
    """The number on a blank label; empty to have one assigned."""


@dataclass(frozen=True)
class NewLot:
    """A lot that comes in; with ``lot_id`` only its bags are new."""

    part_id: int
    revision_id: int
    made_on: date
    source: str
    bags: tuple[NewBag, ...] = ()
    lot_id: int | None = None
    number: str = ""
    """The workshop's own number; empty to have one assigned."""
    method_id: int | None = None
    use_by: date | None = None
    source_number: str = ""
    made_from: tuple[tuple[int, int], ...] = ()
    """Pairs of the id of a material's lot and the amount used of it."""
    close: bool = False


@dataclass(frozen=True)
class TakenIn:
    """What came in, by number."""

    lots: list[str]
    bags: list[str]


@dataclass(frozen=True)
class Closed:
    """A lot that takes no more bags."""

    lot: str


@dataclass(frozen=True)
class GivenOut:
    """Numbers for blank labels, in order."""

    numbers: list[str]


def take_in(*, lots: Sequence[NewLot], sign: Sign) -> TakenIn:
    """Register lots with their bags, or more bags of open lots; all or nothing.

    Args:
        lots: What comes in, in order.
        sign: Who, when and the operation key.

    Returns:
        The numbers of the lots and bags, in order.

    Raises:
        CodeError: If a number breaks its rules.
        Conflict: ``lot_exists`` or ``bag_exists``.
        Missing: If a part, revision or open lot is not there.
        NotEnoughPieces: If a material has less than is used.
        OnHold: If a material is on hold.
        Refused: ``made_on_future``, ``conditions_changed``, ``pieces_missing``.
        WrongStage: ``lot_closed`` if bags are added to a closed lot.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> TakenIn:
        rows, old = _lots_of(act, lots)
        bag_numbers = iter(
            numbers_for_bags(act, [bag.number for new in lots for bag in new.bags])
        )
        named = [new.number for new in lots if new.lot_id is None]
        fresh = iter(take(act.workshop.site, numbers.Kind.LOT, named.count("")))
        for new, lot in zip(lots, rows, strict=True):
            if new.lot_id is None:
                lot.number = new.number or next(fresh)
        _insert_lots([lot for lot in rows if lot.pk is None])
        _close_old(lots, old)
        movements: list[Guarded] = []
        bags: list[Bag] = []
        for new, lot in zip(lots, rows, strict=True):
            for bag in new.bags:
                made, moved = _bag_of(act, bag, lot, next(bag_numbers))
                bags.append(made)
                movements += moved
        Bag.objects.bulk_create(bags, batch_size=200)
        origins: list[Guarded] = []
        for new, lot in zip(lots, rows, strict=True):
            for material_id, amount in new.made_from:
                material = Lot.objects.get(pk=material_id)
                origin, used = use_up(act, lot, material, amount)
                origins.append(origin)
                movements += used
        act.write(*origins, *movements)
        return TakenIn([lot.number for lot in rows], [bag.number for bag in bags])

    sent = {"lots": [asdict(new) for new in lots]}
    return perform("take_in", sign=sign, sent=sent, gives=TakenIn, work=work)


def _lots_of(act: Act, lots: Sequence[NewLot]) -> tuple[list[Lot], dict[int, Lot]]:
    parts = Part.objects.in_bulk({new.part_id for new in lots})
    revisions = Revision.objects.in_bulk({new.revision_id for new in lots})
    ids = [new.lot_id for new in lots if new.lot_id is not None]
    old = locking.lock_rows(Lot, ids) if ids else {}
    today = day_of(act.workshop, act.now)
    rows = []
    for new in lots:
        part, revision = parts.get(new.part_id), revisions.get(new.revision_id)
        if part is None or revision is None or revision.part_id != part.pk:
            raise Missing("revision_not_of_part")
        if any(bag.pieces < 1 for bag in new.bags):
            raise Refused("pieces_missing")
        if new.lot_id is not None:
            rows.append(_same_conditions(old[new.lot_id], new))
            continue
        if new.made_on > today:
            raise Refused("made_on_future", made_on=new.made_on, today=today)
        if new.use_by is not None and new.use_by < new.made_on:
            raise Refused("use_by_before_made_on", use_by=new.use_by)
        if not new.source.strip():
            raise Refused("source_missing")
        if new.number:
            numbers.workshop_lot_number(new.number)
        rows.append(_row(new, part, revision))
    return rows, old


def _row(new: NewLot, part: Part, revision: Revision) -> Lot:
    number = numbers.workshop_lot_number(new.number) if new.number else ""
    return Lot(
        number=number,
        source=new.source.strip(),
        source_number=new.source_number.strip(),
        part=part,
        revision=revision,
        method_id=new.method_id,
        made_on=new.made_on,
        use_by=new.use_by,
        stage=LotStage.CLOSED if new.close else LotStage.OPEN,
    )


def _same_conditions(lot: Lot, new: NewLot) -> Lot:
    if lot.stage != LotStage.OPEN:
        raise WrongStage("lot_closed", lot=lot.number)
    same = (lot.part_id, lot.revision_id, lot.method_id) == (
        new.part_id,
        new.revision_id,
        new.method_id,
    )
    if not same or new.made_from:
        raise Refused("conditions_changed", lot=lot.number)
    return lot


def _insert_lots(lots: list[Lot]) -> None:
    wanted = [lot.number for lot in lots]
    for text in wanted:
        if wanted.count(text) > 1 and len(lots) < MOST_NUMBERS:
            raise Conflict("lot_exists", lot=text)
    taken = Lot.objects.filter(number__in=wanted).values_list("number", flat=True)
    for text in taken:
        raise Conflict("lot_exists", lot=text)
    try:
        with transaction.atomic():
            Lot.objects.bulk_create(lots, batch_size=200)
    except IntegrityError as error:
        raise Conflict("lot_exists", lot=", ".join(wanted[:5])) from error


def _close_old(lots: Sequence[NewLot], old: dict[int, Lot]) -> None:
    ids = [new.lot_id for new in lots if new.lot_id is not None and new.close]
    if ids:
        Lot.objects.filter(pk__in=ids).update(stage=LotStage.CLOSED)


def _bag_of(act: Act, new: NewBag, lot: Lot, number: str) -> tuple[Bag, list[Guarded]]:
    bag = Bag(
        number=number,
        lot=lot,
        container=new.container,
        place_id=new.place_id,
        pieces=new.pieces,
    )
    return bag, list(new_bag(act, bag, lot.part))


def close_lot(*, lot_id: int, sign: Sign) -> Closed:
    """Close a lot: no more bags come in.

    Args:
        lot_id: The lot.
        sign: Who, when and the operation key.

    Returns:
        The number of the lot.

    Raises:
        Missing: If there is no such lot.
        Refused: ``lot_empty`` if it has no bag yet.
        WrongStage: ``lot_closed`` if it is closed.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Closed:
        lot = locking.lock_row(Lot, lot_id)
        if lot.stage != LotStage.OPEN:
            raise WrongStage("lot_closed", lot=lot.number)
        if not lot.bags.exists():
            raise Refused("lot_empty", lot=lot.number)
        lot.stage = LotStage.CLOSED
        lot.save(update_fields=["stage"])
        return Closed(lot=lot.number)

    return perform(
        "close_lot", sign=sign, sent={"lot": lot_id}, gives=Closed, work=work
    )


def give_out_numbers(*, count: int, sign: Sign) -> GivenOut:
    """Give out bag numbers for blank labels; they come to life when first scanned.

    Args:
        count: How many, 1 to ``MOST_NUMBERS``.
        sign: Who, when and the operation key.

    Returns:
        The numbers.

    Raises:
        Refused: ``count_out_of_range``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> GivenOut:
        if not 1 <= count <= MOST_NUMBERS:
            raise Refused("count_out_of_range", read=count, most=MOST_NUMBERS)
        return GivenOut(take(act.workshop.site, numbers.Kind.BAG, count))

    return perform(
        "give_out_numbers", sign=sign, sent={"count": count}, gives=GivenOut, work=work
    )
