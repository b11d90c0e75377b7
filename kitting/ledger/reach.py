"""What the holds of the moment reach, computed from the hold's side."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, TypeVar

from django.db.models import Q

from kitting.domain.errors import OnHold
from kitting.domain.stages import MovementKind
from kitting.ledger.kept import Kept
from kitting.models import Bag, BoxLine, Hold, Lot, LotOrigin, Movement, Run
from kitting.models.holds import TARGETS

if TYPE_CHECKING:
    from collections.abc import Iterable

    from kitting.models import Box

T = TypeVar("T")


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
    why: Mapping[tuple[str, int], Why] = field(default_factory=dict, repr=False)
    """By kind (lot, bag, run or box) and id: the oldest hold that reaches the thing."""

    def __bool__(self) -> bool:
        return bool(self.lots or self.bags or self.runs or self.boxes)

    def bag(self, bag: Bag) -> bool:
        """Whether a bag is held by itself, its lot or the run that cleared it."""
        return self.why_bag(bag) is not None

    def line(self, line: BoxLine) -> bool:
        """Whether a line of a box is held by its lot, bag or run."""
        return self._why(line.bag_id, line.lot_id, line.run_id) is not None

    def why_bag(self, bag: Bag) -> Why | None:
        """The hold that stops a bag, if one does."""
        return self._why(bag.pk, bag.lot_id, bag.cleared_run_id)

    def why_run(self, run: Run) -> Why | None:
        """The hold that stops a run, if one does."""
        return self.why.get(("run", run.pk))

    def why_box(self, box: Box, lines: Iterable[BoxLine]) -> Why | None:
        """The hold that stops a box, by itself or by one of its lines."""
        whys = [self.why.get(("box", box.pk))]
        whys += [self._why(each.bag_id, each.lot_id, each.run_id) for each in lines]
        return next((why for why in whys if why is not None), None)

    def _why(self, bag_id: int, lot_id: int, run_id: int | None) -> Why | None:
        found = self.why.get(("bag", bag_id)) or self.why.get(("lot", lot_id))
        if found is None and run_id is not None:
            found = self.why.get(("run", run_id))
        return found


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
        holds: Holds, standing or not, the oldest first.

    Returns:
        The held lots (with their descendants), bags, runs and boxes, and why.
    """
    holds = list(holds)
    if not holds:
        return Reach()
    by: dict[str, dict[int, Hold]] = {name: {} for name in TARGETS}
    sources: dict[str, Hold] = {}
    for hold in holds:
        if hold.source:
            sources.setdefault(fold(hold.source), hold)
            continue
        for name, held in by.items():
            pk = None if name == "source" else getattr(hold, f"{name}_id")
            if pk is not None:
                held.setdefault(pk, hold)
    runs = _runs_of(by)
    lots = _spread(_with_made_from(_lots_of(by, sources), by["bag"], runs))
    reached = {"lot": lots, "bag": by["bag"], "run": runs, "box": by["box"]}
    whys = {hold.pk: why_of(hold) for hold in holds}
    return Reach(
        lots=frozenset(lots),
        bags=frozenset(by["bag"]),
        runs=frozenset(runs),
        boxes=frozenset(by["box"]),
        why={
            (kind, pk): whys[hold.pk]
            for kind, held in reached.items()
            for pk, hold in held.items()
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


def _oldest(*found: Hold | None) -> Hold:
    return min((hold for hold in found if hold is not None), key=lambda hold: hold.pk)


def _lots_of(
    by: dict[str, dict[int, Hold]], sources: dict[str, Hold]
) -> dict[int, Hold]:
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
        lots[pk] = _oldest(
            lots.get(pk),
            by["revision"].get(revision),
            by["method"].get(method),
            sources.get(fold(source)),
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


def _with_made_from(
    lots: dict[int, Hold], bags: Mapping[int, Hold], runs: Mapping[int, Hold]
) -> dict[int, Hold]:
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
        hold = _oldest(bags.get(bag), runs.get(run))
        for lot in made.get((act, material), ()):
            reached[lot] = _oldest(reached.get(lot), hold)
    return reached


def _runs_of(by: dict[str, dict[int, Hold]]) -> dict[int, Hold]:
    """Runs that are held by themselves or by their protocol."""
    runs = dict(by["run"])
    if by["protocol"]:
        under = Run.objects.filter(protocol__in=by["protocol"])
        for pk, protocol in under.order_by().values_list("pk", "protocol"):
            runs[pk] = _oldest(runs.get(pk), by["protocol"].get(protocol))
    return runs


def _spread(lots: Mapping[int, T]) -> dict[int, T]:
    """Hand what each lot carries on to all that is made from it, step by step."""
    reached, edge = dict(lots), set(lots)
    while edge:
        made = LotOrigin.objects.filter(from_lot__in=edge)
        edge = set()
        for origin, lot in made.order_by().values_list("from_lot", "lot"):
            if lot not in reached:
                reached[lot] = reached[origin]
                edge.add(lot)
    return reached


def descendants(lots: set[int]) -> set[int]:
    """The lots and all that is made from them, generation by generation.

    Args:
        lots: Ids to start from.

    Returns:
        Their ids and those of every lot made from one of them.
    """
    return set(_spread(dict.fromkeys(lots)))


def standing_reach() -> Reach:
    """What all standing holds reach now; one query where there is none."""
    return reach_of(standing_holds())


def held_boxes(reach: Reach) -> set[int]:
    """Ids of all boxes that the reach touches, by themselves or by a line.

    Args:
        reach: What is held.

    Returns:
        Box ids of every stage.
    """
    if not reach:
        return set()
    found = set(reach.boxes)
    for name in ("lot", "bag", "run"):
        held = getattr(reach, f"{name}s")
        if held:
            lines = BoxLine.objects.filter(**{f"{name}__in": held})
            found |= set(lines.values_list("box_id", flat=True).distinct())
    return found


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
