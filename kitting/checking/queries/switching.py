"""On which inspection the lots of a part from a source are, replayed from the record."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Final, NamedTuple

from kitting.domain import sampling
from kitting.domain.sampling import DefectClass, Event, Sampled, Standing, State
from kitting.models import CheckedClass, Resumption, Switching
from kitting.models.evidence import Inspected, rejected_from
from kitting.models.lots import Verdict

SWITCHED: Final[tuple[DefectClass, ...]] = ("major", "minor")
"""Classes that are looked for in a sample, each switched on its own."""

ALL: Final = "all"
"""In the place of a severity where all pieces are looked at by rule."""

OF: Final = ("part_id", "source", "pk")
"""Columns of a decision that say what it is about."""


class Happened(NamedTuple):
    """One sample, or one decision of the quality officer, in the order of the journal."""

    site: int
    seq: int
    part: int
    source: str
    pk: int
    event: Event
    defect_class: str
    """Empty for a resumption, which is for the classes that were stopped."""
    severity: str = ""
    """Of the plan that the check followed; empty for a decision."""
    found: int = 0
    size: int = 0
    passed: bool = False
    """The lot was accepted, whatever class decided it."""


@dataclass(frozen=True)
class Step:
    """One thing that happened to one class, and how it was inspected before."""

    what: Happened
    defect_class: DefectClass
    before: State


@dataclass(frozen=True)
class ClassStanding:
    """How the next lot is inspected for one class, and what lots have shown."""

    state: State
    standing: Standing


def states_of(part_id: int, source: str) -> dict[DefectClass, State]:
    """Tell on which inspection the next lot of a part from a source is, and why.

    Args:
        part_id: The part.
        source: The source, as it is spelt on its lots.

    Returns:
        The state of each switched class.
    """
    return _states(happened(part_id, source))


def all_states(
    parts: Collection[int] | None = None,
) -> dict[tuple[int, str], dict[DefectClass, State]]:
    """Give the states of every part and source of which a sample was looked at.

    Args:
        parts: Ids of these parts only; None for all.

    Returns:
        States of the switched classes by part and source.
    """
    by_source: dict[tuple[int, str], list[Happened]] = defaultdict(list)
    lots = {} if parts is None else {"check_made__lot__part__in": parts}
    decided = {} if parts is None else {"part__in": parts}
    for each in _happened(lots, decided):
        by_source[each.part, each.source].append(each)
    return {key: _states(rows) for key, rows in by_source.items()}


def standings_of(
    part_id: int, source: str, aqls: Mapping[DefectClass, Decimal]
) -> dict[DefectClass, ClassStanding]:
    """Tell what each class has to show for reduced inspection.

    Args:
        part_id: The part.
        source: The source, as it is spelt on its lots.
        aqls: Acceptable quality level of each switched class, in percent.

    Returns:
        States and figures of the switched classes.
    """
    rows = happened(part_id, source)
    states = _states(rows)
    samples: dict[str, list[Sampled]] = defaultdict(list)
    for row in rows:
        if row.severity:
            samples[row.defect_class].append(Sampled(row.found, row.size, row.passed))
    return {
        each: ClassStanding(
            states[each],
            sampling.standing_of(states[each], samples[each], aqls[each]),
        )
        for each in SWITCHED
    }


def happened(part_id: int, source: str) -> list[Happened]:
    """Give what happened to the lots of one part from one source.

    A lot counts by what its sample showed, once, in the order of the journal.

    Args:
        part_id: The part.
        source: The source.

    Returns:
        Samples and decisions, oldest first.
    """
    lots = {"check_made__lot__part": part_id, "check_made__lot__source": source}
    return _happened(lots, {"part": part_id, "source": source})


def steps(rows: Iterable[Happened]) -> Iterator[Step]:
    """Replay what happened, class by class.

    Args:
        rows: Of one part from one source, oldest first.

    Yields:
        Each thing that counted for a class, with the state before it.

    Raises:
        Refused: What cannot have happened.
    """
    states: dict[DefectClass, State] = dict.fromkeys(SWITCHED, sampling.START)
    for row in rows:
        for each in SWITCHED:
            if row.defect_class not in ("", each):
                continue
            if row.event == "resumed" and not states[each].stopped:
                continue
            yield Step(row, each, states[each])
            states[each] = sampling.after(states[each], row.event)


def _states(rows: Iterable[Happened]) -> dict[DefectClass, State]:
    states: dict[DefectClass, State] = dict.fromkeys(SWITCHED, sampling.START)
    for step in steps(rows):
        states[step.defect_class] = sampling.after(step.before, step.what.event)
    return states


def _happened(lots: Mapping[str, Any], decided: Mapping[str, Any]) -> list[Happened]:
    seal = ("operation__link__site", "operation__link__seq")
    rows = [*_checked(seal, lots), *_resumed(seal, decided), *_switched(seal, decided)]
    return sorted(rows, key=_in_journal)


def _in_journal(row: Happened) -> tuple[int, ...]:
    """Its place in the journal; first where its link was taken out by force."""
    return row[0] or 0, row[1] or 0, row.pk


def _checked(seal: tuple[str, str], lots: Mapping[str, Any]) -> Iterator[Happened]:
    checked = (
        CheckedClass.objects.filter(defect_class__in=SWITCHED, **lots)
        .exclude(severity=ALL)
        .values_list(
            *seal,
            "check_made__lot__part_id",
            "check_made__lot__source",
            "pk",
            "defect_class",
            "severity",
            "found",
            "sample_size",
            "check_made__verdict",
            "accept",
            "reject",
        )
    )
    for row in checked:
        site, seq, part, source, pk, defect_class, severity, *figures = row
        found, size, verdict, accept, reject = figures
        event: Event = "between"
        if found <= accept:
            event = "accepted"
        elif found >= rejected_from(accept, reject):
            event = "rejected"
        passed = verdict == Verdict.ACCEPTED
        yield Happened(
            site, seq, part, source, pk, event, defect_class, severity, found, size, passed
        )  # fmt: skip


def _resumed(seal: tuple[str, str], decided: Mapping[str, Any]) -> Iterator[Happened]:
    begun = Resumption.objects.filter(**decided)
    for site, seq, part, source, pk in begun.values_list(*seal, *OF):
        yield Happened(site, seq, part, source, pk, "resumed", "")


def _switched(seal: tuple[str, str], decided: Mapping[str, Any]) -> Iterator[Happened]:
    told = Switching.objects.filter(**decided)
    rows = told.values_list(*seal, *OF, "defect_class", "to")
    for site, seq, part, source, pk, defect_class, to in rows:
        event: Event = "reduced" if to == Inspected.REDUCED else "restored"
        yield Happened(site, seq, part, source, pk, event, defect_class)
