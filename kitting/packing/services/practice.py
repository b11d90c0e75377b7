"""A box packed for practice: by the rules of the bench, at no bench, and for nothing.

What was scanned so far is done once more, with bags that are there for that long only,
and all of it is rolled back: no piece is used, no number given out, nothing printed,
and the journal knows nothing of it. So there is nothing that could count.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any, Final
from uuid import UUID, uuid4

from kitting.domain.errors import LotwardError, Refused
from kitting.domain.masses import MOST_G
from kitting.domain.stages import BagStage
from kitting.ledger import clock
from kitting.ledger.clock import day_of
from kitting.ledger.operations import Sign, rehearsed
from kitting.ledger.weighed import scale_u
from kitting.lots.services.lots import take_in
from kitting.lots.steps.intake import NewBag, NewLot
from kitting.models import Bag, Bench, BoxSize, Place, RecipeLine, User, Workshop
from kitting.models.catalogue import PlaceKind
from kitting.packing.queries.bench import Screen, last_act, screen
from kitting.packing.queries.bench_rows import newest_box
from kitting.packing.queries.weighing import in_box
from kitting.packing.services.bench import take_scan
from kitting.packing.services.scanned import Answer
from kitting.packing.steps import lines_of

SAID: Final = "TEST"
"""Stands on the screen for every number that is made up, and is what a touch scans:
the bag that is asked for, or the label of the box."""

_CODE: Final = ".PRACTICE"
"""No place or bench that is set up has a stop in its code."""
_SCALE: Final = {
    "scale_step_mg": 1_000,
    "scale_u_mg": 1_000,
    "scale_most_mg": MOST_G * 1_000,
}


@dataclass
class Practised:
    """How far somebody is."""

    bench: Bench
    screen: Screen
    answer: Answer = field(default_factory=Answer)
    """What the last scan did."""
    refusal: LotwardError | None = None
    """Why it did nothing; then it is not among those that are kept."""
    kept: list[str] = field(default_factory=list)
    """What was scanned, without what was refused."""
    last: tuple[str, Mapping[str, Any]] = ("", {})
    """The newest act and what it gave."""


def practise(*, by: User, scans: Sequence[str], key: UUID) -> Practised:
    """Do what was scanned, by every rule of a bench, and take all of it back.

    Args:
        by: Who practises.
        scans: What was scanned so far, in order.
        key: Operation key of the last of them; those before had theirs.

    Returns:
        What the screen shows now, with no number that is real.

    Raises:
        Refused: ``nothing_to_practise`` without a recipe in force.
    """
    now = clock.now()
    with rehearsed():
        today = day_of(Workshop.objects.get(pk=1), now)
        bench, bags = _set_out(by, today)
        done = Practised(bench, screen(bench, today=today, now=now))
        keys = (*(uuid4() for _ in scans[1:]), key)
        for text, own in zip(scans, keys, strict=False):
            _scan(done, text, Sign(by, own, bench_id=bench.pk), bags)
            done.screen = screen(bench, today=today, now=now)
            if done.refusal is not None:
                break
        done.last = last_act(bench)
        return _without_numbers(done, {*bags})


def _set_out(by: User, today: date) -> tuple[Bench, list[str]]:
    """A bench, and the numbers of bags with whatever any box needs."""
    most: dict[RecipeLine, int] = {}
    sets: dict[int, list[int]] = {}
    for size in BoxSize.objects.filter(active=True, product__recipes__in_force=True):
        sets.setdefault(size.product_id, []).append(size.sets)
    lines = RecipeLine.objects.filter(recipe__in_force=True)
    for line in lines.select_related("part", "recipe"):
        if needed := [*map(line.needed, sets.get(line.recipe.product_id, ()))]:
            most[line] = max(needed)
    if not most:
        raise Refused("nothing_to_practise")
    lots = [
        NewLot(
            part_id=line.part_id,
            revision_id=line.revision_id,
            made_on=today,
            source=SAID,
            use_by=today,  # So that they are proposed before any that are real.
            bags=(NewBag(pieces),),
            sure=SAID,
        )
        for line, pieces in most.items()
    ]
    taken = take_in(lots=lots, sign=Sign(by, uuid4()))
    place = Place.objects.create(code=_CODE, name=SAID, kind=PlaceKind.BENCH)
    bench = Bench.objects.create(code=_CODE, name=SAID, place=place, **_SCALE)
    made = Bag.objects.filter(number__in=taken.bags)
    made.update(stage=BagStage.CLEARED, place=place)
    return bench, taken.bags


def _scan(done: Practised, text: str, sign: Sign, bags: Sequence[str]) -> None:
    """Do one scan at the bench, and note what came of it."""
    newest = newest_box(done.bench.pk)
    try:
        done.answer = take_scan(
            bench_id=done.bench.pk,
            text=_meant(done.screen, bags) if text == SAID else text,
            box=newest.number if newest else "",
            purpose=str(done.answer.asked),
            sign=sign,
            goes_on=False,
        )
    except LotwardError as error:
        done.answer, done.refusal = Answer(), error
    else:
        done.kept.append(text)


def _meant(shown: Screen, bags: Sequence[str]) -> str:
    """The number of what a touch scans."""
    if shown.step == "label" and shown.box is not None:
        return str(shown.box.serial)
    if shown.step == "weigh" and shown.box is not None:
        whole = in_box(shown.box, lines_of(shown.box)).window(scale_u(shown.bench))
        return f"ACT-MASS-{whole.expected_g}"
    offered = [offer.bag for offer in shown.offers if offer.bag in bags]
    if not offered and shown.asked is not None:  # held meanwhile: it says so
        of = Bag.objects.filter(number__in=bags, lot__part__name=shown.asked.part)
        offered = list(of.values_list("number", flat=True)[:1])
    return offered[0] if offered else SAID


def _without_numbers(done: Practised, made_up: set[str]) -> Practised:
    """Put a word in place of every number that was made up."""
    shown = done.screen
    made_up |= {done.last[1].get(name, "") for name in ("box", "serial", "thing")}
    if (box := shown.box) is not None:
        made_up |= {box.number, box.serial or ""}
        box.number, box.serial = SAID, box.serial and SAID
    made_up |= {shown.newest}

    def plain(value: Any) -> Any:
        if not isinstance(value, str):
            return value
        for number in filter(None, made_up):
            value = value.replace(number, SAID)
        return value

    def said(gave: Mapping[str, Any]) -> dict[str, Any]:
        return {of: plain(value) for of, value in gave.items()}

    named = done.answer.asked.bags
    bag, past = done.answer.bag, done.answer.past
    done.answer = replace(
        done.answer,
        about=plain(done.answer.about),
        bag=bag and replace(bag, bag=SAID),
        past=past and replace(past, gave=said(past.gave)),
    )
    done.screen = replace(
        shown,
        lines=[replace(line, bag=plain(line.bag)) for line in shown.lines],
        offers=[replace(offer, bag=plain(offer.bag)) for offer in shown.offers],
        open_bags=[replace(here, bag=plain(here.bag)) for here in shown.open_bags],
        at_hand=[
            replace(each, bag=SAID, command=f"ACT-{nth}", named=each.bag in named)
            for nth, each in enumerate(shown.at_hand, start=1)
        ],
        newest="",
    )
    name, outcome = done.last
    done.last = name, said(outcome)
    if done.refusal is not None:
        done.refusal = type(done.refusal)(
            done.refusal.code, **said(done.refusal.params)
        )
    return done
