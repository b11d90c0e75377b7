"""What a bench's screen shows: its box, what runs short, and where more of it stands."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Any

from django.db.models import Case, F, OuterRef, Q, Subquery, Sum, When

from kitting.domain import picking
from kitting.domain.errors import LotwardError
from kitting.domain.stages import BagStage, BoxStage
from kitting.ledger.kept import Kept
from kitting.ledger.packable import (
    METHOD_OF_BAG,
    ON_TRIAL,
    not_pinned,
    packing_problem,
)
from kitting.ledger.reach import Reach, Why, standing_reach
from kitting.models import (
    Bag,
    Bench,
    Box,
    BoxLine,
    BoxSize,
    OpenBag,
    Operation,
    Print,
    PrintJob,
    RecipeLine,
)
from kitting.models.catalogue import Per
from kitting.printing.queries.prints import newest_label

MOST_OFFERS = 2
"""Bags that are named at once; the next is named when one of them was scanned."""


@dataclass(frozen=True)
class Line:
    """One part of the box in work."""

    part: str
    needed: int
    inside: int
    per_set: int
    """Pieces in one set; 0 where the part is counted by the box."""
    bag: str = ""
    """Number of the bench's open bag of this part."""
    left: int = 0
    """Pieces left in it."""
    refusal: LotwardError | None = None
    """Why the box takes nothing from that bag, where it does not."""
    asked: bool = False
    """Whether this is the part that is asked for now."""

    @property
    def missing(self) -> int:
        """Pieces that are not in yet."""
        return self.needed - self.inside

    @property
    def done(self) -> bool:
        """Whether the line is complete."""
        return self.missing <= 0


@dataclass(frozen=True)
class OpenHere:
    """An open bag at a bench that has no box in work."""

    part: str
    bag: str
    left: int
    refusal: LotwardError | None
    """Why no box will take anything from it, where none will."""


@dataclass(frozen=True)
class Offer:
    """A bag that could give what is missing, and where it stands."""

    bag: str
    lot: str
    pieces: int
    place: str
    here: bool
    """Whether it stands at this bench already."""


@dataclass(frozen=True)
class Lacking:
    """Why nothing can be offered: pieces of the part that may not be packed."""

    held: int = 0
    not_cleared: int = 0
    on_trial: int = 0
    """Pieces made with a method that nobody has released yet."""
    elsewhere: int = 0
    """Pieces in bags that are open at another bench."""


@dataclass(frozen=True)
class Choice:
    """A box size that can be started."""

    sets: int
    product: str
    command: str
    again: bool
    """Whether the bench's last box was of this size."""


@dataclass(frozen=True)
class Screen:
    """Everything that one look at a bench needs."""

    bench: Bench
    box: Box | None = None
    lines: list[Line] = field(default_factory=list)
    offers: list[Offer] = field(default_factory=list)
    lacking: Lacking | None = None
    choices: list[Choice] = field(default_factory=list)
    open_bags: list[OpenHere] = field(default_factory=list)
    label: Print | None = None
    """The newest print of the closed box's label, with its job and printer."""
    held: Why | None = None
    """The hold that reaches the open box."""
    packed_today: int = 0
    """Boxes that were closed at this bench today; told while it has none in work."""
    newest: str = ""
    """Number of the bench's newest box, in work or not; each scan says it."""

    @property
    def job(self) -> PrintJob | None:
        """The job that takes the closed box's label to a printer."""
        return self.label.job if self.label else None

    @property
    def print_seen(self) -> str:
        """What the screen shows of that job: the screen changes when this does."""
        job = self.job
        return f"{job.pk} {job.state} {job.trouble}" if job else ""

    @property
    def asked(self) -> Line | None:
        """The line that is asked for now."""
        return next((line for line in self.lines if line.asked), None)

    @property
    def step(self) -> str:
        """The next thing to do: choose, held, fill, close, print or label."""
        if self.box is None:
            return "choose"
        if self.box.stage == BoxStage.CLOSED:
            return "label" if self.label else "print"
        if self.held:
            return "held"
        return "fill" if self.asked else "close"

    @property
    def stuck(self) -> bool:
        """Whether the box cannot go on with what lies open at the bench."""
        asked = self.asked
        refused = asked is not None and asked.refusal is not None
        return self.step == "held" or refused or self.lacking is not None

    @property
    def complete(self) -> int:
        """Sets of which every part is in."""
        return min(self._sets(), default=0)

    @property
    def started(self) -> int:
        """Sets of which some parts are in."""
        begun = [-(-line.inside // line.per_set) for line in self.lines if line.per_set]
        return max(begun, default=0) - self.complete

    def _sets(self) -> list[int]:
        return [line.inside // line.per_set for line in self.lines if line.per_set]


def newest_box(bench_id: int) -> Box | None:
    """The box that was started last at a bench; no earlier one is in work.

    Args:
        bench_id: The bench.

    Returns:
        The box with its size and product, in any stage; None before the first.
    """
    return next(iter(_NEWEST(bench_id)), None)


_NEWEST = Kept(
    lambda bench: (
        Box.objects.filter(bench=bench)
        .select_related("size__product")
        .order_by("-pk")[:1]
    )
)
_OPEN_BAGS = Kept(
    lambda bench: (
        OpenBag.objects.filter(bench=bench)
        .select_related("bag__lot__part", "bag__lot__revision", f"bag__{METHOD_OF_BAG}")
        .order_by("pk")
    )
)


def screen(bench: Bench, *, today: date, now: datetime) -> Screen:
    """Read what a bench's screen shows.

    Args:
        bench: The bench, with its place.
        today: The workshop's day.
        now: The moment.

    Returns:
        The screen.
    """
    newest = newest_box(bench.pk)
    number = newest.number if newest else ""
    in_work = newest is not None and newest.stage in (BoxStage.OPEN, BoxStage.CLOSED)
    box = newest if in_work else None
    bags = _OPEN_BAGS(bench.pk)
    reach = standing_reach() if bags or box is not None else Reach()
    refusals = {
        row.bag_id: packing_problem(
            row.bag, row.bag.lot, today=today, now=now, reach=reach
        )
        for row in bags
    }
    here = [_open_here(row.bag, refusals[row.bag_id]) for row in bags]
    if box is None:
        packed = Box.objects.filter(bench=bench, packed_on=today).exclude(
            stage=BoxStage.VOIDED
        )
        return Screen(
            bench,
            choices=choices(bench),
            open_bags=here,
            packed_today=packed.count(),
            newest=number,
        )
    lines, recipe = _lines(box, [row.bag for row in bags], refusals)
    if box.stage == BoxStage.CLOSED:
        label = newest_label(box.pk)
        return Screen(bench, box, lines, open_bags=here, label=label, newest=number)
    offers, lacking = [], None
    asked = next((n for n, line in enumerate(lines) if line.asked), None)
    if asked is not None:
        wanted = _Wanted(bench, recipe[asked], lines[asked].missing, box, now)
        offers = _offers(wanted, today, reach)
        lacking = None if offers else _lacking(wanted, reach)
    return Screen(
        bench,
        box,
        lines,
        offers,
        lacking,
        open_bags=here,
        held=reach.why_box(box, BoxLine.objects.filter(box=box)) if reach else None,
        newest=number,
    )


def _open_here(bag: Bag, refusal: LotwardError | None) -> OpenHere:
    return OpenHere(bag.lot.part.name, bag.number, bag.pieces, refusal)


def _lines(
    box: Box, bags: Iterable[Bag], refusals: Mapping[int, LotwardError | None]
) -> tuple[list[Line], list[RecipeLine]]:
    inside = (
        BoxLine.objects.filter(box=box, lot__part=OuterRef("part"))
        .order_by()
        .values("lot__part")
        .annotate(pieces=Sum("pieces"))
        .values("pieces")
    )
    recipe: list[Any] = list(
        RecipeLine.objects.filter(recipe=box.recipe_id)
        .select_related("part")
        .annotate(inside=Subquery(inside))
        .order_by("pk")
    )
    open_by_part = {bag.lot.part_id: bag for bag in bags}
    lines: list[Line] = []
    for row in recipe:
        bag = open_by_part.get(row.part_id)
        needed, inside_now = row.needed(box.size.sets), row.inside or 0
        lines.append(
            Line(
                part=row.part.name,
                needed=needed,
                inside=inside_now,
                per_set=row.pieces if row.per == Per.SET else 0,
                bag=bag.number if bag else "",
                left=bag.pieces if bag else 0,
                refusal=(refusals[bag.pk] or not_pinned(row, bag)) if bag else None,
                asked=inside_now < needed and not any(line.asked for line in lines),
            )
        )
    return lines, recipe


@dataclass(frozen=True)
class _Wanted:
    """What runs short."""

    bench: Bench
    line: RecipeLine
    missing: int
    box: Box
    now: datetime

    def bags(self) -> Any:
        """Bags of the part in a revision that the recipe pins."""
        pinned = [self.line.revision_id]
        if self.line.substitute_id is not None:
            pinned.append(self.line.substitute_id)
        return Bag.objects.filter(lot__part=self.line.part_id, lot__revision__in=pinned)


def _offers(wanted: _Wanted, today: date, reach: Reach) -> list[Offer]:
    may = wanted.bags().filter(stage=BagStage.CLEARED)
    may = may.filter(Q(lot__use_by__isnull=True) | Q(lot__use_by__gte=today))
    may = may.exclude(open_at__bench__isnull=False).exclude(ON_TRIAL)
    hours = wanted.line.part.open_hours
    if hours is not None:
        since = wanted.now - timedelta(hours=hours)
        may = may.filter(Q(opened_at__isnull=True) | Q(opened_at__gte=since))
    in_box = Subquery(
        BoxLine.objects.filter(box=wanted.box, lot=OuterRef("lot")).values("lot")[:1]
    )
    found = {
        bag.pk: bag
        for bag in may.select_related("lot", "place").annotate(lot_in_box=in_box)
        if not reach.bag(bag)
    }
    begun = [bag for bag in found.values() if bag.lot_in_box is not None]
    # A lot that is in the box already adds none: where it suffices, it comes first.
    enough = sum(bag.pieces for bag in begun) >= wanted.missing
    plan = picking.propose(
        wanted.missing, map(_candidate, begun if enough else found.values())
    )
    return [
        _offer(found[int(bag)], pieces, wanted.bench)
        for bag, pieces in plan.takes[:MOST_OFFERS]
    ]


def _candidate(bag: Bag) -> picking.Candidate:
    return picking.Candidate(
        bag=bag.pk,
        lot=bag.lot.number,
        pieces=bag.pieces,
        use_by=bag.lot.use_by,
        made_on=bag.lot.made_on,
        arrived=bag.pk,
    )


def _offer(bag: Bag, pieces: int, bench: Bench) -> Offer:
    return Offer(
        bag=bag.number,
        lot=bag.lot.number,
        pieces=pieces,
        place=bag.place.name if bag.place else "",
        here=bag.place_id == bench.place_id,
    )


def _lacking(wanted: _Wanted, reach: Reach) -> Lacking:
    held = not_cleared = on_trial = elsewhere = 0
    rest = wanted.bags().exclude(stage__in=(BagStage.USED_UP, BagStage.REJECTED))
    rest = rest.annotate(bench=F("open_at__bench"), trial=Case(When(ON_TRIAL, 1)))
    for bag in rest:
        if reach.bag(bag):
            held += bag.pieces
        elif bag.stage != BagStage.CLEARED:
            not_cleared += bag.pieces
        elif bag.trial:
            on_trial += bag.pieces
        elif bag.bench not in (None, wanted.bench.pk):
            elsewhere += bag.pieces
    return Lacking(held, not_cleared, on_trial, elsewhere)


def choices(bench: Bench) -> list[Choice]:
    """Box sizes that can be started: of products with a recipe in force.

    Args:
        bench: The bench; the size of its last box is told.

    Returns:
        One for each size, by product and sets: a gloved hand finds it where it was.
    """
    newest = Box.objects.filter(bench=bench).order_by("-pk").values("size")[:1]
    sizes = list(
        BoxSize.objects.filter(product__recipes__in_force=True, active=True)
        .select_related("product")
        .annotate(newest=Subquery(newest))
        .order_by("product__code", "sets")
    )
    counts = [size.sets for size in sizes]
    return [
        Choice(
            sets=size.sets,
            product=size.product.name,
            command=f"ACT-BOX-{size.sets}"
            if counts.count(size.sets) == 1
            else f"ACT-BOX-{size.product.code}-{size.sets}",
            again=size.pk == size.newest,
        )
        for size in sizes
    ]


def last_act(bench: Bench) -> tuple[str, dict[str, Any]]:
    """The newest act that was done at a bench.

    Args:
        bench: The bench.

    Returns:
        Its name and outcome; empty before the first.
    """
    newest = (
        Operation.objects.filter(bench=bench, link__isnull=False)
        .order_by("-pk")
        .values_list("name", "link__outcome")
        .first()
    )
    return (newest[0], json.loads(newest[1])) if newest else ("", {})
