"""What is checked of bags and lots: every movement, every balance."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import cache
from typing import Any, NamedTuple

from django.db.models import (
    BigIntegerField,
    Case,
    Expression,
    F,
    QuerySet,
    Sum,
    When,
)

from kitting.domain.stages import (
    GONE,
    IN_HOUSE,
    REPACKABLE,
    BagStage,
    BoxStage,
    MovementKind,
)
from kitting.ledger.proof import register
from kitting.ledger.proof.faults import Tally
from kitting.ledger.proof.newest import register_newest
from kitting.ledger.proof.streams import (
    Ids,
    composed,
    grouped,
    only,
    rows,
    side_by_side,
)
from kitting.ledger.reach import fold
from kitting.models import (
    Bag,
    BoxLine,
    Lot,
    Movement,
    OpenBag,
)

BAG = Bag._meta.db_table
MOVEMENT = Movement._meta.db_table
OPEN = OpenBag._meta.db_table

_K, _S = MovementKind, BagStage
_IN = {_K.RECEIVED, _K.FOUND, _K.UNPACKED}
_OUT = {
    _K.PACKED,
    _K.SAMPLED,
    _K.MADE_INTO,
    _K.SENT_BACK,
    _K.SCRAPPED,
    _K.MISSING,
    _K.CANCELLED,
}
_OF_A_BOX = {_K.PACKED, _K.UNPACKED}
_FROM_TO: Mapping[MovementKind, tuple[set[str], set[str]]] = {
    _K.RECEIVED: ({""}, {_S.ARRIVED}),
    _K.ACCEPTED: ({_S.ARRIVED, _S.REJECTED}, {_S.ACCEPTED}),
    _K.REJECTED: ({_S.ARRIVED, _S.ACCEPTED}, {_S.REJECTED}),
    _K.WENT_ON: ({_S.ACCEPTED}, {_S.IN_RUN}),
    _K.CAME_OFF: ({_S.IN_RUN}, {_S.EXPOSED}),
    _K.CLEARED: ({_S.EXPOSED, _S.ACCEPTED}, {_S.CLEARED}),
    _K.NOT_CLEARED: ({_S.EXPOSED, _S.IN_RUN}, {_S.ACCEPTED, _S.REJECTED}),
    _K.SET_BACK: ({_S.CLEARED}, {_S.ACCEPTED, _S.ARRIVED}),
}
"""Kinds that carry a bag from one stage to another; the others leave it where it is."""


class _Move(NamedTuple):
    nth: int
    pk: int
    lot: int
    box: int | None
    kind: str
    pieces: int
    delta: int
    after: int
    stage_before: str
    stage_after: str
    place: int | None
    corrects: int | None


class _Bag(NamedTuple):
    lot: int
    stage: str
    place: int | None
    pieces: int
    moves: int


def movements(tally: Tally, ids: Ids = None) -> None:
    """Replay every bag: its movements lead, one by one, to what it is now.

    Args:
        tally: Where movements are counted and faults noted.
        ids: The bags; None for all of them.
    """
    bags, moves = _moved(ids)
    for pk, (bag, made) in side_by_side(grouped(rows(bags)), grouped(rows(moves))):
        tally.count += len(made)
        if not bag:
            tally.add(BAG, pk, "Movements name a bag that is not there.", "a bag", "")
            continue
        _replay(tally, pk, _Bag(*bag[0]), [_Move(*row) for row in made])


@composed
def _moved(ids: Ids = None) -> Iterator[QuerySet[Any, Any]]:
    """Bags as they are, and all that moved them."""
    yield only(Bag.objects.order_by("pk"), "pk", ids).values_list(
        "pk", "lot_id", "stage", "place_id", "pieces", "moves"
    )
    moved = Movement.objects.order_by("bag_id", "nth")
    yield only(moved, "bag_id", ids).values_list(
        "bag_id",
        "nth",
        "pk",
        "lot_id",
        "box_id",
        "kind",
        "pieces",
        "delta",
        "after",
        "stage_before",
        "stage_after",
        "place_id",
        "corrects_id",
    )


def _replay(tally: Tally, pk: int, bag: _Bag, made: list[_Move]) -> None:
    count, stage, place = 0, "", None
    for nth, move in enumerate(made, start=1):
        if move.nth != nth:
            tally.add(
                MOVEMENT, move.pk, f"A movement of bag {pk} is missing.", nth, move.nth
            )
            return
        _follows(tally, move, bag, count, stage)
        count, stage, place = move.after, move.stage_after, move.place
    words = "The bag's movements lead to another {}."
    same = tally.same
    same(BAG, pk, words.format("number of movements"), len(made), bag.moves)
    same(BAG, pk, words.format("number of pieces"), count, bag.pieces)
    same(BAG, pk, words.format("stage"), stage or "none", bag.stage)
    same(BAG, pk, words.format("place"), place, bag.place)


def _follows(tally: Tally, move: _Move, bag: _Bag, count: int, stage: str) -> None:
    way = (move.delta > 0) - (move.delta < 0)
    led_to = bag.lot, stage, count + move.delta
    box = None if move.box is None else 1
    corrects = None if move.corrects is None else 1
    if (
        led_to == (move.lot, move.stage_before, move.after)
        and move.delta == way * move.pieces
        and _fits(
            *(move.kind, way, box, corrects, move.stage_before, move.stage_after),
            0 if move.after == 0 else 1,
        )
    ):
        return  # As nearly all do; what is wrong is looked for in the others.

    def same(words: str, expected: object, found: object) -> None:
        tally.same(MOVEMENT, move.pk, words, expected, found)

    same("The movement is of another lot than its bag.", bag.lot, move.lot)
    same(
        "The movement does not begin where the one before it ended.",
        stage or "none",
        move.stage_before or "none",
    )
    same("The count after the movement is another.", count + move.delta, move.after)
    same(
        "A bag is used up when it is empty, and only then.",
        move.after == 0,
        move.stage_after == BagStage.USED_UP,
    )
    signs = _signs(move)
    if move.delta not in {sign * move.pieces for sign in signs}:
        allowed = " or ".join(str(sign * move.pieces) for sign in sorted(signs))
        same(f"A movement of the kind {move.kind} changes the count otherwise.",
             allowed, move.delta)  # fmt: skip
    if (move.box is not None) != _names_a_box(move):
        same(
            "Pieces move into and out of a box by name.",
            "a box" if _names_a_box(move) else "none",
            move.box or "none",
        )
    if not _stages_fit(move):
        same(
            f"A movement of the kind {move.kind} does not go that way.",
            "another way",
            f"{move.stage_before or 'none'} to {move.stage_after}",
        )


@cache
def _fits(
    kind: str,
    way: int,
    box: int | None,
    corrects: int | None,
    before: str,
    stage: str,
    after: int,
) -> bool:
    """Whether a movement of one piece could be so: there are a few dozen ways."""
    one = _Move(0, 0, 0, box, kind, 1, way, after, before, stage, None, corrects)
    return (
        way in _signs(one)
        and (box is not None) == _names_a_box(one)
        and (after == 0) == (stage == BagStage.USED_UP)
        and _stages_fit(one)
    )


def _signs(move: _Move) -> set[int]:
    if move.kind == MovementKind.SCRAPPED and move.box is not None:
        return {0}  # The pieces were in the box, not in the bag.
    if move.kind == MovementKind.REPACKED:
        return {1, -1}
    if move.kind in _IN:
        return {1} if move.corrects is None else {1, -1}
    if move.kind in _OUT:
        return {-1} if move.corrects is None else {1, -1}
    return {0}


def _names_a_box(move: _Move) -> bool:
    scrapped = move.kind == MovementKind.SCRAPPED and move.delta == 0
    return move.kind in _OF_A_BOX or scrapped


def _stages_fit(move: _Move) -> bool:
    kind = MovementKind(move.kind)
    before, after = move.stage_before, move.stage_after
    if kind in _FROM_TO:
        return before in _FROM_TO[kind][0] and after in _FROM_TO[kind][1]
    if kind == MovementKind.FOUND and before == "":
        return after == BagStage.ARRIVED
    if kind == MovementKind.REPACKED and before == "":
        return move.delta > 0 and after in REPACKABLE
    if before == BagStage.USED_UP and move.delta > 0:
        return after != BagStage.USED_UP
    return after == before or after == BagStage.USED_UP


def repacked(tally: Tally) -> None:
    """What left a bag for another came into that one as it was, in the same act.

    Args:
        tally: Where movements between bags are counted and faults noted.
    """
    streams = [grouped(rows(found), width=3) for found in _repacked()]
    for (operation, bag, other), (left, came_in) in side_by_side(*streams):
        tally.count += 1
        tally.same(
            MOVEMENT,
            None,
            f"Operation {operation} took other pieces out of bag {bag} than it put into"
            f" bag {other} (pieces, lot, run, stage).",
            left,
            came_in,
        )


@composed
def _repacked() -> Iterator[QuerySet[Any, Any]]:
    """What left bags for others, and what came into those."""
    moved = Movement.objects.filter(kind=MovementKind.REPACKED)
    for way, pair, stage in (
        ("lt", ("bag_id", "other_id"), "stage_before"),
        ("gt", ("other_id", "bag_id"), "stage_after"),
    ):
        found = moved.filter(**{f"delta__{way}": 0}).order_by("operation_id", *pair)
        yield found.values_list(
            "operation_id", *pair, "pieces", "lot_id", "run_id", stage
        )


def open_at_benches(tally: Tally) -> None:
    """A bench's open bag holds pieces, of the part that it is the open bag of.

    Args:
        tally: Where open bags are counted and faults noted.
    """
    found = OpenBag.objects.order_by("pk").values_list(
        "pk", "part", "bag__lot__part", "bag__pieces"
    )
    for pk, part, of, pieces in rows(found):
        tally.count += 1
        tally.same(OPEN, pk, "The open bag is of another part.", of, part)
        if pieces == 0:
            tally.add(OPEN, pk, "A bag is open that is used up.", "pieces in it", 0)


LOT = Lot._meta.db_table
COUNTED = (*IN_HOUSE, *GONE, BoxStage.RETURNED)
"""Stages of a box whose lines count; a voided box counts by its scrapped movements."""

_K = MovementKind
_CAME = (_K.RECEIVED, _K.FOUND)
_WENT = (
    *(_K.SAMPLED, _K.MADE_INTO, _K.SENT_BACK, _K.SCRAPPED, _K.MISSING),
    _K.CANCELLED,
)


def _signed() -> Expression:
    """Pieces of a movement in its kind's usual direction; a correction counts against."""
    came = When(kind__in=_CAME, delta__lt=0, then=-F("pieces"))
    went = When(kind__in=_WENT, delta__gt=0, then=-F("pieces"))
    return Sum(Case(came, went, default=F("pieces"), output_field=BigIntegerField()))


def lots(tally: Tally, ids: Ids = None) -> None:
    """Balance every lot: received and found is in bags, in boxes, gone or used.

    Its source is compared by the key by which holds on a source find it.

    Args:
        tally: Where lots are counted and faults noted.
        ids: The lots; None for all of them.
    """
    streams = [grouped(rows(found)) for found in _balances(ids)]
    for pk, (lot, kinds, bags, boxes) in side_by_side(*streams):
        tally.count += 1
        number = lot[0][0] if lot else "that is not there"
        for _number, source, key in lot:
            words = f"Lot {number} is found by the key of another source."
            tally.same(LOT, pk, words, fold(source), key)
        came = sum(total for kind, total in kinds if kind in _CAME)
        went = sum(total for kind, total in kinds if kind in _WENT)
        here, boxed = (sum(total for (total,) in group) for group in (bags, boxes))
        tally.same(
            LOT,
            pk,
            f"Lot {number} does not balance: {here} in bags, {boxed} in boxes here,"
            f" sent or returned, {went} used, sent back, scrapped or missing.",
            came,
            here + boxed + went,
        )


@composed
def _balances(ids: Ids) -> Iterator[QuerySet[Any, Any]]:
    """Lots, what moved of them by kind, and what of them is in bags and boxes."""
    yield only(Lot.objects.order_by("pk"), "pk", ids).values_list(
        "pk", "number", "source", "source_key"
    )
    yield (
        only(Movement.objects.filter(kind__in=(*_CAME, *_WENT)), "lot_id", ids)
        .order_by("lot_id")
        .values("lot_id", "kind")
        .annotate(total=_signed())
        .values_list("lot_id", "kind", "total")
    )
    yield (
        only(Bag.objects.order_by("lot_id"), "lot_id", ids)
        .values("lot_id")
        .annotate(total=Sum("pieces"))
        .values_list("lot_id", "total")
    )
    yield (
        only(BoxLine.objects.filter(box__stage__in=COUNTED), "lot_id", ids)
        .order_by("lot_id")
        .values("lot_id")
        .annotate(total=Sum("pieces"))
        .values_list("lot_id", "total")
    )


register(
    ("bags", "movements", movements, Bag, Movement),
    ("repacked", "movements", repacked, Movement),
    ("open bags", "bags", open_at_benches, OpenBag),
    ("lots", "lots", lots, Lot, Movement, Bag, BoxLine),
)
register_newest("bags", "movements", movements, (Movement, "bag_id"))
register_newest("lots", "lots", lots, (Movement, "lot_id"))
