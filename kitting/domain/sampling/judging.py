"""The verdict on a lot, from the bad pieces found in each class of defect."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal, TypeAlias, get_args

from kitting.domain.errors import Refused
from kitting.domain.exact import Number
from kitting.domain.sampling.plans import Plan, all_pieces, plan_for
from kitting.domain.sampling.tables import Severity
from kitting.domain.shown import shown

DefectClass: TypeAlias = Literal["critical", "major", "minor"]
CLASSES: tuple[DefectClass, ...] = get_args(DefectClass)


@dataclass(frozen=True, slots=True)
class ClassVerdict:
    """One class of defect against its plan."""

    defect_class: DefectClass
    plan: Plan
    found: int
    """Bad pieces of this class in the sample."""

    @property
    def accepted(self) -> bool:
        """Whether this class, by itself, lets the lot pass."""
        return self.found < self.plan.reject

    @property
    def between(self) -> bool:
        """Whether the lot passes, but normal inspection comes back (4.10.1.4)."""
        return self.found in self.plan.between

    @property
    def ends_reduced(self) -> bool:
        """Whether the class is on normal inspection again from the next lot on."""
        return self.plan.severity == "reduced" and self.found > self.plan.accept


@dataclass(frozen=True, slots=True)
class Verdict:
    """The verdict on a lot: accepted if every class is."""

    classes: tuple[ClassVerdict, ...]
    """Critical first."""

    @property
    def accepted(self) -> bool:
        """Whether every class lets the lot pass."""
        return all(each.accepted for each in self.classes)


def plans_for(
    lot_pieces: int,
    level: str,
    aqls: Mapping[DefectClass, Number],
    *,
    severities: Mapping[DefectClass, Severity] | None = None,
) -> dict[DefectClass, Plan]:
    """Give the plan of each class of defect.

    Args:
        lot_pieces: Pieces in the lot, 1 or more.
        level: Inspection level, the same for major and minor defects.
        aqls: Acceptable quality level in percent of ``major``, ``minor`` or both. None
            is taken for ``critical``: those are looked for in all pieces, always.
        severities: Of ``major`` and ``minor``, each switched on its own; normal where
            none is given.

    Returns:
        Plans, critical first. Sample sizes differ where arrows lead to other letters:
        the largest is drawn, and a class counts the first pieces of it.

    Raises:
        CodeError: ``figure_unreadable`` if an AQL is no figure.
        Refused: ``critical_has_no_aql``, ``class_unknown``, or what
            :func:`~kitting.domain.sampling.plans.plan_for` refuses.

    References:
        MIL-STD-105E, 3.6 and 4.7 (switching for each class on its own). That critical
        defects are looked for in all pieces is common practice.
    """
    if "critical" in aqls:
        raise Refused("critical_has_no_aql")
    _known(aqls)
    plans: dict[DefectClass, Plan] = {"critical": all_pieces(lot_pieces)}
    for each in CLASSES:
        if each in aqls:
            severity = (severities or {}).get(each, "normal")
            plans[each] = plan_for(lot_pieces, level, aqls[each], severity=severity)
    return plans


def judge(
    plans: Mapping[DefectClass, Plan], found: Mapping[DefectClass, int]
) -> Verdict:
    """Accept or reject a lot.

    Args:
        plans: The plan of each class, at least one.
        found: Bad pieces found in each of those classes, within that class's sample; a
            piece with several defects counts once, in its worst class. A class in
            which nothing was found has 0; leaving it out is refused.

    Returns:
        The verdict, class by class.

    Raises:
        Refused: ``class_unknown``, ``class_without_plan``, ``class_not_counted`` or
            ``found_out_of_range``; ``plan_missing`` without any plan.

    References:
        MIL-STD-105E, 4.10.1.1; 4.10.1.4 for what lies between the two numbers.
    """
    if not plans:
        raise Refused("plan_missing")
    _known(plans)
    _known(found)
    for each in CLASSES:
        if each in found and each not in plans:
            raise Refused("class_without_plan", read=each)
        if each in plans and each not in found:
            raise Refused("class_not_counted", read=each)
    classes = tuple(
        _of_class(each, plans[each], found[each]) for each in CLASSES if each in plans
    )
    return Verdict(classes)


def _of_class(defect_class: DefectClass, plan: Plan, found: int) -> ClassVerdict:
    if not 0 <= found <= plan.sample_size:
        most = plan.sample_size
        raise Refused("found_out_of_range", read=found, most=most, kind=defect_class)
    return ClassVerdict(defect_class, plan, found)


def _known(classes: Mapping[DefectClass, object]) -> None:
    for each in classes:
        if each not in CLASSES:
            known = ", ".join(CLASSES)
            raise Refused("class_unknown", read=shown(str(each)), known=known)
