"""Checks and what became of rejected bags: verdicts against plans, acts against moves."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from django.db.models import Exists, OuterRef, QuerySet, Sum

from kitting.checking.queries.switching import ALL, Happened, Step, happened, steps
from kitting.domain.errors import Refused
from kitting.domain.stages import BagStage, MovementKind
from kitting.ledger.proof import register
from kitting.ledger.proof.faults import Tally
from kitting.ledger.proof.streams import composed, grouped, rows, side_by_side
from kitting.models import (
    Check,
    CheckedClass,
    Defect,
    Disposition,
    Lot,
    Movement,
    Resumption,
    Switching,
)
from kitting.models.evidence import Fate, rejected_from
from kitting.models.lots import Verdict

CHECK = Check._meta.db_table
DISPOSITION = Disposition._meta.db_table
LOT = Lot._meta.db_table


def plans(tally: Tally) -> None:
    """A lot is accepted only if every class of its check is; defects are those found.

    Args:
        tally: Where checks are counted and faults noted.
    """
    every = Check.objects.order_by("pk").values_list("pk", "verdict", "found")
    classes = CheckedClass.objects.order_by("check_made_id").values_list(
        "check_made_id", "found", "accept", "reject"
    )
    kinds = (
        Defect.objects.order_by("check_made_id")
        .values("check_made_id")
        .annotate(total=Sum("pieces"))
        .values_list("check_made_id", "total")
    )
    streams = [grouped(rows(found)) for found in (every, classes, kinds)]
    for pk, (check, by_class, by_kind) in side_by_side(*streams):
        if not check:
            tally.add(CHECK, pk, "Classes name a check that is not there.", "one", "")
            continue
        tally.count += 1
        [(verdict, found)] = check
        if by_class:
            in_classes = sum(count for count, *_numbers in by_class)
            tally.same(CHECK, pk, "Its classes found another number of bad pieces.",
                       in_classes, found)  # fmt: skip
        listed = sum(total for (total,) in by_kind)
        if listed > found:
            tally.add(CHECK, pk, "Its defects are more than it found.", listed, found)
        fits = all(count < rejected_from(*numbers) for count, *numbers in by_class)
        if verdict == Verdict.ACCEPTED and not fits:
            tally.add(CHECK, pk, "Its plan rejects the lot.", "rejected", verdict)


def switching(tally: Tally) -> None:
    """Each lot was inspected as what happened before it says, by the published rules.

    Args:
        tally: Where samples and decisions are counted and faults noted.
    """
    for part, source in _sources():
        last: Step | None = None
        try:
            for last in steps(happened(part, source)):
                tally.count += 1
                what, severity = last.what, last.before.severity
                if what.severity and what.severity != severity:
                    tally.add(
                        CheckedClass._meta.db_table,
                        what.pk,
                        "It was inspected otherwise than the lots before it call for.",
                        severity,
                        what.severity,
                    )
        except Refused as error:
            assert last is not None  # noqa: S101
            words = "It cannot have happened after what was before it."
            table, event = _table_of(last.what), last.what.event
            tally.add(table, last.what.pk, words, error.code, event)


def _sources() -> Iterator[tuple[int, str]]:
    """Every part and source of which a sample was looked at or something decided."""
    sampled = CheckedClass.objects.exclude(severity=ALL).values_list(
        "check_made__lot__part_id", "check_made__lot__source"
    )
    decided = Switching.objects.values_list("part_id", "source")
    yield from sorted({*sampled.distinct(), *decided.distinct()})


def _table_of(what: Happened) -> str:
    if what.severity:
        return CheckedClass._meta.db_table
    model = Resumption if what.event == "resumed" else Switching
    return model._meta.db_table


def dispositions(tally: Tally) -> None:
    """What became of a rejected bag is what its movements in the same act say.

    Args:
        tally: Where dispositions are counted and faults noted.
    """
    streams = [grouped(rows(found), width=2) for found in _dispositions()]
    for (operation, bag), (acts, moves, scraps) in side_by_side(*streams):
        if not acts and not moves:
            continue  # Scrapped without being sorted: an act of its own.
        tally.count += 1
        pk = acts[0][0] if acts else None
        expected = sorted(
            [(str(kind), pieces) for kind, pieces in moves]
            + [("scrapped", total) for (total,) in scraps]
        )
        found = sorted(pair for _pk, *act in acts for pair in _pairs(*act))
        tally.same(
            DISPOSITION,
            pk,
            f"Operation {operation} did something else to bag {bag} than it says.",
            expected,
            found,
        )


@composed
def _dispositions() -> Iterator[QuerySet[Any, Any]]:
    """What acts say that became of rejected bags, and how pieces left these."""
    key = ("operation_id", "bag_id")
    yield (
        Disposition.objects.filter(bag__isnull=False)
        .order_by(*key)
        .values_list(*key, "pk", "fate", "good", "bad")
    )
    out_of = Movement.objects.filter(stage_before=BagStage.REJECTED).order_by(*key)
    ways = (MovementKind.ACCEPTED, MovementKind.SENT_BACK)
    yield out_of.filter(kind__in=ways).values_list(*key, "kind", "pieces")
    yield (
        out_of.filter(kind=MovementKind.SCRAPPED)
        .values(*key)
        .annotate(total=Sum("pieces"))
        .values_list(*key, "total")
    )


def _pairs(fate: str, good: int, bad: int) -> list[tuple[str, int]]:
    away = "sent_back" if fate == Fate.SENT_BACK else "scrapped"
    pairs = [("accepted", good), (away, bad)]
    return [(kind, pieces) for kind, pieces in pairs if pieces]


def verdicts(tally: Tally) -> None:
    """The verdict of every lot is that of its last check.

    Args:
        tally: Where lots are counted and faults noted.
    """
    every = Lot.objects.order_by("pk").values_list("pk", "number", "verdict")
    checks = Check.objects.order_by("lot_id", "pk").values_list("lot_id", "verdict")
    for pk, (lot, given) in side_by_side(grouped(rows(every)), grouped(rows(checks))):
        for number, verdict in lot:
            tally.count += 1
            last = given[-1][0] if given else ""
            tally.same(
                LOT,
                pk,
                f"Lot {number} has a verdict that its checks do not give.",
                last or "none",
                verdict or "none",
            )


def looked_at(tally: Tally) -> None:
    """What was set back for a checker went on only when one had looked at it.

    Args:
        tally: Where bags that went on are counted and faults noted.
    """
    [on] = _looked_at()
    for pk, act in rows(on):
        tally.count += 1
        words = "A bag that was set back went on, and no checker had looked at it."
        tally.same(Movement._meta.db_table, pk, words, "accept_again", act)


@composed
def _looked_at() -> Iterator[QuerySet[Any, Any]]:
    """What went on after it was set back for a checker."""
    waited = Movement.objects.filter(
        bag=OuterRef("bag"),
        kind=MovementKind.SET_BACK,
        stage_after=BagStage.ARRIVED,
        nth__lt=OuterRef("nth"),
    )
    on = Movement.objects.filter(Exists(waited), stage_before=BagStage.ARRIVED)
    on = on.filter(kind=MovementKind.ACCEPTED).order_by("pk")
    yield on.values_list("pk", "operation__name")


register(
    ("verdicts", "lots", verdicts, Lot),
    ("check plans", "checks", plans, Check, CheckedClass, Defect),
    ("switching", "samples and decisions", switching, CheckedClass, Switching),
    ("rejected bags", "dispositions", dispositions, Disposition, Movement),
    ("bags set back", "bags", looked_at, Movement),
)
