"""Lots come in and are made; one of them is still growing at the end."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from random import Random

from django.db.models import Sum

from kitting.lots.services import blanks, lots
from kitting.lots.steps.materials import USABLE
from kitting.models import Lot
from kitting.models.lots import LotStage
from lotward.demo import plan
from lotward.demo.clock import LEAVING, Clock
from lotward.demo.masterdata import Catalogue


@dataclass
class Floor:
    """The workshop while it is being built: its time, its luck, its master data."""

    clock: Clock
    luck: Random
    catalogue: Catalogue
    today: int = 0
    runs_done: int = 0
    blanks: list[str] = field(default_factory=list)
    """Bag numbers on blank labels, not used yet."""

    def day(self, number: int) -> date:
        """The date of a working day; see ``Days.day``."""
        return self.clock.days.day(number)

    def begins(self, hour: int, minute: int = 0, *, takes: int = 0) -> bool:
        """Let an hour of today come, unless it has not come yet where the demo is shown.

        Args:
            hour: Hour of the day.
            minute: Minute of the hour.
            takes: Minutes that the work of this hour takes at most.

        Returns:
            Whether the work can be done; the newest day may end before.
        """
        begin = max(self.clock.now, self.clock.days.at(self.today, hour, minute))
        enough = self.has(takes, begin)
        if enough:
            self.clock.wait_until(begin)
        return enough

    def has(self, minutes: int, begin: datetime | None = None) -> bool:
        """Whether work can be done before the newest day must be left.

        Args:
            minutes: How long it takes at most.
            begin: When it begins; now where it is left out.

        Returns:
            True on every day but the newest.
        """
        end = (begin or self.clock.now) + timedelta(minutes=minutes)
        return self.today < plan.LAST or end <= self.clock.days.until - LEAVING

    def lot_number(self, part: str, on: int) -> str:
        """The workshop's own lot number: part, month and day.

        Args:
            part: Code of the part.
            on: Working day.

        Returns:
            Such as ``HB-0105``.
        """
        return f"{part}-{self.day(on):%m%d}"


# -- Taking in ----------------------------------------------------------------------


def take_in(floor: Floor, *, bought: bool) -> None:
    """Take in today's arrivals.

    Args:
        floor: The workshop.
        bought: What was bought, in the morning; else what was made here.
    """
    for arrival in plan.ARRIVALS:
        if arrival.on == floor.today and (arrival.part in plan.BOUGHT) is bought:
            new = _new_lot(floor, arrival)
            lots.take_in(lots=[new], sign=floor.clock.sign("checker", 180))


def _new_lot(floor: Floor, arrival: plan.Arrival) -> lots.NewLot:
    kind = plan.KINDS[arrival.part]
    found = floor.catalogue
    made_on = floor.day(arrival.on)
    bag_pieces = kind.pieces if arrival.cut_from is None else plan.CUT_PIECES
    bought = arrival.part in plan.BOUGHT
    where = "SHELF-RAW" if arrival.part in plan.RAW else "RACK-IN"
    bag = lots.NewBag(bag_pieces, kind.container, found.places[where].pk)
    revision = found.revisions[arrival.part, arrival.revision]
    method = _method(arrival, kind)
    return lots.NewLot(
        part_id=revision.part_id,
        revision_id=revision.pk,
        method_id=found.methods[method].pk if method else None,
        made_on=made_on,
        use_by=_years_after(made_on, kind.years),
        source="Trimming table" if arrival.cut_from is not None else kind.source,
        source_number=f"{floor.luck.randrange(10_000, 99_999)}" if bought else "",
        number=floor.lot_number(arrival.part, arrival.on),
        bags=(bag,) * arrival.bags,
        made_from=_made_from(floor, arrival, kind, bag_pieces * arrival.bags),
        close=True,
    )


def _method(arrival: plan.Arrival, kind: plan.Kind) -> str:
    if arrival.cut_from is not None:
        return "TRIM-S1"
    if kind.method == "PRINT-S7" and arrival.on >= plan.NEW_SETTINGS_ON:
        return "PRINT-S8"
    return kind.method


def _years_after(made_on: date, years: int) -> date | None:
    """The use-by date; a leap day's is the day before where there is none."""
    if not years:
        return None
    leap = (made_on.month, made_on.day) == (2, 29)
    return made_on.replace(year=made_on.year + years, day=28 if leap else made_on.day)


def _made_from(
    floor: Floor, arrival: plan.Arrival, kind: plan.Kind, pieces: int
) -> tuple[tuple[int, int], ...]:
    """One lot of material, the oldest that is enough: another one is another lot."""
    if arrival.cut_from is not None:
        visors = Lot.objects.get(number=floor.lot_number("VI", arrival.cut_from))
        return ((visors.pk, pieces),)
    if not kind.material:
        return ()
    wanted = pieces * kind.each
    enough = (
        Lot.objects.filter(part__code=kind.material, bags__stage__in=USABLE)
        .annotate(left=Sum("bags__pieces"))
        .filter(left__gte=wanted)
        .order_by("pk")
    )
    return ((enough[0].pk, wanted),)


def begin_open_lot(floor: Floor) -> None:
    """Begin a lot that grows: bags on blank labels, more of them to come."""
    given = blanks.give_out_numbers(count=12, sign=floor.clock.sign("manager"))
    floor.blanks = list(given.numbers)
    arrival = plan.Arrival(floor.today, "HB", "D", 2)
    kind = plan.KINDS["HB"]
    pieces = kind.pieces
    sketch = _new_lot(floor, arrival)
    new = lots.NewLot(
        part_id=sketch.part_id,
        revision_id=sketch.revision_id,
        method_id=sketch.method_id,
        made_on=sketch.made_on,
        source="Print room, night shift",
        bags=_blank_bags(floor, [pieces, pieces - 4]),
        made_from=_made_from(floor, arrival, kind, pieces * 6),
    )
    taken = lots.take_in(lots=[new], sign=floor.clock.sign("checker", 120))
    open_lot = Lot.objects.get(number=taken.lots[0])
    assert open_lot.stage == LotStage.OPEN  # noqa: S101


def add_to_open_lot(floor: Floor) -> None:
    """Bring one more bag of the lot that is still open."""
    lot = Lot.objects.get(stage=LotStage.OPEN)
    new = lots.NewLot(
        part_id=lot.part_id,
        revision_id=lot.revision_id,
        method_id=lot.method_id,
        made_on=lot.made_on,
        source=lot.source,
        bags=_blank_bags(floor, [117]),
        lot_id=lot.pk,
    )
    lots.take_in(lots=[new], sign=floor.clock.sign("checker", 60))


def _blank_bags(floor: Floor, counts: list[int]) -> tuple[lots.NewBag, ...]:
    rack = floor.catalogue.places["RACK-IN"].pk
    return tuple(
        lots.NewBag(count, "tote", rack, floor.blanks.pop(0)) for count in counts
    )
