"""The plan by which a lot is checked, and why: services and pages read the same one."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from kitting.checking.queries.switching import ALL, SWITCHED, states_of
from kitting.domain import sampling
from kitting.domain.sampling import DefectClass, Plan, Severity, State
from kitting.domain.stages import BagStage
from kitting.models import Bag, DefectKind, Lot, Part

THOUSANDTHS: Final = 1_000

STRICTEST_FIRST: Final[tuple[Severity, ...]] = ("tightened", "normal", "reduced")


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
        """The strictest of a class; ``all`` without a sample."""
        if not self.sampled:
            return ALL
        severities = (state.severity for state in self.states.values())
        return min(severities, key=STRICTEST_FIRST.index)

    @property
    def sample_size(self) -> int:
        """Pieces to draw: the largest sample of the switched classes."""
        return max(self.plans[each].sample_size for each in SWITCHED)

    @property
    def mark(self) -> str:
        """The plan as one word: it is another one as soon as anything about it is."""
        classes = (
            f"{each}-{plan.letter}{plan.sample_size}-{plan.accept}-{plan.reject}"
            f"-{plan.severity}"
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
        severity = "" if plan.severity == "normal" else f" {plan.severity}"
        return f"{short} {plan.accept}/{plan.reject}{severity}"


def percent(thousandths: int) -> Decimal:
    """Give an acceptable quality level as the tables print it.

    Args:
        thousandths: Thousandths of a percent, as stored.

    Returns:
        Percent defective.
    """
    value = Decimal(thousandths) / THOUSANDTHS
    return next((known for known in sampling.AQLS if known == value), value)


def aqls_of(part: Part) -> dict[DefectClass, Decimal]:
    """Give the acceptable quality levels of a part's switched classes, in percent."""
    return {"major": percent(part.aql_major), "minor": percent(part.aql_minor)}


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
        aqls_of(part),
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


def kinds_for(part: Part) -> list[DefectKind]:
    """Give the kinds of defect that are looked for in a part, worst first.

    Args:
        part: The part.

    Returns:
        Kinds in use, of this part or of all.
    """
    kinds = DefectKind.objects.filter(in_use=True, part__isnull=True)
    kinds |= DefectKind.objects.filter(in_use=True, part=part)
    order = sampling.CLASSES.index
    return sorted(kinds, key=lambda kind: (order(kind.grade), kind.name, kind.pk))


@dataclass(frozen=True)
class Drawing:
    """How many pieces to take from one bag."""

    bag: Bag
    pieces: int


@dataclass(frozen=True)
class ClassLine:
    """One class of defect on the page of a check."""

    defect_class: DefectClass
    plan: Plan
    state: State | None
    """None where all pieces are looked at by rule."""
    kinds: list[DefectKind]


@dataclass(frozen=True)
class CheckPage:
    """Everything that the page of a check shows."""

    plan: CheckPlan
    draws: list[Drawing]
    """Empty where all pieces of all bags are looked at."""
    classes: list[ClassLine]

    @property
    def any_between(self) -> bool:
        """Whether some counts accept the lot and end reduced inspection."""
        return any(plan.between for plan in self.plan.plans.values())

    @property
    def sizes_differ(self) -> bool:
        """Whether a class counts in fewer pieces than are drawn."""
        return len({self.plan.plans[each].sample_size for each in SWITCHED}) > 1


def check_page(lot: Lot) -> CheckPage | None:
    """Read the plan of a lot that waits for its check.

    Args:
        lot: The lot, with its part.

    Returns:
        Plan, bags and kinds of defect; None where no piece is left to look at.
    """
    bags = arrived(lot)
    plan = plan_of(lot, bags)
    if plan is None:
        return None
    draws: list[Drawing] = []
    if plan.sampled:
        by_bag = {bag.pk: bag for bag in bags}
        taken = sampling.draw(plan.sample_size, ((b.pk, b.pieces) for b in bags))
        draws = [Drawing(by_bag[pk], pieces) for pk, pieces in taken.items()]
    kinds = kinds_for(lot.part)
    classes = [
        ClassLine(
            each,
            each_plan,
            plan.states.get(each),
            [kind for kind in kinds if kind.grade == each],
        )
        for each, each_plan in plan.plans.items()
    ]
    return CheckPage(plan, draws, classes)
