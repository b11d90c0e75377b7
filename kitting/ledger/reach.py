"""What the holds of the moment reach, computed from the hold's side."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

from django.db import connection
from django.db.models import Q

from kitting.domain.errors import OnHold
from kitting.domain.stages import MovementKind
from kitting.ledger.kept import Kept
from kitting.models import Bag, Box, BoxLine, Hold, Lot, LotOrigin, Movement, Run
from kitting.models.holds import TARGETS

if TYPE_CHECKING:
    from collections.abc import Iterable

    from django.db.models import QuerySet

NONE: Final[frozenset[Hold]] = frozenset()

MADE_FROM: Final = """
WITH RECURSIVE made(root, lot) AS (
    SELECT from_lot_id, lot_id FROM kitting_lotorigin WHERE from_lot_id IN ({marks})
    UNION SELECT made.root, origin.lot_id FROM made
    JOIN kitting_lotorigin origin ON origin.from_lot_id = made.lot
) SELECT root, lot FROM made
"""
"""Pairs of a lot and what was made from it; a circle ends, as no pair comes twice."""

Marks = dict[int, frozenset[Hold]]
"""Ids of one kind of thing, each with the holds that reach it."""


@dataclass(frozen=True)
class Why:
    """The hold that stops a thing, for whoever meets it."""

    by: str
    """Who placed it, as the journal names them."""
    reason: str
    """Without a full stop at its end, so that it can stand inside a sentence."""


@dataclass(frozen=True)
class Reach:
    """Ids that are held, by what they are; a lot includes all that is made from it.

    So do a bag of material, and a run that cleared it, for what was made from them.
    """

    lots: frozenset[int] = frozenset()
    bags: frozenset[int] = frozenset()
    runs: frozenset[int] = frozenset()
    boxes: frozenset[int] = frozenset()
    holds: Mapping[tuple[str, int | None], frozenset[Hold]] = field(
        default_factory=dict, repr=False
    )
    """By kind (lot, bag, run or box) and id: the holds that reach the thing."""

    def __bool__(self) -> bool:
        return bool(self.lots or self.bags or self.runs or self.boxes)

    def bag(self, bag: Bag) -> bool:
        """Whether a bag is held by itself, its lot or the run that cleared it."""
        return bool(self.on(bag))

    def line(self, line: BoxLine) -> bool:
        """Whether a line of a box is held by its lot, bag or run."""
        return bool(self.on(line))

    def why_bag(self, bag: Bag) -> Why | None:
        """The hold that stops a bag, if one does."""
        return _why(self.on(bag))

    def why_run(self, run: Run) -> Why | None:
        """The hold that stops a run, if one does."""
        return _why(self.on(run))

    def why_box(self, box: Box, lines: Iterable[BoxLine]) -> Why | None:
        """The hold that stops a box, by itself or by one of its lines."""
        return _why(self.on(box, *lines))

    def on(self, *rows: Lot | Bag | Run | Box | BoxLine) -> frozenset[Hold]:
        """Every hold that reaches one of the rows; a box without its lines."""
        if not self.holds:
            return NONE
        keys = [key for row in rows for key in _keys(row)]
        return _joined(*(self.holds.get(key, NONE) for key in keys))


def _keys(row: Lot | Bag | Run | Box | BoxLine) -> list[tuple[str, int | None]]:
    """What a row is and what it is of, as ``Reach.holds`` names it."""
    if isinstance(row, BoxLine):
        return [("bag", row.bag_id), ("lot", row.lot_id), ("run", row.run_id)]
    if isinstance(row, Bag):
        return [("bag", row.pk), ("lot", row.lot_id), ("run", row.cleared_run_id)]
    return [(row._meta.model_name or "", row.pk)]


def _joined(*found: frozenset[Hold]) -> frozenset[Hold]:
    some = [holds for holds in found if holds]
    return some[0] if len(some) == 1 else NONE.union(*some)


def _why(holds: frozenset[Hold]) -> Why | None:
    """Who placed the oldest of some holds, and why."""
    oldest = min(holds, key=lambda hold: hold.pk, default=None)
    return None if oldest is None else why_of(oldest)


def standing_holds() -> list[Hold]:
    """Holds that nobody has lifted, oldest first."""
    return _STANDING()


_STANDING = Kept(
    lambda: (
        Hold.objects.filter(lift__isnull=True)
        .select_related("operation")
        .order_by("pk")
    )
)


def reach_of(holds: Iterable[Hold]) -> Reach:
    """What the given holds reach.

    Args:
        holds: Holds, standing or not.

    Returns:
        The held lots (with their descendants), bags, runs and boxes, and by which.
    """
    by: dict[str, Marks] = {name: {} for name in TARGETS}
    sources: dict[str, frozenset[Hold]] = {}
    for hold in holds:
        if hold.source:
            name = fold(hold.source)
            sources[name] = sources.get(name, NONE) | {hold}
            continue
        for kind, held in by.items():
            pk = None if kind == "source" else getattr(hold, f"{kind}_id")
            if pk is not None:
                held[pk] = held.get(pk, NONE) | {hold}
    runs = _runs_of(by)
    lots = _with_descendants(_with_made_from(_lots_of(by, sources), by["bag"], runs))
    reached = {"lot": lots, "bag": by["bag"], "run": runs, "box": by["box"]}
    return Reach(
        lots=frozenset(lots),
        bags=frozenset(by["bag"]),
        runs=frozenset(runs),
        boxes=frozenset(by["box"]),
        holds={
            (kind, pk): found
            for kind, held in reached.items()
            for pk, found in held.items()
        },
    )


def why_of(hold: Hold) -> Why:
    """Who placed a hold, and why; read with its operation.

    Args:
        hold: The hold.

    Returns:
        What its refusals say.
    """
    return Why(by=hold.operation.by_name, reason=hold.reason.rstrip(". "))


def _lots_of(by: dict[str, Marks], sources: dict[str, frozenset[Hold]]) -> Marks:
    """Lots that are held by themselves or by what they have in common."""
    lots = dict(by["lot"])
    if not (by["revision"] or by["method"] or sources):
        return lots
    wide = Q(revision__in=by["revision"]) | Q(method__in=by["method"])
    if sources:
        spelt = Lot.objects.order_by().values_list("source", flat=True).distinct()
        wide |= Q(source__in=[name for name in spelt if fold(name) in sources])
    rows = Lot.objects.filter(wide).values_list("pk", "revision", "method", "source")
    for pk, revision, method, source in rows.order_by():
        lots[pk] = _joined(
            lots.get(pk, NONE),
            by["revision"].get(revision, NONE),
            by["method"].get(method, NONE),
            sources.get(fold(source), NONE),
        )
    return lots


def fold(source: str) -> str:
    """The name of a source as holds compare it: capitals and blanks do not matter.

    Args:
        source: As it was typed.

    Returns:
        The name to compare.
    """
    return " ".join(source.split()).casefold()


def _with_made_from(lots: Marks, bags: Marks, runs: Marks) -> Marks:
    """Add the lots that were made from a held bag, or from one that a held run cleared.

    The bag's movement and the lot's origin are of one act and name one material.
    """
    if not bags and not runs:
        return lots
    used = Movement.objects.filter(kind=MovementKind.MADE_INTO).order_by()
    used = used.filter(Q(bag__in=list(bags)) | Q(bag__cleared_run__in=list(runs)))
    rows = list(used.values_list("operation", "lot", "bag", "bag__cleared_run"))
    if not rows:
        return lots
    found = LotOrigin.objects.filter(
        operation__in=used.values("operation"), from_lot__in=used.values("lot")
    )
    made: dict[tuple[int, int], list[int]] = {}
    for act, material, lot in found.order_by().values_list(
        "operation", "from_lot", "lot"
    ):
        made.setdefault((act, material), []).append(lot)
    reached = dict(lots)
    for act, material, bag, run in rows:
        held = _joined(bags.get(bag, NONE), runs.get(run, NONE))
        for lot in made.get((act, material), ()):
            reached[lot] = _joined(reached.get(lot, NONE), held)
    return reached


def _runs_of(by: dict[str, Marks]) -> Marks:
    """Runs that are held by themselves or by their protocol."""
    runs = dict(by["run"])
    if by["protocol"]:
        under = Run.objects.filter(protocol__in=by["protocol"])
        for pk, protocol in under.order_by().values_list("pk", "protocol"):
            runs[pk] = _joined(runs.get(pk, NONE), by["protocol"][protocol])
    return runs


def _with_descendants(lots: Marks) -> Marks:
    """Hand the holds on each lot on to all that is made from it."""
    reached = dict(lots)
    for root, lot in _made_from(lots):
        reached[lot] = _joined(reached.get(lot, NONE), lots[root])
    return reached


def _made_from(lots: Collection[int]) -> list[tuple[int, int]]:
    """Pairs of one of the lots and each that was made from it, through any number."""
    if not lots:
        return []
    marks = ", ".join(["%s"] * len(lots))
    with connection.cursor() as cursor:
        cursor.execute(MADE_FROM.format(marks=marks), list(lots))
        return list(cursor.fetchall())


def descendants(lots: set[int]) -> set[int]:
    """The lots and all that is made from them, generation by generation.

    Args:
        lots: Ids to start from.

    Returns:
        Their ids and those of every lot made from one of them.
    """
    return lots | {lot for _root, lot in _made_from(lots)}


def standing_reach() -> Reach:
    """What all standing holds reach now; one query where there is none."""
    return reach_of(standing_holds())


def held_boxes(reach: Reach) -> QuerySet[Any, int]:
    """Ids of all boxes that the reach touches, by themselves or by a line.

    Args:
        reach: What is held.

    Returns:
        Box ids of every stage, to be filtered by: the database finds them from the
        hold's side, and however many there are, none comes here.
    """
    by = {"lot": reach.lots, "bag": reach.bags, "run": reach.runs}
    lines = BoxLine.objects.order_by().values_list("box", flat=True)
    itself = Box.objects.order_by().values_list("pk", flat=True)
    return itself.filter(pk__in=reach.boxes).union(
        *(lines.filter(**{f"{name}__in": held}) for name, held in by.items())
    )


def holds_on_boxes(boxes: Iterable[int], reach: Reach) -> dict[int, list[Hold]]:
    """The holds that reach some boxes, by themselves or by a line.

    Args:
        boxes: Ids of boxes, such as those of one page.
        reach: What is held.

    Returns:
        The boxes that are held, each with its holds, the oldest first.
    """
    if not reach:
        return {}
    ids = set(boxes)
    found = {pk: reach.holds["box", pk] for pk in ids & reach.boxes}
    held = Q(lot__in=reach.lots) | Q(bag__in=reach.bags) | Q(run__in=reach.runs)
    for line in BoxLine.objects.filter(held, box__in=ids).order_by():
        found[line.box_id] = _joined(found.get(line.box_id, NONE), reach.on(line))
    return {pk: sorted(held, key=lambda hold: hold.pk) for pk, held in found.items()}


def refuse_held_bag(bag: Bag, reach: Reach) -> None:
    """Refuse a bag that a hold reaches.

    Args:
        bag: The bag.
        reach: What is held now.

    Raises:
        OnHold: If it is held.
    """
    why = reach.why_bag(bag)
    if why is not None:
        raise OnHold("bag_on_hold", bag=bag.number, by=why.by, reason=why.reason)


def refuse_held_box(box: Box, lines: Iterable[BoxLine], reach: Reach) -> None:
    """Refuse a box that a hold reaches.

    Args:
        box: The box.
        lines: All its lines.
        reach: What is held now.

    Raises:
        OnHold: If it or anything in it is held.
    """
    why = reach.why_box(box, lines)
    if why is not None:
        raise OnHold("box_on_hold", box=str(box), by=why.by, reason=why.reason)
