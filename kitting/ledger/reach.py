"""What the holds of the moment reach, computed from the hold's side."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from django.db import connection
from django.db.models import Q, QuerySet

from kitting.domain.errors import OnHold
from kitting.ledger.kept import Kept
from kitting.models import Bag, Box, BoxLine, Hold, Lot, Run
from kitting.models.holds import TARGETS

NONE: Final[frozenset[Hold]] = frozenset()

Marks = dict[Any, frozenset[Hold]]
"""Ids of one kind of thing, or names of sources, each with the holds that reach it."""

REACHED: Final = """
WITH RECURSIVE
folded(root, name) AS (VALUES {source}),
runs(kind, root, run) AS (
    SELECT 'run', id, id FROM kitting_run WHERE id IN ({run})
    UNION ALL
    SELECT 'protocol', protocol_id, id FROM kitting_run WHERE protocol_id IN ({protocol})
),
bags(root, bag, since) AS (
    SELECT id, id, CAST(0 AS bigint) FROM kitting_bag WHERE id IN ({bag})
    UNION
    SELECT bags.root, moved.other_id, moved.id
    FROM bags CROSS JOIN kitting_movement moved
    WHERE moved.bag_id = bags.bag AND moved.kind = 'repacked'
    AND moved.delta < 0 AND moved.id > bags.since
),
used(kind, root, act, material) AS (
    SELECT 'bag', bags.root, moved.operation_id, moved.lot_id
    FROM bags CROSS JOIN kitting_movement moved
    WHERE moved.bag_id = bags.bag AND moved.kind = 'made_into'
    AND moved.id > bags.since
    UNION ALL
    SELECT runs.kind, runs.root, moved.operation_id, moved.lot_id
    FROM runs CROSS JOIN kitting_runbag stay CROSS JOIN kitting_movement moved
    WHERE stay.run_id = runs.run AND moved.bag_id = stay.bag_id
    AND moved.kind = 'made_into' AND moved.run_id = runs.run
),
lots(kind, root, lot) AS (
    SELECT 'lot', id, id FROM kitting_lot WHERE id IN ({lot})
    UNION
    SELECT 'revision', revision_id, id FROM kitting_lot WHERE revision_id IN ({revision})
    UNION
    SELECT 'method', method_id, id FROM kitting_lot WHERE method_id IN ({method})
    UNION
    SELECT 'source', folded.root, made.id
    FROM folded CROSS JOIN kitting_lot made WHERE made.source_key = folded.name
    UNION
    SELECT used.kind, used.root, origin.lot_id
    FROM used CROSS JOIN kitting_lotorigin origin
    WHERE origin.from_lot_id = used.material AND origin.operation_id = used.act
    UNION
    SELECT lots.kind, lots.root, origin.lot_id
    FROM lots CROSS JOIN kitting_lotorigin origin WHERE origin.from_lot_id = lots.lot
)
SELECT 'run', kind, root, run FROM runs
UNION ALL
SELECT 'lot', kind, root, lot FROM lots
UNION ALL
SELECT 'bag', 'bag', root, bag FROM bags
"""
"""What holds on some roots reach beyond them: runs under a protocol, lots by what they
have in common or were made from, what was made from those, and bags into which pieces of
a bag were repacked since. A bag's movement and the origin of what was made from it are of
one act and name one material. Joins are crossed so that SQLite takes the tables in the
order in which they stand, statistics or not; no pair comes twice, so that a circle ends."""


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

    So do a bag of material, and a run that cleared it, for what was made from them. A
    bag includes those into which pieces of it were repacked.
    """

    lots: frozenset[int] = frozenset()
    bags: frozenset[int] = frozenset()
    runs: frozenset[int] = frozenset()
    boxes: frozenset[int] = frozenset()
    holds: Mapping[tuple[str, int | None], frozenset[Hold]] = field(
        default_factory=dict, repr=False
    )
    """By kind (lot, bag, run or box) and id: the holds that reach the thing."""
    beside: frozenset[int] = frozenset()
    """What was reached from what was asked for besides."""

    def __bool__(self) -> bool:
        return bool(self.lots or self.bags or self.runs or self.boxes)

    def bag(self, bag: Bag) -> bool:
        """Whether a bag is held by itself, its lot or the run that cleared it."""
        return bool(self.on(bag))

    @property
    def of_bags(self) -> Q:
        """The bags that are held, as a filter."""
        return Q(pk__in=self.bags) | Q(lot__in=self.lots) | Q(cleared_run__in=self.runs)

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
    return STANDING()


STANDING = Kept(
    lambda: (
        Hold.objects.filter(lift__isnull=True)
        .select_related("operation")
        .order_by("pk")
    )
)


def reach_of(
    holds: Iterable[Hold], also: tuple[str, Collection[int]] = ("lot", ())
) -> Reach:
    """What the given holds reach.

    Args:
        holds: Holds, standing or not.
        also: Lots or bags, with which of the two they are: what is made from them, or
            they were repacked into, is found along.

    Returns:
        The held lots (with their descendants), bags, runs and boxes, and by which.
    """
    by: dict[str, Marks] = {name: {} for name in TARGETS}
    for hold in holds:
        for kind, held in by.items():
            root = getattr(hold, kind if kind == "source" else f"{kind}_id")
            if root is not None:
                root = fold(root) if kind == "source" else root
                held[root] = held.get(root, NONE) | {hold}
    reached: dict[str, Marks] = {
        "run": {},
        "lot": {},
        "bag": dict(by["bag"]),
        "box": by["box"],
    }
    word, besides = also
    roots = {kind: list(of) for kind, of in by.items()}
    roots[word] += [pk for pk in besides if pk not in by[word]]
    beside = set()
    for what, kind, root, pk in _reached(roots):
        if (what, kind) == (word, word) and root in besides:
            beside.add(pk)
        if root in by[kind]:
            found = reached[what]
            found[pk] = _joined(found.get(pk, NONE), by[kind][root])
    return Reach(
        lots=frozenset(reached["lot"]),
        bags=frozenset(reached["bag"]),
        runs=frozenset(reached["run"]),
        boxes=frozenset(reached["box"]),
        holds={
            (kind, pk): found
            for kind, held in reached.items()
            for pk, found in held.items()
        },
        beside=frozenset(beside),
    )


def _reached(
    roots: Mapping[str, Sequence[Any]],
) -> Iterator[tuple[str, str, Any, int]]:
    """Ask for what each root reaches: its kind, that of the root, the root, and id."""
    kinds = ("run", "protocol", "bag", "lot", "revision", "method")
    if not any(roots.get(kind) for kind in (*kinds, "source")):
        return
    sources = roots.get("source", ())
    marks = {kind: ", ".join(["%s"] * len(roots.get(kind, ()))) for kind in kinds}
    sql = REACHED.format(
        source=", ".join(["(%s, %s)"] * len(sources)) or "(0, NULL)",
        **{kind: mark or "NULL" for kind, mark in marks.items()},
    )
    names = [value for pair in enumerate(sources) for value in pair]
    values = [*names, *(root for kind in kinds for root in roots.get(kind, ()))]
    with connection.cursor() as cursor:
        cursor.execute(sql, values)
        for what, kind, root, pk in cursor.fetchall():
            yield what, kind, sources[root] if kind == "source" else root, pk


def why_of(hold: Hold) -> Why:
    """Who placed a hold, and why; read with its operation.

    Args:
        hold: The hold.

    Returns:
        What its refusals say.
    """
    return Why(by=hold.operation.by_name, reason=hold.reason.rstrip(". "))


def fold(source: str) -> str:
    """The name of a source as holds compare it: capitals and blanks do not matter.

    Args:
        source: As it was typed.

    Returns:
        The name to compare, which a lot has as its ``source_key``.
    """
    return " ".join(source.split()).casefold()


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


def refuse_held(target: str, pk: int, code: str, **named: object) -> None:
    """Refuse a thing that a hold stands on itself, such as a protocol or a revision.

    Args:
        target: What it is, as a hold names it.
        pk: Its id.
        code: The refusal.
        **named: What the sentence names besides who placed the hold, and why.

    Raises:
        OnHold: ``code``.
    """
    for hold in standing_holds():
        if getattr(hold, f"{target}_id") == pk:
            raise OnHold(code, **named, **vars(why_of(hold)))


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
