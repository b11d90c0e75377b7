"""From the rows of a file to lots that can be taken in, looked up on record."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from kitting.domain.delimited import Problem
from kitting.domain.errors import Refused
from kitting.domain.intakefile import Row, Table, by_lot
from kitting.domain.shown import shown
from kitting.ledger.reach import standing_reach
from kitting.lots.steps.doubts import doubts
from kitting.lots.steps.intake import (
    LONGEST,
    MOST_PIECES,
    YEARS_AHEAD,
    NewBag,
    NewLot,
    numbers_ahead,
)
from kitting.lots.steps.materials import USABLE
from kitting.models import Bag, Lot, LotOrigin, Method, Part, Place, Revision
from kitting.models.catalogue import PlaceKind
from kitting.models.lots import Container, CountedBy, LotStage
from kitting.products.steps.methods import need_method_for, with_parts


@dataclass(frozen=True)
class Entry:
    """One lot of the file, for showing what would be taken in."""

    line: int
    number: str
    """Empty where one would be assigned."""
    part: str
    revision: str
    bags: int
    pieces: int
    unit: str
    is_new: bool
    """False where bags are added to an open lot."""


@dataclass
class Found:
    """What the rows name and the database knows."""

    parts: dict[str, Part]
    revisions: dict[tuple[int, str], Revision]
    methods: dict[str, Method]
    places: dict[str, Place]
    lots: dict[str, Lot]
    origins: dict[int, set[tuple[str, int]]]
    today: date
    ahead: frozenset[str] = frozenset()
    """Numbers of lots that Lotward itself will give later."""
    problems: list[Problem] = field(default_factory=list)
    questions: list[Problem] = field(default_factory=list)

    def fault(self, line: int, column: str, value: str, code: str, **more: Any) -> None:
        """Note what is wrong with one cell."""
        self.problems.append(Problem(line, column, shown(value), code, more))


def look_up(table: Table, site: int, today: date) -> Found:
    """Read everything that the rows name, and note every name that is not known.

    Args:
        table: The file as it was read.
        site: The workshop's site.
        today: The workshop's day.

    Returns:
        What was found, with a problem for each cell that names nothing.
    """
    named = {row.lot for row in table.rows if row.lot}
    named |= {origin.lot for row in table.rows for origin in row.made_from}
    lots = {
        lot.number: lot
        for lot in Lot.objects.select_related("part", "revision", "method").filter(
            number__in=named
        )
    }
    origins: dict[int, set[tuple[str, int]]] = defaultdict(set)
    known = LotOrigin.objects.filter(lot__in=[lot.pk for lot in lots.values()])
    for origin in known.select_related("from_lot"):
        origins[origin.lot_id].add((origin.from_lot.number, origin.amount))
    found = Found(
        parts=_by_code(Part.objects.all()),
        revisions={
            (revision.part_id, revision.code.casefold()): revision
            for revision in Revision.objects.all()
        },
        methods=_by_code(with_parts()),
        places=_by_code(Place.objects.filter(active=True)),
        lots=lots,
        origins=origins,
        today=today,
        ahead=frozenset(numbers_ahead(site, named - lots.keys())),
    )
    for line, texts in table.texts:
        _names(found, line, texts)
    return found


def _by_code(rows: Iterable[Any]) -> dict[str, Any]:
    return {row.code.casefold(): row for row in rows}


def _names(found: Found, line: int, texts: dict[str, str]) -> None:
    part_code = texts.get("part", "")
    part = found.parts.get(part_code.casefold())
    if part_code and part is None:
        found.fault(line, "part", part_code, "part_unknown")
    _how_made(found, line, texts, part)
    place = texts.get("place", "")
    where = found.places.get(place.casefold())
    if place and where is None:
        found.fault(line, "place", place, "place_unknown")
    elif where is not None and where.kind == PlaceKind.QUARANTINE:
        found.fault(line, "place", place, "intake_in_quarantine", place=where.name)
    container = texts.get("container", "")
    if container and container.casefold() not in set(Container):
        found.fault(line, "container", container, "container_unknown", read=container)
    way = texts.get("counted by", "")
    if way and way.casefold() not in set(CountedBy):
        found.fault(line, "counted by", way, "counting_way_unknown", read=way)


def _how_made(
    found: Found, line: int, texts: dict[str, str], part: Part | None
) -> None:
    """Note a revision or method that is unknown, or that a new lot cannot be of."""
    is_new = texts.get("lot", "") not in found.lots
    if part and (code := texts.get("revision", "")):
        revision = found.revisions.get((part.pk, code.casefold()))
        if revision is None:
            found.fault(line, "revision", code, "revision_unknown", part=part.code)
        elif is_new and not revision.active:
            said = {"part": part.name, "revision": code}
            found.fault(line, "revision", code, "revision_closed", **said)
    if code := texts.get("method", ""):
        method = found.methods.get(code.casefold())
        if method is None:
            found.fault(line, "method", code, "method_unknown")
        elif is_new and part:
            try:
                need_method_for(method, part)
            except Refused as error:
                found.fault(line, "method", code, error.code, **error.params)


def lots_of(table: Table, found: Found) -> tuple[list[NewLot], list[Entry]]:
    """Put the rows of each lot together and check them against the record.

    All that can be said is said at once: of a row with a fault whatever else is in it,
    and of lots without one what is in doubt.

    Args:
        table: The file as it was read.
        found: What it names; gets a problem for each thing that is wrong, and a
            question for each that can hardly be right.

    Returns:
        What would be taken in, and the same for showing; both empty with problems.
    """
    groups = by_lot(table.every)
    for group in groups:
        lot = found.lots.get(group[0].lot)
        if lot is None:
            _check_new(found, group[0])
        else:
            _check_known(found, group[0], lot)
        for row in group:
            _check_pieces(found, row)
    _check_materials(found, [group[0] for group in groups])
    wrong = {problem.line for problem in (*table.problems, *found.problems)}
    whole = [group for group in groups if wrong.isdisjoint(row.line for row in group)]
    is_readable = {row.line for row in table.rows}.issuperset
    fit = [group for group in whole if is_readable(row.line for row in group)]
    new = [_new_lot(found, group) for group in fit]
    _ask(found, fit, new)
    if wrong:
        return [], []
    return new, [_entry(found, group) for group in fit]


def _check_pieces(found: Found, row: Row) -> None:
    for pieces in {n for n in row.counts if n > MOST_PIECES}:
        code, figures = "pieces_out_of_range", {"read": pieces, "most": MOST_PIECES}
        found.fault(row.line, "counts", str(pieces), code, **figures)


def _check_new(found: Found, row: Row) -> None:
    if "made on" not in row.bad and row.made_on > found.today:
        days = {"made_on": row.made_on, "today": found.today}
        found.fault(row.line, "made on", str(row.made_on), "made_on_future", **days)
    last = found.today.year + YEARS_AHEAD
    if row.use_by is not None and row.use_by.year > last:
        figures = {"use_by": row.use_by, "year": last}
        found.fault(row.line, "use by", str(row.use_by), "use_by_too_far", **figures)
    if "source" not in row.bad and not row.source:
        found.fault(row.line, "source", "", "source_missing")
    if row.lot in found.ahead:
        found.fault(row.line, "lot", row.lot, "lot_number_ahead", lot=row.lot)
    for name, most in LONGEST.items():
        what, value = name.replace("_", " "), getattr(row, name)
        if len(value) > most:
            found.fault(row.line, what, value, "entry_too_long", what=what, most=most)


def _check_known(found: Found, row: Row, lot: Lot) -> None:
    if lot.stage == LotStage.CLOSED:
        found.fault(row.line, "lot", row.lot, "lot_closed", lot=lot.number)
        return
    method = lot.method.code if lot.method else ""
    known = {
        "part": (row.part.casefold(), lot.part.code.casefold(), lot.part.code),
        "revision": (
            row.revision.casefold(),
            lot.revision.code.casefold(),
            lot.revision.code,
        ),
        "method": (row.method.casefold(), method.casefold(), method),
        "made on": (row.made_on, lot.made_on, lot.made_on.isoformat()),
        "source": (row.source or lot.source, lot.source, lot.source),
        "source number": (
            row.source_number or lot.source_number,
            lot.source_number,
            lot.source_number,
        ),
        "use by": (
            row.use_by or lot.use_by,
            lot.use_by,
            lot.use_by.isoformat() if lot.use_by else "",
        ),
    }
    for column, (read, on_record, text) in known.items():
        if column not in row.bad and read != on_record:
            value = str(read)
            found.fault(
                row.line, column, value, "lot_differs", lot=lot.number, known=text
            )
    waste = {origin.lot: origin.amount for origin in row.waste}
    named = {(each.lot, each.amount - waste.get(each.lot, 0)) for each in row.made_from}
    if (
        "made from" not in row.bad
        and named
        and named != found.origins.get(lot.pk, set())
    ):
        was = found.origins.get(lot.pk, set())
        text, known_text = (
            "; ".join(f"{number}: {amount}" for number, amount in sorted(pairs))
            for pairs in (named, was)
        )
        differ = {"lot": lot.number, "was": known_text or "–", "now": text}
        found.fault(row.line, "made from", text, "conditions_changed", **differ)


def _check_materials(found: Found, rows: list[Row]) -> None:
    """Play through what the new lots use up, oldest bags first."""
    used = [row for row in rows if row.made_from and row.lot not in found.lots]
    wanted = {origin.lot for row in used for origin in row.made_from}
    ids = [lot.pk for number, lot in found.lots.items() if number in wanted]
    reach = standing_reach() if ids else None
    left: dict[int, list[list[Any]]] = defaultdict(list)
    for bag in Bag.objects.filter(lot__in=ids, stage__in=USABLE).order_by("pk"):
        why = None if reach is None else reach.why_bag(bag)
        held = why and {"bag": bag.number, "by": why.by, "reason": why.reason}
        left[bag.lot_id].append([bag.pieces, held])
    for row in used:
        for origin in row.made_from:
            material = found.lots.get(origin.lot)
            if material is None:
                found.fault(row.line, "made from", origin.lot, "material_unknown")
                continue
            if material.use_by is not None and "made on" not in row.bad:
                _check_use_by(found, row, material)
            held, short = _draw(left[material.pk], origin.amount)
            if held:
                found.fault(row.line, "made from", origin.lot, "bag_on_hold", **held)
            elif short:
                found.fault(
                    row.line,
                    "made from",
                    origin.lot,
                    "not_enough_material",
                    lot=origin.lot,
                    wanted=origin.amount,
                    short=short,
                )


def _check_use_by(found: Found, row: Row, material: Lot) -> None:
    use_by, made_on = material.use_by, row.made_on
    if use_by is not None and use_by < made_on:
        figures = {"lot": material.number, "use_by": use_by, "made_on": made_on}
        code = "material_past_use_by"
        found.fault(row.line, "made from", material.number, code, **figures)


def _draw(bags: list[list[Any]], amount: int) -> tuple[dict[str, str] | None, int]:
    """Take an amount out of bags; gives the held bag it met, and what is missing."""
    for bag in bags:
        taken = min(bag[0], amount)
        if taken and bag[1]:
            return bag[1], amount
        bag[0] -= taken
        amount -= taken
    return None, amount


def _new_lot(found: Found, group: tuple[Row, ...]) -> NewLot:
    row = group[0]
    part = found.parts[row.part.casefold()]
    lot = found.lots.get(row.lot)
    method = found.methods.get(row.method.casefold())
    return NewLot(
        part_id=part.pk,
        revision_id=found.revisions[part.pk, row.revision.casefold()].pk,
        made_on=row.made_on,
        source=row.source,
        bags=tuple(bag for each in group for bag in _bags(found, each)),
        lot_id=lot.pk if lot else None,
        number=row.lot,
        method_id=method.pk if method else None,
        use_by=row.use_by,
        source_number=row.source_number,
        made_from=()
        if lot
        else tuple((found.lots[o.lot].pk, o.amount) for o in row.made_from),
        waste=() if lot else tuple((found.lots[o.lot].pk, o.amount) for o in row.waste),
        close=any(each.close for each in group),
        sure=next((each.sure for each in group if each.sure), ""),
    )


def _ask(found: Found, groups: list[tuple[Row, ...]], new: list[NewLot]) -> None:
    """Ask about what can hardly be right, unless the rows say why it is."""
    for doubt in doubts(new):
        if new[doubt.nth].sure:
            continue
        group = groups[doubt.nth]
        row, column = group[0], "made from"
        text = "; ".join(f"{each.lot}: {each.amount}" for each in row.made_from)
        if doubt.pieces:
            row = next(row for row in group if doubt.pieces in row.counts)
            column, text = "counts", str(doubt.pieces)
        found.questions.append(
            Problem(row.line, column, shown(text), doubt.code, doubt.figures)
        )


def _bags(found: Found, row: Row) -> Iterable[NewBag]:
    place = found.places.get(row.place.casefold())
    container = row.container.casefold() or Container.TOTE
    for pieces in row.counts:
        yield NewBag(
            pieces,
            str(container),
            place.pk if place else None,
            counted_by=row.counted_by.casefold(),
        )


def _entry(found: Found, group: tuple[Row, ...]) -> Entry:
    row = group[0]
    part = found.parts[row.part.casefold()]
    return Entry(
        line=row.line,
        number=row.lot,
        part=part.name,
        revision=found.revisions[part.pk, row.revision.casefold()].code,
        bags=sum(len(each.counts) for each in group),
        pieces=sum(sum(each.counts) for each in group),
        unit=part.unit,
        is_new=row.lot not in found.lots,
    )
