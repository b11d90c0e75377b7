"""Inner steps of a check: defects by class, the verdict, the rows that keep both."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from kitting.checking.queries.checks import CheckPlan, kinds_for
from kitting.checking.queries.switching import ALL
from kitting.domain import sampling
from kitting.domain.errors import Refused
from kitting.domain.sampling import DefectClass
from kitting.models import Check, CheckedClass, Defect, DefectKind, Guarded, Part

MOST_DEFECTS: Final = 1_000_000
"""Bad pieces of one kind that a check or a sorting takes."""

UNLISTED: Final[DefectClass] = "major"
"""The class of a defect of which no kind is on the list."""


@dataclass(frozen=True)
class Found:
    """Bad pieces, by kind; each piece is counted once, under its worst defect."""

    kinds: dict[DefectKind, int]
    """Without those that were not found."""
    unlisted: int
    """Pieces with a defect that is not on the list."""

    @property
    def pieces(self) -> int:
        """Bad pieces in all."""
        return sum(self.kinds.values()) + self.unlisted

    def by_class(self) -> dict[DefectClass, int]:
        """Bad pieces of each class, critical first."""
        classes = dict.fromkeys(sampling.CLASSES, 0)
        for kind, pieces in self.kinds.items():
            classes[kind.grade] += pieces  # type: ignore[index]
        classes[UNLISTED] += self.unlisted
        return classes


def found_of(part: Part, defects: Sequence[tuple[int, int]], unlisted: int) -> Found:
    """Read what was found.

    Args:
        part: The part that was looked at.
        defects: Id of a kind and bad pieces of it; 0 is the same as leaving it out.
        unlisted: Bad pieces with a defect that is not on the list.

    Returns:
        Bad pieces by kind.

    Raises:
        Refused: ``defects_out_of_range``, ``defect_kind_not_looked_for``,
            ``defect_kind_twice``.
    """
    known = {kind.pk: kind for kind in kinds_for(part)}
    kinds: dict[DefectKind, int] = {}
    for pk, pieces in (*defects, (None, unlisted)):
        if not 0 <= pieces <= MOST_DEFECTS:
            raise Refused("defects_out_of_range", read=pieces, most=MOST_DEFECTS)
        if pk is None:
            continue
        kind = known.get(pk)
        if kind is None:
            raise Refused("defect_kind_not_looked_for", part=part.name)
        if kind in kinds:
            raise Refused("defect_kind_twice", kind=kind.name)
        kinds[kind] = pieces
    return Found({kind: n for kind, n in kinds.items() if n}, unlisted)


def found_rows(check: Check, plan: CheckPlan, found: Found) -> list[Guarded]:
    """Give the rows that keep a check's plan, class by class, and its defects.

    Args:
        check: The check, inserted.
        plan: The plan that was followed.
        found: What was found.

    Returns:
        Rows, not yet inserted.
    """
    counts = found.by_class()
    rows: list[Guarded] = [
        CheckedClass(
            check_made=check,
            defect_class=each,
            severity=each_plan.severity if each_plan.letter else ALL,
            letter=each_plan.letter,
            aql=_thousandths(each_plan),
            sample_size=each_plan.sample_size,
            accept=each_plan.accept,
            reject=each_plan.reject,
            found=counts[each],
        )
        for each, each_plan in plan.plans.items()
    ]
    rows += [
        Defect(check_made=check, kind=kind, pieces=pieces)
        for kind, pieces in found.kinds.items()
    ]
    return rows


def _thousandths(plan: sampling.Plan) -> int | None:
    return None if plan.aql_percent is None else int(plan.aql_percent * 1_000)


def said(verdict: sampling.Verdict) -> str:
    """Say a verdict's figures for a sentence: ``major: 4, rejected from 3``.

    Args:
        verdict: The verdict.

    Returns:
        The classes that reject; all of them where none does.
    """
    classes = [each for each in verdict.classes if not each.accepted]
    return "; ".join(
        f"{each.defect_class}: {each.found}, rejected from {each.plan.reject}"
        for each in classes or verdict.classes
    )
