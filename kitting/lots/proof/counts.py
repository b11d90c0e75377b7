"""What is checked of counts and samples: they did what they say, and on whose word."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from django.db.models import Exists, OuterRef, QuerySet

from kitting.domain.stages import BagStage, MovementKind
from kitting.ledger.proof import register
from kitting.ledger.proof.faults import Tally
from kitting.ledger.proof.streams import composed, grouped, how_many, rows, side_by_side
from kitting.models import Count, Movement, Sample

MOVEMENT = Movement._meta.db_table
SAMPLE = Sample._meta.db_table
_KEY = ("operation_id", "bag_id")


def counts(tally: Tally) -> None:
    """What a count found or missed is what its movement did to the bag.

    Args:
        tally: Where counts are counted and faults noted.
    """
    made = Count.objects.order_by(*_KEY).values_list(*_KEY, "pk", "before", "counted")
    differed = _moves(MovementKind.FOUND, MovementKind.MISSING)
    streams = grouped(rows(made), width=2), grouped(rows(differed), width=2)
    for (operation, _bag), (counted, moved) in side_by_side(*streams):
        for pk, before, found in counted:
            tally.count += 1
            tally.same(
                Count._meta.db_table,
                pk,
                f"Operation {operation} counted another difference than it moved.",
                found - before,
                sum(delta for (delta,) in moved),
            )


def confirmed(tally: Tally) -> None:
    """What a count found in a cleared bag was scrapped with it, or a checker confirmed it.

    Args:
        tally: Where findings are counted and faults noted.
    """
    found, unsaid = _found()
    if not (count := how_many(found)):
        return
    tally.count += count
    words = "Pieces found in a cleared bag stayed there, and no checker said so."
    tally.each(MOVEMENT, unsaid, words, "a checker", "none")


@composed
def _found() -> Iterator[QuerySet[Any, Any]]:
    """What was found in cleared bags, and what of it nobody confirmed."""
    same = {"operation": OuterRef("operation"), "bag": OuterRef("bag")}
    moved = Movement.objects.filter(**same)
    found = Movement.objects.filter(
        Exists(moved.filter(stage_after=BagStage.CLEARED)), kind=MovementKind.FOUND
    )
    yield found.order_by().values_list("pk")
    gone = moved.filter(kind=MovementKind.SCRAPPED, pieces=OuterRef("pieces"))
    said = Count.objects.filter(**same, confirmed_by__isnull=False)
    unsaid = found.exclude(Exists(gone)).exclude(Exists(said)).order_by("pk")
    yield unsaid.values_list("pk")


def samples(tally: Tally) -> None:
    """What went to a test left its bag in the same act, and nothing else did so.

    Args:
        tally: Where samples are counted and faults noted.
    """
    made, taken = _sampled()
    streams = grouped(rows(made), width=2), grouped(rows(taken), width=2)
    for (operation, bag), (sent, moved) in side_by_side(*streams):
        tally.count += 1
        tally.same(
            SAMPLE,
            sent[0][1] if sent else None,
            f"Operation {operation} sent other pieces of bag {bag} to a test than left"
            " it.",
            sum(pieces for pieces, _ in sent),
            -sum(delta for (delta,) in moved),
        )


@composed
def _sampled() -> Iterator[QuerySet[Any, Any]]:
    yield Sample.objects.order_by(*_KEY).values_list(*_KEY, "pieces", "pk")
    yield _moves(MovementKind.SAMPLED)


def _moves(*kinds: MovementKind) -> QuerySet[Movement, tuple[int, int, int]]:
    moves = Movement.objects.filter(kind__in=kinds).order_by(*_KEY)
    return moves.values_list(*_KEY, "delta")


register(
    ("counts", "counts", counts, Count),
    ("found", "findings", confirmed, Movement),
    ("samples", "samples", samples, Sample, Movement),
)
