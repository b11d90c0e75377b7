"""Boxes: what is in them, that it is complete and pinned, and who they say they are."""

from __future__ import annotations

import json
from datetime import timedelta
from typing import Any

from django.db.models import Expression, F, Min, OuterRef, QuerySet, Subquery, Sum
from django.db.models.functions import Coalesce

from kitting.domain import batch, gs1, numbers
from kitting.domain.errors import CodeError
from kitting.domain.stages import BOX_MOVES, BoxStage, MovementKind
from kitting.ledger.proof import register
from kitting.ledger.proof.faults import Tally
from kitting.ledger.proof.newest import register_newest
from kitting.ledger.proof.stages import replay
from kitting.ledger.proof.streams import Ids, Row, grouped, only, rows, side_by_side
from kitting.models import Box, BoxEvent, BoxLine, Link, Movement, Print, RecipeLine

BOX = Box._meta.db_table
LINE = BoxLine._meta.db_table
_CLOSED = BoxStage.CLOSED
NEW = (BoxStage.OPEN, BoxStage.VOIDED)
"""Stages in which a box may have no identity; an open box may have been cancelled."""


KEY = ("box_id", "bag_id", "by")
_BY = Coalesce(F("run_id"), 0)
"""The run that had cleared the pieces; 0 where none was needed."""


def contents(tally: Tally, ids: Ids = None) -> None:
    """The lines of every box are what was packed into it less what was taken back.

    Args:
        tally: Where lines are counted and faults noted.
        ids: The boxes; None for all of them.
    """
    inside = only(BoxLine.objects.all(), "box_id", ids)
    lines = (
        inside.annotate(by=_BY)
        .order_by(*KEY)
        .values(*KEY, "box__stage")
        .annotate(total=Sum("pieces"))
        .values_list(*KEY, "total", "box__stage")
    )
    kinds = (MovementKind.PACKED, MovementKind.UNPACKED)
    into = only(Movement.objects.filter(box__isnull=False), "box_id", ids)
    packed = _moved(into.filter(kind__in=kinds), Sum(-F("delta")))
    waste = into.filter(kind=MovementKind.SCRAPPED, delta=0)
    scrapped = _moved(waste, Sum("pieces"))
    streams = [grouped(rows(found), width=3) for found in (lines, packed, scrapped)]
    for (box, bag, _by), (in_box, moved, gone) in side_by_side(*streams):
        tally.count += len(in_box)
        have = sum(row[0] for row in in_box)
        tally.same(
            LINE,
            box,
            f"Box {box} has other pieces of bag {bag} than were packed into it, or as"
            " another run had cleared them.",
            sum(total for (total,) in moved),
            have,
        )
        voided = bool(in_box) and in_box[0][1] == BoxStage.VOIDED
        tally.same(
            LINE,
            box,
            f"What box {box} held of bag {bag} is scrapped when it is voided, not"
            " before.",
            have if voided else 0,
            sum(total for (total,) in gone),
        )
    strange = inside.exclude(lot=F("bag__lot")).order_by("pk")
    for pk, lot, own in rows(strange.values_list("pk", "lot_id", "bag__lot_id")):
        tally.add(LINE, pk, "It names another lot than its bag is of.", own, lot)


def _moved(found: QuerySet[Movement], total: Expression) -> QuerySet[Movement, Any]:
    summed = found.annotate(by=_BY).order_by(*KEY).values(*KEY).annotate(total=total)
    totals: QuerySet[Movement, Any] = summed.values_list(*KEY, "total")
    return totals


def complete(tally: Tally, ids: Ids = None) -> None:
    """Every box past open holds its recipe times its size, of pinned revisions only.

    Args:
        tally: Where boxes are counted and faults noted.
        ids: The boxes; None for all of them.
    """
    recipes = _recipes()
    every = only(Box.objects.order_by("pk"), "pk", ids).values_list(
        "pk", "stage", "recipe_id", "size__sets", "serial"
    )
    key = ("box_id", "lot__part_id", "lot__revision_id")
    held = (
        only(BoxLine.objects.order_by("box_id"), "box_id", ids)
        .values(*key)
        .annotate(total=Sum("pieces"))
        .values_list(*key, "total")
    )
    for pk, (box, inside) in side_by_side(grouped(rows(every)), grouped(rows(held))):
        for stage, recipe, sets, serial in box:
            tally.count += 1
            _measure(tally, pk, recipes.get(recipe, []), sets, inside)
            if stage == BoxStage.OPEN or serial is None:
                continue
            for line in recipes.get(recipe, []):
                have = sum(n for part, _, n in inside if part == line.part_id)
                tally.same(
                    BOX,
                    pk,
                    f"The box is past open and not complete in {line.part}.",
                    line.needed(sets),
                    have,
                )


def _measure(
    tally: Tally, pk: int, recipe: list[RecipeLine], sets: int, inside: list[Row]
) -> None:
    by_part = {line.part_id: line for line in recipe}
    for part, revision, pieces in inside:
        line = by_part.get(part)
        if line is None:
            tally.add(BOX, pk, f"Part {part} is not in the box's recipe.", 0, pieces)
        elif not line.pins(revision):
            tally.add(
                BOX,
                pk,
                f"The recipe does not pin that revision of {line.part}.",
                line.revision_id,
                revision,
            )
        elif pieces > line.needed(sets):
            tally.add(BOX, pk, f"Too much of {line.part}.", line.needed(sets), pieces)


def _recipes() -> dict[int, list[RecipeLine]]:
    found: dict[int, list[RecipeLine]] = {}
    for line in RecipeLine.objects.select_related("part").order_by("pk"):
        found.setdefault(line.recipe_id, []).append(line)
    return found


def identity(tally: Tally, ids: Ids = None) -> None:
    """Every box past open has its whole identity, and its check digits are right.

    Args:
        tally: Where boxes are counted and faults noted.
        ids: The boxes; None for all of them.
    """
    lines = BoxLine.objects.filter(box=OuterRef("pk")).order_by().values("box")
    soonest = lines.annotate(day=Min("lot__use_by")).values("day")
    found = (
        only(Box.objects.annotate(soonest=Subquery(soonest)), "pk", ids)
        .annotate(closed=_moment(BoxStage.CLOSED), seen=_moment(BoxStage.LABELLED))
        .annotate(copies=Subquery(_first_copy()), outcome=Subquery(_closing()))
        .select_related("recipe")
        .order_by("pk")
    )
    for box in found.iterator(chunk_size=500):
        same = tally.same
        seen = box.label_seen_at
        same(BOX, box.pk, "Its label was scanned at another moment.", box.seen, seen)
        if box.stage in NEW and box.serial is None:
            continue
        tally.count += 1
        _who(tally, box, box.outcome)
        same(BOX, box.pk, "It was closed at another moment.", box.closed, box.closed_at)
        same(BOX, box.pk, "It keeps as long as its lots.", box.soonest, box.use_by)
        if seen is not None and box.copies is None:
            tally.add(BOX, box.pk, "It is labelled, by no print.", "a print", "none")


def _moment(after: BoxStage) -> Subquery:
    """The moment of the first event that brought a box into a stage."""
    events = BoxEvent.objects.filter(box=OuterRef("pk"), after=after)
    return Subquery(events.order_by("nth").values("operation__at")[:1])


def _first_copy() -> QuerySet[Print, Any]:
    return Print.objects.filter(box=OuterRef("pk")).order_by("copy").values("copy")[:1]


def _closing() -> QuerySet[Link, Any]:
    """The outcome of the act that closed a box, which its link seals."""
    events = BoxEvent.objects.filter(box=OuterRef(OuterRef("pk")), after=_CLOSED)
    first = events.order_by("nth").values("operation")[:1]
    return Link.objects.filter(operation=Subquery(first)).values("outcome")[:1]


def _sealed(outcome: str | None) -> tuple[object, ...] | None:
    try:
        said = json.loads(outcome or "")
        return said["serial"], said["sscc"], said["batch"]
    except (ValueError, KeyError, TypeError):
        return None


def _who(tally: Tally, box: Box, outcome: str | None) -> None:
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
        read = batch.read_batch(box.batch)
    except CodeError:
        tally.add(BOX, box.pk, "Its kit batch is none.", "a kit batch", box.batch)
        return
    tally.same(
        BOX,
        box.pk,
        "Its kit batch is of another day or recipe version.",
        f"{box.packed_on} version {box.recipe.version}",
        f"{read.packed_on} version {read.recipe_version}",
    )


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
    ("box stages", "events", stages),
    ("box contents", "lines", contents),
    ("box recipes", "boxes", complete),
    ("box numbers", "boxes", numbered),
    ("box identities", "boxes", identity),
)
for each in (
    ("box stages", "events", stages),
    ("box contents", "lines", contents),
    ("box recipes", "boxes", complete),
    ("box identities", "boxes", identity),
):
    register_newest(*each, (BoxEvent, "box_id"), (Movement, "box_id"))
