"""Boxes: what is in them, that it is complete and pinned, and who they say they are."""

from __future__ import annotations

import json
from collections import Counter, defaultdict
from collections.abc import Iterator
from datetime import date, datetime, timedelta
from functools import lru_cache
from typing import Any, NamedTuple

from django.db.models import F, Min, QuerySet

from kitting.domain import batch, gs1, numbers
from kitting.domain.errors import CodeError
from kitting.domain.stages import BOX_MOVES, BoxStage, MovementKind
from kitting.ledger.pinned import NOTHING, Pinned, every_pinned
from kitting.ledger.proof import register
from kitting.ledger.proof.faults import Tally
from kitting.ledger.proof.newest import register_newest
from kitting.ledger.proof.stages import replay
from kitting.ledger.proof.streams import (
    Ids,
    Row,
    composed,
    grouped,
    only,
    rows,
    side_by_side,
    stored,
)
from kitting.models import (
    Box,
    BoxEvent,
    BoxLine,
    BoxSize,
    Link,
    Method,
    Movement,
    Print,
    Recipe,
)

BOX = Box._meta.db_table
LINE = BoxLine._meta.db_table
NEW = (BoxStage.OPEN, BoxStage.VOIDED)
"""Stages in which a box may have no identity; an open box may have been cancelled."""


def contents(tally: Tally, ids: Ids = None) -> None:
    """The lines of every box are what was packed into it less what was taken back.

    Args:
        tally: Where lines are counted and faults noted.
        ids: The boxes; None for all of them.
    """
    *streams, strange = _contents(ids)
    for box, (stage, in_box, into) in side_by_side(*map(grouped, map(rows, streams))):
        _inside(tally, box, (BoxStage.VOIDED,) in stage, in_box, into)
    for pk, lot, own in rows(strange):
        tally.add(LINE, pk, "It names another lot than its bag is of.", own, lot)


@composed
def _contents(ids: Ids) -> Iterator[QuerySet[Any, Any]]:
    """Boxes, their lines, and what moved into and out of them; lines of other lots."""
    yield only(Box.objects.order_by("pk"), "pk", ids).values_list("pk", "stage")
    inside = only(BoxLine.objects.all(), "box_id", ids)
    yield inside.order_by("box_id").values_list(*_KEY, "pieces")
    moved = only(Movement.objects.filter(box__isnull=False), "box_id", ids)
    yield moved.order_by("box_id").values_list(*_KEY, "kind", "delta", "pieces")
    strange = inside.exclude(lot=F("bag__lot")).order_by("pk")
    yield strange.values_list("pk", "lot_id", "bag__lot_id")


_KEY = ("box_id", "bag_id", "run_id")
"""Box, bag, and the run that had cleared the pieces; none where none was needed."""


def _inside(
    tally: Tally,
    box: int,
    voided: bool,  # noqa: FBT001
    lines: list[Row],
    moves: list[Row],
) -> None:
    have: dict[tuple[int, int], int] = defaultdict(int)
    packed: dict[tuple[int, int], int] = defaultdict(int)
    gone: dict[tuple[int, int], int] = defaultdict(int)
    for bag, run, pieces in lines:
        have[bag, run or 0] += pieces
    for bag, run, kind, delta, pieces in moves:
        if kind in _INTO_AND_OUT:
            packed[bag, run or 0] -= delta
        elif kind == MovementKind.SCRAPPED and delta == 0:
            gone[bag, run or 0] += pieces
    tally.count += len(have)
    if have == packed and not gone and not voided:
        return
    for key in sorted({*have, *packed, *gone}):
        bag, _run = key
        tally.same(
            LINE,
            box,
            f"Box {box} has other pieces of bag {bag} than were packed into it, or as"
            " another run had cleared them.",
            packed[key],
            have[key],
        )
        tally.same(
            LINE,
            box,
            f"What box {box} held of bag {bag} is scrapped when it is voided, not"
            " before.",
            have[key] if voided else 0,
            gone[key],
        )


_INTO_AND_OUT = frozenset({MovementKind.PACKED, MovementKind.UNPACKED})


def complete(tally: Tally, ids: Ids = None) -> None:
    """Every box past open holds its recipe times its size, of what goes together only.

    Args:
        tally: Where boxes are counted and faults noted.
        ids: The boxes; None for all of them.
    """
    recipes = dict(every_pinned())
    every = only(Box.objects.order_by("pk"), "pk", ids).values_list(
        "pk", "stage", "recipe_id", "size_id", "serial"
    )
    # Joined, the few sizes would come first, and all boxes would have to be sorted.
    sizes = dict(BoxSize.objects.values_list("pk", "sets"))
    lines_of = only(BoxLine.objects.order_by("box_id"), "box_id", ids)
    held = lines_of.values_list("box_id", "lot__part_id", "lot__revision_id", "pieces")
    exact: dict[tuple[int, int], set[Row] | None] = {}
    for pk, (box, inside) in side_by_side(grouped(rows(every)), grouped(rows(held))):
        for stage, recipe, size, serial in box:
            tally.count += 1
            sets, pinned = sizes.get(size, 0), recipes.get(recipe, NOTHING)
            if (recipe, sets) not in exact:
                exact[recipe, sets] = _exactly(pinned, sets)
            wanted = exact[recipe, sets]
            if wanted and len(inside) == len(wanted) and wanted == set(inside):
                continue  # To the piece what the recipe says, as nearly all are.
            inside = _added_up(inside)
            if wanted and wanted == set(inside):
                continue
            have = _measure(tally, pk, pinned, sets, inside)
            if stage == BoxStage.OPEN or serial is None:
                continue
            for line in pinned.lines:
                tally.same(
                    BOX,
                    pk,
                    f"The box is past open and not complete in {line.part}.",
                    line.needed(sets),
                    have[line.pk],
                )


def tried(tally: Tally) -> None:
    """Nothing was packed of a method that was on trial.

    Args:
        tally: Where methods are counted and faults noted.
    """
    packed = Movement.objects.filter(
        kind=MovementKind.PACKED, lot__method__isnull=False
    ).order_by()
    first = packed.values_list("lot__method").annotate(Min("operation"))
    began = dict(first)
    for method in Method.objects.select_related("release").order_by("pk"):
        tally.count += 1
        act = began.get(method.pk)
        released = None if method.on_trial else method.release.operation_id
        if act is None or (released is not None and released < act):
            continue
        # Acts get their numbers before they wait for each other; links are in order.
        too_early = packed.filter(lot__method=method)
        if released is not None:
            link = Link.objects.get(operation=released)
            too_early = too_early.filter(operation__link__seq__lt=link.seq)
        for box in set(too_early.values_list("box", flat=True)):
            words = f"What was made with {method} was packed while it was on trial."
            tally.add(BOX, box, words, "released", "on trial")


def _added_up(inside: list[Row]) -> list[Row]:
    """Pieces by part and revision: those of a part may be of several bags."""
    total: Counter[Row] = Counter()
    for *kind, pieces in inside:
        total[tuple(kind)] += pieces
    return [(*kind, pieces) for kind, pieces in total.items()]


def _exactly(pinned: Pinned, sets: int) -> set[Row] | None:
    """What is in a box without substitutes; None where that does not go together."""
    if pinned.together.apart([line.revision_id for line in pinned.lines_for(sets)]):
        return None
    return {
        (line.part_id, line.revision_id, line.needed(sets))
        for line in pinned.lines_for(sets)
    }


def _measure(
    tally: Tally, pk: int, pinned: Pinned, sets: int, inside: list[Row]
) -> Counter[int]:
    """Compare what is in a box with its recipe, and count it by line."""
    have: Counter[int] = Counter()
    for part, revision, pieces in inside:
        line = pinned.line_of(part)
        if line is None:
            tally.add(BOX, pk, f"Part {part} is not in the box's recipe.", 0, pieces)
            continue
        have[line.pk] += pieces
        taken = pinned.together.takes[line.pk]
        if revision not in taken:
            words = f"The recipe does not pin that revision for {line.part}."
            tally.add(BOX, pk, words, list(taken), revision)
    for line in pinned.lines:
        if have[line.pk] > (most := line.needed(sets)):
            tally.add(BOX, pk, f"Too much of {line.part}.", most, have[line.pk])
    for pair in pinned.together.apart({revision for _, revision, _ in inside}):
        tally.add(BOX, pk, "In this recipe they do not go together.", "apart", pair)
    return have


class _Box(NamedTuple):
    pk: int
    stage: str
    serial: str | None
    sscc: str | None
    batch: str
    packed_on: date | None
    use_by: date | None
    closed_at: datetime | None
    label_seen_at: datetime | None
    version: int


_COLUMNS = (*_Box._fields[:-1], "recipe_id")


def identity(tally: Tally, ids: Ids = None) -> None:
    """Every box past open has its whole identity, and its check digits are right.

    Args:
        tally: Where boxes are counted and faults noted.
        ids: The boxes; None for all of them.
    """
    versions = dict(Recipe.objects.values_list("pk", "version"))
    every, soonest, *events = _identities(ids)
    read = stored(every), rows(soonest), *map(stored, events)
    streams = [grouped(found) for found in read]
    for _pk, (found, days, closed, seen, printed) in side_by_side(*streams):
        for row in found:
            box = _Box._make((*row[:-1], versions.get(row[-1], 0)))
            same = tally.same
            at, outcome = closed[0] if closed else (None, None)
            on, scanned = seen[0][0] if seen else None, box.label_seen_at
            same(BOX, box.pk, "Its label was scanned at another moment.", on, scanned)
            if box.stage in NEW and box.serial is None:
                continue
            tally.count += 1
            _who(tally, box, outcome)
            same(BOX, box.pk, "It was closed at another moment.", at, box.closed_at)
            keeps = days[0][0] if days else None
            same(BOX, box.pk, "It keeps as long as its lots.", keeps, box.use_by)
            if scanned is not None and not printed:
                words = "It is labelled, by no print."
                tally.add(BOX, box.pk, words, "a print", "none")


@composed
def _identities(ids: Ids) -> Iterator[QuerySet[Any, Any]]:
    """Boxes, how long their lots keep, when they were closed and labelled, their prints."""
    every = only(Box.objects.order_by("pk"), "pk", ids)
    yield every.values_list("pk", *_COLUMNS)
    lines = only(BoxLine.objects.order_by("box_id"), "box_id", ids).values("box_id")
    yield lines.annotate(day=Min("lot__use_by")).values_list("box_id", "day")
    yield _moments(BoxStage.CLOSED, ids, "operation__link__outcome")
    yield _moments(BoxStage.LABELLED, ids)
    prints = only(Print.objects.filter(box__isnull=False), "box_id", ids)
    yield prints.order_by("box_id").values_list("box_id", "copy")


def _moments(
    after: BoxStage, ids: Ids, *beside: str
) -> QuerySet[BoxEvent, tuple[Any, ...]]:
    """The moments of the events that brought boxes into a stage, the first one first."""
    events = only(BoxEvent.objects.filter(after=after), "box_id", ids)
    return events.order_by("box_id", "nth").values_list(
        "box_id", "operation__at", *beside
    )


def _sealed(outcome: str | None) -> tuple[object, ...] | None:
    try:
        said = json.loads(outcome or "")
        return said["serial"], said["sscc"], said["batch"]
    except (ValueError, KeyError, TypeError):
        return None


def _who(tally: Tally, box: _Box, outcome: str | None) -> None:
    if not box.serial or box.packed_on is None or box.closed_at is None:
        tally.add(BOX, box.pk, "Its identity is not complete.", "an identity", "less")
        return
    tally.same(
        BOX,
        box.pk,
        "The act that closed it gave it another serial, SSCC or kit batch.",
        _sealed(outcome),
        (box.serial, box.sscc, box.batch),
    )
    _number(tally, box.pk, box.serial, numbers.Kind.SERIAL)
    if box.sscc is not None and not gs1.sscc_ok(box.sscc):
        tally.add(BOX, box.pk, "Its SSCC is none.", "a right check digit", box.sscc)
    # The workshop's day may differ from the day in UTC, by one.
    if abs(box.packed_on - box.closed_at.date()) > timedelta(days=1):
        tally.add(
            BOX, box.pk, "It was packed another day.", box.closed_at, box.packed_on
        )
    try:
        read = _read_batch(box.batch)
    except CodeError:
        tally.add(BOX, box.pk, "Its kit batch is none.", "a kit batch", box.batch)
        return
    if (read.packed_on, read.recipe_version) != (box.packed_on, box.version):
        tally.add(
            BOX,
            box.pk,
            "Its kit batch is of another day or recipe version.",
            f"{box.packed_on} version {box.version}",
            f"{read.packed_on} version {read.recipe_version}",
        )


_read_batch = lru_cache(maxsize=64)(batch.read_batch)
"""Boxes of one day have one batch, or a few."""


def numbered(tally: Tally) -> None:
    """Every number that Lotward gave a box, opened or closed, checks out.

    Args:
        tally: Where boxes are counted and faults noted.
    """
    for pk, number in rows(Box.objects.order_by("pk").values_list("pk", "number")):
        tally.count += 1
        _number(tally, pk, number, numbers.Kind.BOX)


def _number(tally: Tally, pk: int, text: str, kind: numbers.Kind) -> None:
    try:
        read = numbers.read(text)
    except CodeError as error:
        tally.add(BOX, pk, f"Its number is none ({error.code}).", kind.name, text)
        return
    tally.same(BOX, pk, "Its number is of another kind.", kind, read.kind)


def stages(tally: Tally, ids: Ids = None) -> None:
    """Replay the events of every box up to the stage it is in.

    Args:
        tally: Where events are counted and faults noted.
        ids: The boxes; None for all of them.
    """
    every = only(Box.objects.all(), "pk", ids)
    events = only(BoxEvent.objects.all(), "box_id", ids)
    replay(tally, every, events, "box_id", BOX_MOVES)


register(
    ("box stages", "events", stages, Box, BoxEvent),
    ("box contents", "lines", contents, Box, BoxLine, Movement),
    ("box recipes", "boxes", complete, Box),
    ("methods", "methods", tried, Method),
    ("box numbers", "boxes", numbered, Box),
    ("box identities", "boxes", identity, Box),
)
for each in (
    ("box stages", "events", stages),
    ("box contents", "lines", contents),
    ("box recipes", "boxes", complete),
    ("box identities", "boxes", identity),
):
    register_newest(*each, (BoxEvent, "box_id"), (Movement, "box_id"))
