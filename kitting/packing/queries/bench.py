"""What a bench's screen shows: its box, and what runs short."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from typing import Any

from django.db.models import Count, QuerySet

from kitting.domain.errors import LotwardError
from kitting.domain.stages import BoxStage, PrintState
from kitting.ledger.kept import KeptLines, foresee
from kitting.ledger.packable import packing_problem
from kitting.ledger.pinned import Pinned, pinned_by
from kitting.ledger.pinned import asked_of as pinned_asked
from kitting.ledger.reach import STANDING, holds_on_boxes, reach_of, standing_holds
from kitting.ledger.stopped import MustComeOut, Stopped, overdue_in, stopped
from kitting.models import (
    AllowedMass,
    Bag,
    Bench,
    Box,
    BoxLine,
    Hold,
    Print,
    PrintJob,
)
from kitting.models.catalogue import Per
from kitting.packing.queries.at_hand import AtHand, at_hand
from kitting.packing.queries.bench_offers import (
    Lacking,
    Offer,
    Wanted,
    lacking_of,
    offers_of,
)
from kitting.packing.queries.bench_rows import (
    NEWEST,
    Left,
    lines_in,
    newest_box,
    open_bags,
)
from kitting.packing.queries.bench_seen import (
    Gone,
    gone_from,
    mark_of,
    mark_of_choosing,
    mark_of_weighing,
)
from kitting.packing.queries.choices import Choice, choosing
from kitting.packing.queries.keep_going import GOES_ON, goes_on
from kitting.packing.queries.undo import done_at
from kitting.packing.queries.weighing import Reading, allowed_now, reading_of
from kitting.printing.queries.prints import NEWEST as NEWEST_LABEL
from kitting.printing.queries.prints import newest_label, newest_slips

MOST_ASIDE = 2
"""Boxes out of quarantine that are offered at once."""


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
    gone: Gone | None = None
    """What became of the bench's open bag of this part, where it has none any more."""
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
class Screen:
    """Everything that one look at a bench needs."""

    bench: Bench
    box: Box | None = None
    lines: list[Line] = field(default_factory=list)
    offers: list[Offer] = field(default_factory=list)
    lacking: Lacking | None = None
    choices: list[Choice] = field(default_factory=list)
    open_bags: list[OpenHere] = field(default_factory=list)
    gone: list[Gone] = field(default_factory=list)
    """Bags that other benches took, and of whose part none is open here since."""
    label: Print | None = None
    """The newest print of the closed box's label, with its job and printer."""
    slips: Print | None = None
    """The newest print of its slips, where a slip goes with each set."""
    held: Stopped | None = None
    """What stops the box in work, if a hold reaches it or anything in it."""
    overdue: MustComeOut | None = None
    """What in the open box is out of bags that were open for too long."""
    packed_today: int = 0
    """Boxes that were closed at this bench today; told while it has none in work."""
    aside: list[str] = field(default_factory=list)
    """Numbers of boxes of the bench that were put away before they were labelled, and
    that nothing holds any more: told while it has no other in work."""
    newest: str = ""
    """Number of the bench's newest box, in work or not; each scan says it."""
    at_hand: list[AtHand] = field(default_factory=list)
    """Bags with pieces in its open box, and its open bags."""
    seen: str = ""
    """``bench_seen.mark_of`` as the screen was read."""
    allowed: AllowedMass | None = None
    """At which mass somebody lets the box close outside of its window."""
    reading: Reading = field(default_factory=Reading)
    """What the scale sent of the box that is to be weighed."""
    goes_on: bool = False
    """Whether another box starts by itself after the closed one."""

    @property
    def job(self) -> PrintJob | None:
        """The job that takes the closed box's label to a printer."""
        return self.label.job if self.label else None

    @property
    def print_seen(self) -> str:
        """What the screen shows of its jobs: the screen changes when this does."""
        return " ".join(f"{job.pk} {job.state} {job.trouble}" for job in self._jobs)

    @property
    def printing(self) -> bool:
        """Whether anything of the closed box has yet to come out of a printer."""
        return any(job.state != PrintState.DONE for job in self._jobs)

    @property
    def _jobs(self) -> list[PrintJob]:
        return [each.job for each in (self.label, self.slips) if each and each.job]

    @property
    def asked(self) -> Line | None:
        """The line that is asked for now."""
        return next((line for line in self.lines if line.asked), None)

    @property
    def step(self) -> str:
        """The next to do: choose, held, overdue, fill, weigh, close, print or label."""
        if self.box is None:
            return "choose"
        if self.held:
            return "held"
        if self.box.stage == BoxStage.CLOSED:
            return "label" if self.label else "print"
        if self.overdue:
            return "overdue"
        if self.asked:
            return "fill"
        return "weigh" if self.box.size.weigh else "close"

    @property
    def stuck(self) -> bool:
        """Whether the box cannot go on with what lies open at the bench."""
        asked = self.asked
        refused = asked is not None and asked.refusal is not None
        stops = self.step in ("held", "overdue")
        return stops or refused or self.lacking is not None

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


def screen(
    bench: Bench, *, today: date, now: datetime, left: Left | None = None
) -> Screen:
    """Read what a bench's screen shows.

    Args:
        bench: The bench, with its place.
        today: The workshop's day.
        now: The moment.
        left: What the act that it answers left.

    Returns:
        The screen.
    """
    left = left or Left()
    newest = _read_ahead(bench, left, today)
    number = newest.number if newest else ""
    box = newest if newest is not None and newest.in_work else None
    rows = open_bags(bench.pk) if left.rows is None else left.rows
    bags = [row.bag for row in rows if row.bench_id == bench.pk]
    gone = gone_from(rows, bench)
    standing = standing_holds() if left.standing is None else left.standing
    reach = reach_of(standing) if left.reach is None else left.reach
    seen = mark_of(standing, (bag.pk for bag in bags), box.pk if box else 0)
    refusals = {
        bag.pk: packing_problem(bag, bag.lot, today=today, now=now, reach=reach)
        for bag in bags
    }
    here = [_open_here(bag, refusals[bag.pk]) for bag in bags]
    if box is None:
        offered, to_pack = choosing(bench, today=today, now=now, reach=reach)
        return Screen(
            bench,
            choices=offered,
            open_bags=here,
            gone=[*gone.values()],
            packed_today=sum(boxes for (boxes,) in _PACKED(bench.pk, today)),
            aside=_aside(bench, standing),
            newest=number,
            at_hand=at_hand(None, [], bags),
            seen=mark_of_choosing(seen, to_pack),
        )
    inside = lines_in(box.pk) if left.inside is None else left.inside
    pinned = pinned_by(box.recipe_id)
    lines = _lines(box, pinned, inside, bags, refusals, gone)
    shown = Screen(
        bench,
        box,
        lines,
        open_bags=here,
        held=stopped(box, inside, reach),
        overdue=overdue_in(box, inside, reach, now),
        newest=number,
        at_hand=at_hand(box, inside, bags),
        seen=seen,
    )
    if box.stage == BoxStage.CLOSED:
        return replace(with_prints(shown, box), goes_on=goes_on(box, today))
    if shown.step == "weigh":
        return _weighing(shown, box, now)
    if shown.held is not None or shown.asked is None:
        return shown
    line = pinned.lines_for(box.size.sets)[lines.index(shown.asked)]
    there = {row.lot.revision_id for row in inside}
    fitting = pinned.together.fitting(line.pk, there)
    takes, missing = pinned.together.takes[line.pk], shown.asked.missing
    wanted = Wanted(bench, line, missing, box, now, takes, fitting)
    offers, away = offers_of(wanted, today, reach)
    lacking = None if offers else lacking_of(wanted, reach, away)
    return replace(shown, offers=offers, lacking=lacking)


def _read_ahead(bench: Bench, left: Left, today: date) -> Box | None:
    """Ask at once what the act did not leave, and give the newest box."""
    its = [] if left.box is None else _asked_of(left.box, left, today)
    foresee(
        *([(NEWEST, bench.pk)] if left.box is None else []),
        *([(open_bags, bench.pk)] if left.rows is None else []),
        *([(STANDING,)] if left.standing is None else []),
        *its,
    )
    newest = left.box or newest_box(bench.pk)
    if newest is not None and newest.in_work:
        foresee(*_asked_of(newest, left, today))
    return newest


def _asked_of(box: Box, left: Left, today: date) -> list[tuple[Any, ...]]:
    inside = [] if left.inside is not None else [(lines_in, box.pk)]
    closed: list[tuple[Any, ...]] = []
    if box.stage == BoxStage.CLOSED:
        closed = [(NEWEST_LABEL, box.pk), (GOES_ON, box.pk, today)]
    return [*pinned_asked(box.recipe_id), *inside, *closed]


def _weighing(shown: Screen, box: Box, now: datetime) -> Screen:
    allowed, reading = allowed_now(box), reading_of(box, now)
    seen = mark_of_weighing(shown.seen, allowed, reading)
    return replace(shown, allowed=allowed, reading=reading, seen=seen)


def with_prints(shown: Screen, box: Box) -> Screen:
    """Add what was printed for a box that is closed.

    Args:
        shown: The screen.
        box: The box, with its size and product.

    Returns:
        The screen with the box's label, and its slips where it has them.
    """
    slips = newest_slips(box) if box.size.product.set_slips else None
    return replace(shown, label=newest_label(box.pk), slips=slips)


def _packed(bench: int, today: date) -> QuerySet[Box, tuple[int]]:
    packed = Box.objects.filter(bench=bench, packed_on=today).order_by()
    at_it = packed.exclude(stage=BoxStage.VOIDED).values("bench")
    return at_it.annotate(boxes=Count("pk")).values_list("boxes")


_PACKED = KeptLines(_packed)
"""How many boxes were closed at a bench on a day."""


def _away(bench: int) -> QuerySet[Box, tuple[int, str]]:
    stages = (BoxStage.OPEN, BoxStage.CLOSED)
    away = Box.objects.filter(bench=bench, stage__in=stages, place__isnull=False)
    return away.order_by("pk").values_list("pk", "number")


_AWAY = KeptLines(_away)
"""Boxes of a bench that were put away before they were labelled."""


def _aside(bench: Bench, standing: Sequence[Hold]) -> list[str]:
    numbers = dict(_AWAY(bench.pk))
    held = holds_on_boxes(numbers, reach_of(standing)) if numbers else {}
    return [number for pk, number in numbers.items() if pk not in held][:MOST_ASIDE]


def _open_here(bag: Bag, refusal: LotwardError | None) -> OpenHere:
    return OpenHere(bag.lot.part.name, bag.number, bag.pieces, refusal)


def _lines(
    box: Box,
    pinned: Pinned,
    inside: list[BoxLine],
    bags: Iterable[Bag],
    refusals: Mapping[int, LotwardError | None],
    gone: Mapping[int, Gone],
) -> list[Line]:
    have: Counter[int] = Counter()
    for row in inside:
        line = pinned.line_of(row.lot.part_id)
        have[line.pk if line else 0] += row.pieces
    open_bags: dict[int, list[Bag]] = {}
    for bag in sorted(bags, key=pinned.rank):
        line = pinned.line_of(bag.lot.part_id)
        open_bags.setdefault(line.pk if line else 0, []).append(bag)
    there = {row.lot.revision_id for row in inside}
    away = {
        line.pk: each
        for part, each in gone.items()
        if (line := pinned.line_of(part)) is not None
    }
    lines: list[Line] = []
    for line in pinned.lines_for(box.size.sets):
        needed, now = line.needed(box.size.sets), have[line.pk]
        found = [
            (
                bag,
                refusals[bag.pk]
                or pinned.not_pinned(bag)
                or (pinned.apart(bag, there) if now < needed else None),
            )
            for bag in open_bags.get(line.pk, [])
        ]
        # A substitute may lie open beside it: the one that is taken from is shown.
        found.sort(key=lambda each: each[1] is not None)
        shown, refusal = found[0] if found else (None, None)
        lines.append(
            Line(
                part=line.part.name,
                needed=needed,
                inside=now,
                per_set=line.pieces if line.per == Per.SET else 0,
                bag=shown.number if shown else "",
                left=shown.pieces if shown else 0,
                refusal=refusal,
                gone=None if shown else away.get(line.pk),
                asked=now < needed and not any(each.asked for each in lines),
            )
        )
    return lines


def last_act(bench: Bench) -> tuple[str, dict[str, Any]]:
    """The newest act that was done at a bench, or gave it a box.

    Args:
        bench: The bench.

    Returns:
        Its name and outcome; empty before the first.
    """
    newest = done_at(bench.pk, most=1)
    return (newest[0][1], json.loads(newest[0][2])) if newest else ("", {})
