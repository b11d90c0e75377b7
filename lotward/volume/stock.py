"""Lots come in, are looked over and go on the belt, some time before they are packed."""

from __future__ import annotations

from collections import defaultdict, deque
from dataclasses import asdict, dataclass, field
from datetime import datetime, timedelta
from functools import partial
from typing import Final

from kitting.checking.queries.checks import plan_of
from kitting.checking.services.checks import Checked
from kitting.checking.steps import Found, found_rows
from kitting.disinfection.services.runs import OnLine, Opened
from kitting.disinfection.services.verdicts import Judged
from kitting.disinfection.steps.lines import pass_ms, readings_of
from kitting.disinfection.steps.verdicts import (
    after_run,
    light_rows,
    light_verdict,
    reading_rows,
)
from kitting.domain.entries import Belt
from kitting.domain.exposure import Reading
from kitting.domain.numbers import Kind
from kitting.domain.stages import BagStage, MovementKind, RunStage
from kitting.ledger import bulk
from kitting.ledger.reach import fold
from kitting.lots.services.lots import TakenIn
from kitting.lots.steps.bags import Change, change, new_bag, onward
from kitting.lots.steps.intake import NewBag, NewLot
from kitting.models import (
    Bag,
    Check,
    Counter,
    Guarded,
    Lot,
    Run,
    RunBag,
)
from kitting.models.lots import Container, LotStage, Verdict
from kitting.models.runs import Moment
from lotward.volume.founding import ON_THE_BELT, Founded
from lotward.volume.pen import Pen

BAGS: Final = (6, 14)
"""Fewest and most bags of a lot."""
PIECES: Final = {"HB": 240, "CH": 300, "VI": 240, "EL": 450, "MA": 30}
"""Of a bag."""
WITHIN_REACH: Final = 4
"""Bags of a part among which a packer chooses: lots overlap, and all come to an end."""
SOURCES: Final = {
    "HB": ("Print bench", "Print bench, night", "Eskmoor College"),
    "CH": ("Print bench", "Eskmoor College"),
    "VI": ("Drag knife",),
    "EL": ("Lodebridge Haberdashers", "Band cutter"),
    "MA": ("Copy room",),
}
KEEPS: Final = timedelta(days=900)
"""An elastic, from the day on which it was made."""
LINES: Final = dict(zip(ON_THE_BELT, ("LINE-1", "LINE-2"), strict=True))
BELT: Final = Belt(zone_um=500_000, belt_um_s=1_500, u_ppm=10_000, decline_ppm=15_000)
IRRADIANCE_UW_CM2: Final = (4_050, 4_350)
POINTS: Final = (1, 2)
SIDES: Final = ("top", "bottom")
REMEMBERED: Final = 12
"""Lots that were used up last: one of them may be held."""


@dataclass
class Where:
    """Where a lot's boxes are: all that a hold on it tells."""

    lot: Lot
    here: int = 0
    gone: int = 0


@dataclass
class Stock:
    """The bags that lie ready, and what is on the belts."""

    pen: Pen
    house: Founded
    ready: dict[str, deque[Bag]] = field(default_factory=lambda: defaultdict(deque))
    coming: dict[str, int] = field(default_factory=dict)
    """Bags on the belts."""
    where: dict[int, Where] = field(default_factory=dict)
    """By lot: those that have bags left, and those that were used up last."""
    empty: deque[int] = field(default_factory=deque)
    """Lots that were used up last."""
    left: dict[int, int] = field(default_factory=dict)
    """Bags of a lot that are not used up."""
    ends: list[tuple[datetime, partial[None]]] = field(default_factory=list)
    """Runs, and when they may be closed."""

    # -- Looking after it ----------------------------------------------------------

    def look_after(self) -> None:
        """Close the runs that are over, and take in what grows scarce."""
        due = [end for end in self.ends if end[0] <= self.pen.now]
        for end in due:
            self.ends.remove(end)
            end[1]()
        for part in PIECES:
            # One run at a time on a belt: what is coming is as good as there.
            while not self.coming.get(part) and len(self.ready[part]) < BAGS[1]:
                self.take_in(part)

    def open_up(self) -> None:
        """Wait for the first runs, so that boxes can be packed."""
        self.look_after()
        while self.ends:
            self.pen.wait_until(min(end for end, _ in self.ends))
            self.look_after()

    def leave_work(self) -> None:
        """Leave a lot that still grows, and bags on a belt."""
        self.take_in("CH", leave_open=True)
        if not self.ends:
            self.take_in("HB")

    def take(self, part: str) -> Bag:
        """Take a cleared bag for a bench: one of the oldest, not always the oldest."""
        ready = self.ready[part]
        nth = min(self.pen.luck.randrange(WITHIN_REACH), len(ready) - 1)
        bag = ready[nth]
        del ready[nth]
        return bag

    def used_up(self, bag: Bag) -> None:
        """Note an empty bag; the last one of a lot ends the lot."""
        self.left[bag.lot_id] -= 1
        if self.left[bag.lot_id]:
            return
        del self.left[bag.lot_id]
        self.empty.append(bag.lot_id)
        if len(self.empty) > REMEMBERED:
            del self.where[self.empty.popleft()]

    # -- Coming in -----------------------------------------------------------------

    def take_in(self, part: str, *, leave_open: bool = False) -> None:
        """Take in a lot, look it over, and let it go on the belt where it must."""
        bags, lot = self._taken_in(part, leave_open=leave_open)
        if leave_open:
            return
        self.where[lot.id] = Where(lot)
        self.left[lot.id] = len(bags)
        if lot.part.needs_check:
            self._look_over(lot, bags)
        if lot.part.needs_clearing:
            self._put_on_belt(bags)
        else:
            self.ready[part].extend(bags)

    def _taken_in(self, part: str, *, leave_open: bool) -> tuple[list[Bag], Lot]:
        pen, house = self.pen, self.house
        pen.begins()
        revision = house.revisions[part]
        source = pen.luck.choice(SOURCES[part])
        place = house.places["RACK-IN"]
        new = NewLot(
            part_id=revision.part_id,
            revision_id=revision.pk,
            made_on=self.pen.today,
            use_by=self.pen.today + KEEPS if part == "EL" else None,
            source=source,
            bags=(NewBag(PIECES[part], place_id=place.id),) * pen.luck.randint(*BAGS),
            close=not leave_open,
        )
        (number,), counter = pen.numbers(Kind.LOT)
        lot = bulk.fresh(
            Lot,
            number=number,
            source=source,
            source_key=fold(source),
            part=revision.part,
            revision=revision,
            made_on=new.made_on,
            use_by=new.use_by,
            stage=LotStage.OPEN if leave_open else LotStage.CLOSED,
        )
        pen.made(lot)
        bags, moves, of_bags = self._bags(lot, new)
        taken = TakenIn([lot.number], [bag.number for bag in bags])
        touched = [lot, *bags, counter, of_bags]
        checker = house.people["checker"]
        pen.act(
            "take_in", checker, taken, moves, touched, None, {"lots": [asdict(new)]}
        )
        return bags, lot

    def _bags(self, lot: Lot, new: NewLot) -> tuple[list[Bag], list[Guarded], Counter]:
        numbers, counter = self.pen.numbers(Kind.BAG, len(new.bags))
        bags, moves = [], list[Guarded]()
        for number, each in zip(numbers, new.bags, strict=True):
            bag = bulk.fresh(
                Bag,
                number=number,
                lot=lot,
                container=Container.TOTE,
                place_id=each.place_id,
                pieces=each.pieces,
            )
            bags.append(self.pen.made(bag))
            moves += new_bag(bag, lot.part)
        return bags, moves, counter

    def _look_over(self, lot: Lot, bags: list[Bag]) -> None:
        self.pen.begins()
        plan = plan_of(lot, bags)
        assert plan is not None  # noqa: S101 -- no lot is empty
        lot.verdict = Verdict.ACCEPTED
        check = bulk.fresh(
            Check,
            lot=lot,
            plan=plan.words,
            found=0,
            verdict=lot.verdict,
            severity=plan.severity,
            level=plan.level,
            lot_pieces=plan.lot_pieces,
            sample_size=plan.sample_size,
        )
        self.pen.numbered(check)  # its classes name it
        moves = []
        for bag in bags:
            accepted = Change(MovementKind.ACCEPTED, bag.pieces, to=BagStage.ACCEPTED)
            moves += [change(bag, accepted), *onward(bag, lot.part)]
        self.pen.act(
            "give_verdict",
            self.house.people["checker"],
            Checked(lot.number, lot.verdict, len(bags)),
            [check, *found_rows(check, plan, Found({}, 0)), *moves],
            (),
            None,
            {
                "lot": lot.id,
                "accept": True,
                "defects": [],
                "found": 0,
                "reason": "",
                "looked": False,
            },
        )

    # -- On the belt ---------------------------------------------------------------

    def _put_on_belt(self, bags: list[Bag]) -> None:
        run, opening = self.open_run(bags[0].lot.part.code)
        stays = [self.put_on(run, bag) for bag in bags]
        self.coming[bags[0].lot.part.code] = len(bags)
        end = self.pen.now + timedelta(milliseconds=run.exposure_ms * run.passes)
        self.ends.append((end, partial(self._close, run, opening, bags, stays)))

    def open_run(self, part: str) -> tuple[Run, list[Reading]]:
        """Open a run on the belt of a part, which has none."""
        pen, house = self.pen, self.house
        values = self._measured()
        (number,), counter = pen.numbers(Kind.RUN)
        calibration = house.meter.calibrations.get()
        run = pen.made(
            bulk.fresh(
                Run,
                number=number,
                line=house.places[LINES[part]],
                protocol=house.protocol,
                meter=house.meter,
                zone_um=BELT.zone_um,
                belt_um_s=BELT.belt_um_s,
                exposure_ms=pass_ms(BELT),
                passes=BELT.passes,
                rel_u_ppm=calibration.rel_u_ppm,
                belt_u_ppm=BELT.u_ppm,
                decline_ppm=BELT.decline_ppm,
                opened_at=pen.begins(),
            )
        )
        opening = readings_of(values, Moment.OPENING)
        pen.act(
            "open_run",
            house.people["line"],
            Opened(run=run.number),
            reading_rows(run, opening),
            [run, counter],
            None,
            {
                "line": run.line_id,
                "protocol": run.protocol_id,
                "meter": run.meter_id,
                "belt": vars(BELT),
                "readings": [list(value) for value in values],
                "by_dosimeter": False,
                "sure": "",
            },
        )
        return run, opening

    def _measured(self) -> list[tuple[int, str, int]]:
        luck = self.pen.luck
        return [
            (point, side, luck.randint(*IRRADIANCE_UW_CM2))
            for point in POINTS
            for side in SIDES
        ]

    def put_on(self, run: Run, bag: Bag) -> RunBag:
        """Put a bag on the belt of an open run."""
        at = self.pen.begins()
        what = Change(
            MovementKind.WENT_ON, bag.pieces, to=BagStage.IN_RUN, place_id=run.line_id
        )
        stay = self.pen.made(bulk.fresh(RunBag, run=run, bag=bag, on_at=at))
        self._on_line("put_on", run, bag, [change(bag, what)], stay)
        return stay

    def _on_line(
        self, name: str, run: Run, bag: Bag, moved: list[Guarded], stay: RunBag
    ) -> None:
        self.pen.changed(bag, stay)
        on = OnLine(run=run.number, bag=bag.number, stage=bag.stage)
        sent: dict[str, object] = {"run": run.id, "bag": bag.id}
        if name == "take_off":
            sent["short"] = False
        by = self.house.people["line"]
        self.pen.act(name, by, on, moved, [stay], None, sent)

    def _close(
        self, run: Run, opening: list[Reading], bags: list[Bag], stays: list[RunBag]
    ) -> None:
        pen = self.pen
        for bag, stay in zip(bags, stays, strict=True):
            stay.off_at = pen.begins()
            off = Change(MovementKind.CAME_OFF, bag.pieces, to=BagStage.EXPOSED)
            self._on_line("take_off", run, bag, [change(bag, off)], stay)
        values = self._measured()
        closing = readings_of(values, Moment.CLOSING)
        verdict = light_verdict(run, opening + closing, (), run.rel_u_ppm)
        assert verdict.passed  # noqa: S101 -- the lamps are new
        run.closed_at, run.stage = pen.begins(), RunStage.RELEASED
        moved = [
            after_run(bag, stay, run, (), passed=True)
            for bag, stay in zip(bags, stays, strict=True)
        ]
        for stay in stays:
            stay.live = False
        pen.changed(run, *stays, *bags)
        pen.act(
            "close_run",
            self.house.people["line"],
            Judged(run=run.number, stage=run.stage, bags=len(bags)),
            [*reading_rows(run, closing), *light_rows(run, verdict), *moved],
            bags,
            None,
            {
                "run": run.id,
                "readings": [list(value) for value in values],
                "dosimeters": [],
            },
        )
        part = bags[0].lot.part.code
        del self.coming[part]
        self.ready[part].extend(bags)
