"""How a source has been doing, and the curve of a plan."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import accumulate
from typing import Any

from django.db.models import Count, Max, Q, QuerySet, Sum

from kitting.checking.queries.checks import aqls_of
from kitting.checking.queries.switching import ClassStanding, all_states, standings_of
from kitting.domain import sampling
from kitting.domain.sampling import DefectClass, Plan, State
from kitting.models import Check, Defect, Part, Resumption, Switching
from kitting.models.lots import Verdict

MOST_SHOWN = 60
"""Lots that the picture of verdicts shows, the newest of those chosen."""

PPM = 1_000_000

MOST_LINES = 12
"""Steps of the table beside a curve, at most."""


# -- A rejected lot -----------------------------------------------------------------


# -- How a source has been doing ----------------------------------------------------


@dataclass(frozen=True)
class SourceLine:
    """One part from one source."""

    part: Part
    source: str
    lots: int
    rejected: int
    last: Any
    """When the newest check was made."""
    states: Mapping[DefectClass, State]
    """Empty where no sample was ever looked at."""

    @property
    def stopped(self) -> bool:
        """Whether nothing of it is accepted."""
        return any(state.stopped for state in self.states.values())

    @property
    def tightened(self) -> bool:
        """Whether a class of it is on tightened inspection."""
        return any(state.severity == "tightened" for state in self.states.values())

    @property
    def reduced(self) -> bool:
        """Whether a class of it is on reduced inspection, and none stricter than normal."""
        severities = {state.severity for state in self.states.values()}
        return "reduced" in severities and "tightened" not in severities


def source_lines() -> list[SourceLine]:
    """Give every part and source of which a lot was checked, by part, then source."""
    told = all_states()
    found = (
        Check.objects.values("lot__part", "lot__source")
        .annotate(
            lots=Count("pk"),
            rejected=Count("pk", filter=Q(verdict=Verdict.REJECTED)),
            last=Max("operation__at"),
        )
        .order_by("lot__part__name", "lot__source")
    )
    parts = Part.objects.in_bulk()
    return [
        SourceLine(
            parts[row["lot__part"]],
            row["lot__source"],
            row["lots"],
            row["rejected"],
            row["last"],
            told.get((row["lot__part"], row["lot__source"]), {}),
        )
        for row in found
    ]


@dataclass(frozen=True)
class ParetoLine:
    """One kind of defect, most found first."""

    name: str
    """Empty for what was not on the list."""
    grade: str
    pieces: int
    together: int
    """Pieces of this kind and of all before it."""
    together_ppm: int
    """The same as a share of all bad pieces."""


@dataclass(frozen=True)
class SourcePage:
    """How one part from one source has been doing."""

    checks: list[Check]
    """As chosen, newest first, with lot, operation and classes."""
    pareto: list[ParetoLine]
    standings: Mapping[DefectClass, ClassStanding]
    """Empty where all pieces are looked at by rule."""
    resumptions: list[Resumption]
    switchings: list[Switching]

    @property
    def shown(self) -> list[Check]:
        """What the picture shows: the newest ``MOST_SHOWN``, oldest first."""
        return self.checks[:MOST_SHOWN][::-1]

    @property
    def rejected(self) -> int:
        """Lots that were rejected."""
        return sum(check.verdict == Verdict.REJECTED for check in self.checks)

    @property
    def stopped(self) -> bool:
        """Whether nothing of it is accepted."""
        return any(each.state.stopped for each in self.standings.values())

    @property
    def reducible(self) -> bool:
        """Whether a class is on reduced inspection, or on normal and may come to it."""
        severities = {each.state.severity for each in self.standings.values()}
        return not severities <= {"tightened"}


def source_page(part: Part, source: str, filters: Mapping[str, Any]) -> SourcePage:
    """Read the checks of one part from one source.

    Args:
        part: The part.
        source: The source.
        filters: Any of ``since`` and ``until``, days on which lots were made.

    Returns:
        Checks, defects by kind, and on which inspection the next lot is.
    """
    checks = Check.objects.filter(lot__part=part, lot__source=source)
    if since := filters.get("since"):
        checks = checks.filter(lot__made_on__gte=since)
    if until := filters.get("until"):
        checks = checks.filter(lot__made_on__lte=until)
    rows = checks.select_related("lot", "operation").prefetch_related("classes")
    resumptions = Resumption.objects.filter(part=part, source=source)
    switchings = Switching.objects.filter(part=part, source=source)
    standings = standings_of(part.pk, source, aqls_of(part)) if part.sampled else {}
    return SourcePage(
        checks=list(rows.order_by("-pk")),
        pareto=pareto_of(checks),
        standings=standings,
        resumptions=list(resumptions.select_related("operation").order_by("-pk")),
        switchings=list(switchings.select_related("operation").order_by("-pk")),
    )


def pareto_of(checks: QuerySet[Check]) -> list[ParetoLine]:
    """Give the defects that checks found by kind, most found first.

    Args:
        checks: The checks.

    Returns:
        One line for each kind found, and one for what was not on the list.
    """
    kinds = (
        Defect.objects.filter(check_made__in=checks)
        .values_list("kind__name", "kind__grade")
        .annotate(total=Sum("pieces"))
        .order_by()
    )
    found = [(name, grade, total) for name, grade, total in kinds]
    listed = sum(total for _name, _grade, total in found)
    total = checks.aggregate(total=Sum("found"))["total"] or 0
    if total > listed:
        found.append(("", "major", total - listed))
    found.sort(key=lambda line: (-line[2], line[0]))
    return _lines(found, total)


def _lines(found: Sequence[tuple[str, str, int]], total: int) -> list[ParetoLine]:
    sums = accumulate(pieces for _name, _grade, pieces in found)
    return [
        ParetoLine(name, grade, pieces, together, together * PPM // total)
        for (name, grade, pieces), together in zip(found, sums, strict=True)
    ]


# -- A plan's curve -----------------------------------------------------------------


@dataclass(frozen=True)
class CurveLine:
    """One line of the table beside a plan's curve."""

    bad_ppm: int
    chance: float
    letter: str = ""
    """A at the producer's point, B at the consumer's."""


def ticks(end_ppm: int, steps: int = 6) -> range:
    """Give round shares of bad pieces for a scale.

    Args:
        end_ppm: Where the scale ends, above 0.
        steps: How many steps at most.

    Returns:
        Bad pieces in a million, from 0.
    """
    step = next(
        size * 10**power
        for power in range(7)
        for size in (1, 2, 5)
        if end_ppm <= steps * size * 10**power
    )
    return range(0, end_ppm + 1, step)


def curve_lines(plan: Plan, curve: sampling.Characteristic) -> list[CurveLine]:
    """Give the table beside a plan's curve: round shares and the two points read off.

    Args:
        plan: The plan.
        curve: Its operating characteristic.

    Returns:
        Lines by share of bad pieces.
    """
    end = curve.points[-1].bad_ppm
    lines = {
        ppm: CurveLine(ppm, sampling.acceptance(plan, Fraction(ppm, PPM)))
        for ppm in ticks(end, MOST_LINES)
    }
    for letter, point in (("A", curve.aql), ("B", curve.consumers)):
        if point is not None:
            lines[point.bad_ppm] = CurveLine(point.bad_ppm, point.chance, letter)
    return [lines[ppm] for ppm in sorted(lines)]
