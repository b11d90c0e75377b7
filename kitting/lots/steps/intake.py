"""Inner steps of taking in: what is wrong with a lot or bag, and what it uses up."""

from __future__ import annotations

from collections import Counter as Tally
from collections.abc import Collection, Iterable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Final, TypeVar

from django.db import IntegrityError, transaction
from django.db.models import Model, Q

from kitting.domain import numbers
from kitting.domain.errors import CodeError, Conflict, Missing, Refused, WrongStage
from kitting.ledger import locking
from kitting.ledger.clock import day_of
from kitting.ledger.counters import take
from kitting.ledger.kept import rows_by_id
from kitting.ledger.needs import need_length
from kitting.ledger.operations import Act
from kitting.ledger.reach import fold
from kitting.ledger.stencils import Stencil
from kitting.models import Counter, Lot, Method, Part, Place, Revision
from kitting.models.catalogue import PlaceKind
from kitting.models.lots import Container, CountedBy, LotStage
from kitting.products.steps.methods import need_method_for, with_parts

M = TypeVar("M", bound=Model)

MOST_PIECES: Final = 10_000_000
"""What one bag holds at most, in its part's unit: 10 t of filament, 10 km of band."""

YEARS_AHEAD: Final = 49
"""A use-by further off would be read out of a label's two digits as last century's:
GS1 General Specifications, 7.12."""

LONGEST = {"source": 60, "source_number": 40}
"""Characters that a lot's texts take; SQLite itself would take more."""


@dataclass(frozen=True)
class NewBag:
    """A bag that comes in."""

    pieces: int
    """From 1 to ``MOST_PIECES``."""
    container: str = Container.TOTE
    place_id: int | None = None
    number: str = ""
    """The number on a blank label; empty to have one assigned."""
    counted_by: str = ""
    """How its pieces were counted: one of ``CountedBy``; empty where nobody said."""


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
    waste: tuple[tuple[int, int], ...] = ()
    """Pairs of the same, and how much of that was cut off and is scrapped."""
    close: bool = False
    sure: str = ""
    """Why figures are right that can hardly be; empty to be asked."""


@dataclass(frozen=True)
class Catalogue:
    """What the lots name, read once."""

    parts: dict[int, Part]
    revisions: dict[int, Revision]
    today: date
    old: dict[int, Lot] = field(default_factory=dict)
    """Open lots that more bags come into, locked."""

    @property
    def rules(self) -> tuple[object, ...]:
        """What decides about new rows: with the same rules they come out the same."""
        moves = {
            pk: (part.needs_check, part.needs_clearing)
            for pk, part in self.parts.items()
        }
        of = {pk: (each.part_id, each.active) for pk, each in self.revisions.items()}
        return moves, of, self.today


def catalogue_of(lots: Sequence[NewLot], today: date) -> Catalogue:
    """Read all that the lots name.

    Args:
        lots: What comes in.
        today: The workshop's day.

    Returns:
        Parts and revisions by id; no lot that is there.
    """
    return Catalogue(
        parts=_by_id(Part, {new.part_id for new in lots}),
        revisions=_by_id(Revision, {new.revision_id for new in lots}),
        today=today,
    )


def _by_id(model: type[M], ids: Collection[int]) -> dict[int, M]:
    return {row.pk: row for row in rows_by_id(model)(*sorted(ids))} if ids else {}


def locked_catalogue(act: Act, lots: Sequence[NewLot]) -> Catalogue:
    """Read all that the lots name, and lock those that are there already.

    Args:
        act: The act.
        lots: What comes in.

    Returns:
        Parts, revisions and lots by id, and the workshop's day.

    Raises:
        Missing: ``row_missing`` if a method, place or lot is not there.
        Refused: ``intake_in_quarantine``, ``place_closed``, ``method_closed``,
            ``method_of_other_part``.
    """
    ids = [new.lot_id for new in lots if new.lot_id is not None]
    old = locking.lock_rows(Lot, ids, "part", "revision") if ids else {}
    known = catalogue_of(lots, day_of(act.workshop, act.now))
    _need_methods(lots, known.parts)
    places = {bag.place_id for new in lots for bag in new.bags}
    _need_all(Place, places)
    kept = Place.objects.filter(pk__in=filter(None, places))
    kept = kept.filter(Q(kind=PlaceKind.QUARANTINE) | Q(active=False))
    if (place := kept.first()) is not None:
        code = "intake_in_quarantine" if place.active else "place_closed"
        raise Refused(code, place=place.name)
    return replace(known, old=old)


def _need_methods(lots: Sequence[NewLot], parts: dict[int, Part]) -> None:
    """Refuse a new lot of a method that is closed, or that is for other parts."""
    ids = {new.method_id for new in lots if new.method_id is not None}
    methods = {each.pk: each for each in with_parts(ids)} if ids else {}
    if len(methods) != len(ids):
        raise Missing("row_missing", what="method")
    for new in lots:
        method, part = methods.get(new.method_id or 0), parts.get(new.part_id)
        if new.lot_id is None and method is not None and part is not None:
            need_method_for(method, part)


def _need_all(model: type[Model], ids: set[int | None]) -> None:
    wanted = ids - {None}
    found = model._default_manager.filter(pk__in=wanted).count()
    if found != len(wanted):
        raise Missing("row_missing", what=model._meta.model_name or "")


def lot_row(new: NewLot, known: Catalogue) -> Lot:
    """Check a lot and give its row: a new one, or the open one that bags come into.

    Args:
        new: What comes in.
        known: What it names.

    Returns:
        The row; a new one is not inserted yet, and has no number if none was given.

    Raises:
        CodeError: If the number breaks its rules.
        Missing: ``revision_not_of_part``.
        Refused: For anything else that is wrong with it.
        WrongStage: ``lot_closed``.
    """
    part = known.parts.get(new.part_id)
    revision = known.revisions.get(new.revision_id)
    if part is None or revision is None or revision.part_id != part.pk:
        raise Missing("revision_not_of_part")
    _check_bags(new.bags)
    if new.lot_id is not None:
        return _same_conditions(new, known)
    if not revision.active:
        raise Refused("revision_closed", part=part.name, revision=revision.code)
    number = numbers.workshop_lot_number(new.number) if new.number.strip() else ""
    _check_conditions(new, known.today, number)
    return Lot(
        number=number,
        source=new.source.strip(),
        source_key=fold(new.source),
        source_number=new.source_number.strip(),
        part=part,
        revision=revision,
        method_id=new.method_id,
        made_on=new.made_on,
        use_by=new.use_by,
        stage=LotStage.CLOSED if new.close else LotStage.OPEN,
    )


def _check_bags(bags: Iterable[NewBag]) -> None:
    for bag in bags:
        if not 1 <= bag.pieces <= MOST_PIECES:
            raise Refused("pieces_out_of_range", read=bag.pieces, most=MOST_PIECES)
        if bag.container not in set(Container):
            raise Refused("container_unknown", read=bag.container)
        if bag.counted_by and bag.counted_by not in set(CountedBy):
            raise Refused("counting_way_unknown", read=bag.counted_by)


def _check_conditions(new: NewLot, today: date, number: str) -> None:
    if new.made_on > today:
        raise Refused("made_on_future", made_on=new.made_on, today=today)
    if new.use_by is not None:
        _check_use_by(new.use_by, new.made_on, today)
    if not new.source.strip():
        raise Refused("source_missing")
    for name, most in LONGEST.items():
        need_length(name.replace("_", " "), getattr(new, name), most)
    if new.close and not new.bags:
        raise Refused("lot_empty", lot=number or new.source_number)
    _check_materials(new)


def _check_materials(new: NewLot) -> None:
    for pairs in (new.made_from, new.waste):
        if len(dict(pairs)) < len(pairs):
            raise Refused("material_twice")
    for _, amount in new.made_from:
        if not 1 <= amount <= MOST_PIECES:
            raise Refused("pieces_out_of_range", read=amount, most=MOST_PIECES)
    used = dict(new.made_from)
    for material, amount in new.waste:
        if not 0 < amount < used.get(material, 0):
            raise Refused("waste_is_all", read=amount, most=used.get(material, 0))


def _check_use_by(use_by: date, made_on: date, today: date) -> None:
    if use_by < made_on:
        raise Refused("use_by_before_made_on", use_by=use_by, made_on=made_on)
    last = today.year + YEARS_AHEAD
    if use_by.year > last:
        raise Refused("use_by_too_far", use_by=use_by, year=last)


def _same_conditions(new: NewLot, known: Catalogue) -> Lot:
    lot = known.old[new.lot_id or 0]
    if lot.stage != LotStage.OPEN:
        raise WrongStage("lot_closed", lot=lot.number)
    method = Method.objects.filter(pk=new.method_id).first() if new.method_id else None
    pairs = [
        (lot.part, known.parts[new.part_id]),
        (lot.revision, known.revisions[new.revision_id]),
        (lot.method, method),
    ]
    differ = [(was, now) for was, now in pairs if was != now]
    if new.made_from + new.waste:
        differ.append((None, Lot.objects.filter(pk=new.made_from[0][0]).first()))
    if differ:
        was, now = (", ".join(str(e or "–") for e in each) for each in zip(*differ))  # noqa: B905
        raise Refused("conditions_changed", lot=lot.number, was=was, now=now)
    return lot


def insert_lots(act: Act, lots: Sequence[tuple[Lot, Stencil]]) -> None:
    """Insert new lots; those without a number get one.

    Args:
        act: The act.
        lots: Rows as ``lot_row`` gives them, each with what writes it.

    Raises:
        Conflict: ``lot_exists`` if a number is taken or stands twice.
        Refused: ``lot_number_ahead`` if one is Lotward's own and yet to be assigned.
    """
    given = Tally(lot.number for lot, _new in lots if lot.number)
    taken = Lot.objects.filter(number__in=list(given)).values_list("number", flat=True)
    for number in [*taken, *(number for number, times in given.items() if times > 1)]:
        raise Conflict("lot_exists", lot=number)
    unnamed = [lot for lot, _new in lots if not lot.number]
    for number in numbers_ahead(act.workshop.site, given):
        raise Refused("lot_number_ahead", lot=number)
    fresh = _free_numbers(act.workshop.site, len(unnamed))
    for lot, number in zip(unnamed, fresh, strict=True):
        lot.number = number
    try:
        with transaction.atomic():  # a savepoint: somebody else may be faster
            ids = act.fill([(new, (lot.number,)) for lot, new in lots])
    except IntegrityError as error:
        raise Conflict("lot_exists", lot=", ".join(list(given)[:5])) from error
    for (lot, _new), pk in zip(lots, ids, strict=True):
        lot.pk = pk


def numbers_ahead(site: int, given: Iterable[str]) -> Iterator[str]:
    """Find numbers that the counter would come to: they are not the workshop's.

    Args:
        site: The workshop's site.
        given: Numbers for new lots.

    Yields:
        Those that Lotward itself will give later.
    """
    own = [n for n in given if numbers.looks_like(n) is numbers.Kind.LOT]
    for number in own:
        with suppress(CodeError):  # one with a wrong check character is in nobody's way
            read = numbers.read(number)
            upcoming = Counter.objects.get(site=site, name="lot").next
            if read.site == site and read.sequence >= upcoming:
                yield number


def _free_numbers(site: int, count: int) -> list[str]:
    """Take numbers for new lots, past any that a lot bears already."""
    free: list[str] = []
    while missing := count - len(free):
        fresh = take(site, numbers.Kind.LOT, missing)
        borne = Lot.objects.filter(number__in=fresh).values_list("number", flat=True)
        taken = set(borne)
        free += [number for number in fresh if number not in taken]
    return free


@contextmanager
def free_numbers(numbers: Sequence[str]) -> Iterator[None]:
    """Let new bags be inserted.

    Args:
        numbers: Theirs.

    Raises:
        Conflict: ``bag_exists`` if somebody else used a blank number at this moment.
    """
    try:
        with transaction.atomic():
            yield
    except IntegrityError as error:
        raise Conflict("bag_exists", bag=", ".join(numbers[:5])) from error
