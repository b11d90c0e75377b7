"""Places: where boxes were put, which bags hang on a carrier and go where it goes."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from django.db.models import Q, QuerySet

from kitting.domain.stages import BagStage, MovementKind
from kitting.ledger.proof import register
from kitting.ledger.proof.acts import Done, done
from kitting.ledger.proof.faults import Tally
from kitting.ledger.proof.streams import (
    Asked,
    batched,
    composed,
    grouped,
    how_many,
    rows,
    side_by_side,
)
from kitting.models import Bag, Box, BoxPut, Hold, Movement
from kitting.models.catalogue import PlaceKind

BAG = Bag._meta.db_table
BOX = Box._meta.db_table
PUT = BoxPut._meta.db_table
MOVEMENT = Movement._meta.db_table


def boxes(tally: Tally) -> None:
    """Every box stands where it was put last, and nowhere where it was never put.

    Args:
        tally: Where puts are counted and faults noted.
    """
    every = Box.objects.order_by("pk").values_list("pk", "place_id")
    puts = BoxPut.objects.order_by("box_id", "pk").values_list("box_id", "place_id")
    for pk, (box, made) in side_by_side(grouped(rows(every)), grouped(rows(puts))):
        tally.count += len(made)
        if not box:
            tally.add(PUT, pk, "A box was put away that is not there.", "a box", "")
        for (place,) in box:
            last = made[-1][0] if made else None
            words = "The box was put at another place last."
            tally.same(BOX, pk, words, last or "none", place or "none")


def carriers(tally: Tally) -> None:
    """A bag on a carrier is full, open at no bench, and stands where its carrier does.

    While it is on the line, or until it is fetched from there, it stands at the line.
    Which carrier it is on, the acts in the journal say.

    Args:
        tally: Where bags on carriers are counted and faults noted.
    """
    loaded, on = _on_carriers()
    _hung(tally, on)
    for pk, stage, place, kind, where, opened in rows(loaded):
        tally.count += 1
        if stage == BagStage.USED_UP:
            tally.add(BAG, pk, "An empty bag is on no carrier.", "none", "a carrier")
        if opened is not None:
            words = "A bag that is open at a bench is on no carrier."
            tally.add(BAG, pk, words, "none", "a carrier")
        if kind != PlaceKind.LINE:
            words = "A bag on a carrier stands where the carrier stands."
            tally.same(BAG, pk, words, where or "none", place or "none")


@composed
def _on_carriers() -> Iterator[QuerySet[Any, Any]]:
    """Where bags on carriers are and stand, and which carrier each is on."""
    loaded = Bag.objects.filter(carrier__isnull=False).order_by("pk")
    yield loaded.values_list(
        "pk", "stage", "place_id", "place__kind", "carrier__place_id", "open_at"
    )
    yield loaded.values_list("number", "carrier__number")


def _hung(tally: Tally, on: Asked) -> None:
    """Every bag is on the carrier that the acts in the journal left it on, or on none."""
    hung = _hung_by_acts()
    found: dict[str, str] = dict(rows(on))
    for batch in batched(sorted(hung.keys() | found.keys())):
        bags = Bag.objects.filter(number__in=batch).order_by("pk")
        for pk, number in rows(bags.values_list("pk", "number")):
            words = "The acts in the journal left it on another carrier."
            expected, is_on = hung.get(number, "none"), found.get(number, "none")
            tally.same(BAG, pk, words, expected, is_on)


def _hung_by_acts() -> dict[str, str]:
    """Number of every bag that was hung on a carrier and never came off, and which."""
    hung: dict[str, Done] = {}
    for act in done("load_bag", "put_bag", "bring_bag", "bring_in"):
        if act.name == "bring_in" and not act.gave.get("moved"):
            continue  # it stood in quarantine, and stays on its carrier
        bag = act.gave.get("thing") or act.gave.get("bag", "")
        if act.name == "load_bag" and act.gave.get("on"):
            hung[bag] = act
        else:  # taken off it, put away alone, or open at a bench
            hung.pop(bag, None)
    for batch in batched(sorted(hung)):
        emptied = Movement.objects.filter(bag__number__in=batch, after=0)
        told = emptied.order_by("pk").values_list("bag__number", "operation__link")
        for bag, link in rows(told):  # an empty bag comes off
            if bag in hung and link is not None and link >= hung[bag].link:
                del hung[bag]
    return {bag: act.gave.get("carrier", "") for bag, act in hung.items()}


def quarantine(tally: Tally) -> None:
    """What was rejected or held was put away in quarantine only.

    Args:
        tally: Where bags that were put away are counted and faults noted.
    """
    right, wrong, stood = _put()
    tally.count += how_many(right)
    found = {pk for (pk,) in rows(wrong)}
    elsewhere = _elsewhere()
    for bag, lot, since, until in rows(stood):
        of = elsewhere.filter(bag=bag) if lot is None else elsewhere.filter(lot=lot)
        of = of.filter(operation__link__seq__gt=since or 0)
        if until is not None:
            of = of.filter(operation__link__seq__lt=until)
        found |= set(of.values_list("pk", flat=True))
    for pk in sorted(found):
        words = "A bag that was held or rejected was put away outside quarantine."
        tally.add(MOVEMENT, pk, words, PlaceKind.QUARANTINE, "another place")


def _elsewhere() -> QuerySet[Movement]:
    put = Movement.objects.filter(kind=MovementKind.PLACED)
    return put.exclude(place__kind=PlaceKind.QUARANTINE).order_by("pk")


@composed
def _put() -> Iterator[QuerySet[Any, Any]]:
    """What was put into quarantine, rejected ones that were not, and what was held."""
    put = Movement.objects.filter(kind=MovementKind.PLACED)
    yield put.filter(place__kind=PlaceKind.QUARANTINE).order_by().values_list("pk")
    yield _elsewhere().filter(stage_after=BagStage.REJECTED).values_list("pk")
    holds = Hold.objects.filter(Q(bag__isnull=False) | Q(lot__isnull=False))
    yield holds.order_by("pk").values_list(
        "bag", "lot", "operation__link__seq", "lift__operation__link__seq"
    )


register(
    ("carriers", "bags", carriers, Bag),
    ("box places", "puts", boxes, Box, BoxPut),
    ("quarantine", "bags", quarantine, Movement),
)
