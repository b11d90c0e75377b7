"""The plan by which a lot is checked, and why: services and pages read the same one."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING, Any, Final, NamedTuple, cast

from kitting.domain import sampling
from kitting.domain.stages import BagStage
from kitting.models import Bag, CheckedClass, DefectKind, Resumption

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from kitting.domain.sampling import DefectClass, Event, Plan, State
    from kitting.models import Lot, Part

SWITCHED: Final[tuple[DefectClass, ...]] = ("major", "minor")
"""Classes that are looked for in a sample, each switched on its own."""

ALL: Final = "all"
"""In the place of a severity where all pieces are looked at by rule."""

THOUSANDTHS: Final = 1_000


@dataclass(frozen=True)
class CheckPlan:
    """How one lot is checked."""

    sampled: bool
    level: str
    lot_pieces: int
    plans: Mapping[DefectClass, Plan]
    """Critical first."""
    states: Mapping[DefectClass, State]
    """Of the switched classes; empty where all pieces are looked at by rule."""

    @property
    def stopped(self) -> bool:
        """Nothing of this part from this source is accepted until it is resumed."""
        return any(state.stopped for state in self.states.values())

    @property
    def severity(self) -> str:
        """``tightened`` if a class is, else ``normal``; ``all`` without a sample."""
        if not self.sampled:
            return ALL
        severities = {state.severity for state in self.states.values()}
        return "tightened" if "tightened" in severities else "normal"

    @property
    def sample_size(self) -> int:
        """Pieces to draw: the largest sample of the switched classes."""
        return max(self.plans[each].sample_size for each in SWITCHED)

    @property
    def mark(self) -> str:
        """The plan as one word: it is another one as soon as anything about it is."""
        classes = (
            f"{each}-{plan.letter}{plan.sample_size}-{plan.accept}-{plan.severity}"
            for each, plan in self.plans.items()
        )
        head = f"{self.lot_pieces}-{self.level}-{'stopped' if self.stopped else 'on'}"
        return "/".join((head, *classes))

    @property
    def words(self) -> str:
        """The plan for the record, at most 80 characters."""
        if not self.sampled:
            return f"All looked over, {self.lot_pieces}"
        return "; ".join(
            (f"{self.level}, critical all", *(self._class(each) for each in SWITCHED))
        )

    def _class(self, defect_class: DefectClass) -> str:
        plan = self.plans[defect_class]
        short = f"{defect_class} {plan.letter} {plan.sample_size}"
        tightened = " tightened" if plan.severity == "tightened" else ""
        return f"{short} {plan.accept}/{plan.reject}{tightened}"


def percent(thousandths: int) -> Decimal:
    """Give an acceptable quality level as the tables print it.

    Args:
        thousandths: Thousandths of a percent, as stored.

    Returns:
        Percent defective.
    """
    value = Decimal(thousandths) / THOUSANDTHS
    return next((known for known in sampling.AQLS if known == value), value)


def plan_of(lot: Lot, bags: Iterable[Bag] | None = None) -> CheckPlan | None:
    """Give the plan of a lot that waits for its check.

    Args:
        lot: The lot, with its part.
        bags: Its arrived bags, where they are locked already.

    Returns:
        The plan as it is now; None where no piece is left to look at.

    Raises:
        Refused: What the tables refuse of the part's level and AQLs.
    """
    if bags is None:
        bags = arrived(lot)
    pieces = sum(bag.pieces for bag in bags)
    if not pieces:
        return None
    part = lot.part
    if not part.sampled:
        plan = sampling.all_pieces(pieces)
        plans = dict.fromkeys(sampling.CLASSES, plan)
        return CheckPlan(sampled=False, level="", lot_pieces=pieces, plans=plans,
                         states={})  # fmt: skip
    states = states_of(part.pk, lot.source)
    plans = sampling.plans_for(
        pieces,
        part.check_level,
        {"major": percent(part.aql_major), "minor": percent(part.aql_minor)},
        severities={each: state.severity for each, state in states.items()},
    )
    return CheckPlan(
        sampled=True,
        level=part.check_level,
        lot_pieces=pieces,
        plans=plans,
        states=states,
    )


def arrived(lot: Lot) -> list[Bag]:
    """Give the bags of a lot on which its verdict is given, oldest first."""
    return list(
        lot.bags.filter(stage=BagStage.ARRIVED).select_related("place").order_by("pk")
    )


def states_of(part_id: int, source: str) -> dict[DefectClass, State]:
    """Tell on which inspection the next lot of a part from a source is, and why.

    Args:
        part_id: The part.
        source: The source, as it is spelt on its lots.

    Returns:
        The state of each switched class.
    """
    history = events_of(part_id, source)
    return {each: sampling.switch(history[each]) for each in SWITCHED}


def events_of(part_id: int, source: str) -> dict[DefectClass, list[Event]]:
    """Give what happened to the lots of one part from one source, class by class.

    A lot counts by what its sample showed, once, in the order of the journal.
    A resumption counts for the classes that were stopped.

    Args:
        part_id: The part.
        source: The source.

    Returns:
        Events, oldest first.
    """
    lots = {"check_made__lot__part": part_id, "check_made__lot__source": source}
    return _events(_happened(lots, {"part": part_id, "source": source}))


def all_states() -> dict[tuple[int, str], dict[DefectClass, State]]:
    """Give the states of every part and source of which a sample was looked at.

    Returns:
        States of the switched classes by part and source.
    """
    by_source: dict[tuple[int, str], list[_Happened]] = defaultdict(list)
    for each in _happened({}, {}):
        by_source[each.part, each.source].append(each)
    return {
        key: {each: sampling.switch(told) for each, told in _events(rows).items()}
        for key, rows in by_source.items()
    }


class _Happened(NamedTuple):
    site: int
    seq: int
    part: int
    source: str
    defect_class: str
    """Empty for a resumption."""
    found: int
    accept: int


def _happened(lots: Mapping[str, Any], resumed: Mapping[str, Any]) -> list[_Happened]:
    seal = ("operation__link__site", "operation__link__seq")
    checked = (
        CheckedClass.objects.filter(defect_class__in=SWITCHED, **lots)
        .exclude(severity=ALL)
        .values_list(
            *seal,
            "check_made__lot__part_id",
            "check_made__lot__source",
            "defect_class",
            "found",
            "accept",
        )
    )
    rows = [_Happened(*row) for row in checked]
    begun = Resumption.objects.filter(**resumed).values_list(*seal, "part_id", "source")
    rows += [
        _Happened(site, seq, part, source, "", 0, 0)
        for site, seq, part, source in begun
    ]
    return sorted(rows)


def _events(rows: Iterable[_Happened]) -> dict[DefectClass, list[Event]]:
    events: dict[DefectClass, list[Event]] = {each: [] for each in SWITCHED}
    for row in rows:
        if row.defect_class:
            told = events[cast("DefectClass", row.defect_class)]
            told.append("accepted" if row.found <= row.accept else "rejected")
            continue
        for told in events.values():
            if sampling.switch(told).stopped:
                told.append("resumed")
    return events


def kinds_for(part: Part) -> list[DefectKind]:
    """Give the kinds of defect that are looked for in a part, gravest first.

    Args:
        part: The part.

    Returns:
        Kinds in use, of this part or of all.
    """
    kinds = DefectKind.objects.filter(in_use=True, part__isnull=True)
    kinds |= DefectKind.objects.filter(in_use=True, part=part)
    order = sampling.CLASSES.index
    return sorted(kinds, key=lambda kind: (order(kind.grade), kind.name, kind.pk))
