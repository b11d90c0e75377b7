"""Stock, printers and a print worker with a clock of its own, for tests."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime, timedelta

from kitting.domain.prints import DESTROYED, Again, Onto
from kitting.domain.stocks import PrinterFacts, StockFacts
from kitting.ipp.address import read_address
from kitting.ipp.client import IppPrinter
from kitting.models import Bench, Box, Printer, PrintJob, Stock
from kitting.packing.services.labels import print_box_label
from kitting.printing.services.printers import keep_printer
from kitting.printing.services.stocks import keep_stock
from kitting.printing.worker import Worker
from tests.factories import NOW, sign
from tests.kitting.ipp.fake_printer import FakePrinter
from tests.patience import PATIENCE_S

BOX_ROLL = StockFacts("BOX", "Box labels", 100_000, 150_000, gap_um=3_000)
BAG_ROLL = StockFacts("BAG", "Bag labels", 70_000, 40_000, gap_um=3_000)
SLIP_ROLL = StockFacts("SLIP", "Slips", 50_000, 25_000)
A4_OF_BAGS = StockFacts(
    "A4-14",
    "A4 with 14 bag labels",
    70_000,
    40_000,
    page_width_um=210_000,
    page_height_um=297_000,
    left_um=30_000,
    top_um=6_000,
    columns=2,
    rows=7,
    gap_across_um=4_000,
    gap_down_um=0,
)


def make_stock(facts: StockFacts = BOX_ROLL) -> Stock:
    keep_stock(facts=facts, sign=sign())
    return Stock.objects.get(code=facts.code)


def make_printer(
    address: str,
    stock: StockFacts = BOX_ROLL,
    *,
    code: str = "P1",
    bench: Bench | None = None,
) -> Printer:
    if not Stock.objects.filter(code=stock.code).exists():
        make_stock(stock)
    facts = PrinterFacts(
        code,
        f"Printer {code}",
        address,
        stock.code,
        bench=bench.code if bench else "",
    )
    keep_printer(facts=facts, sign=sign())
    return Printer.objects.get(code=code)


@dataclass
class Clock:
    """A clock that goes on when it is told to."""

    at: datetime = NOW
    printer: FakePrinter | None = None
    """One whose own clock goes on with it."""
    worker: Worker = field(init=False)

    def __post_init__(self) -> None:
        self.worker = Worker(now=lambda: self.at, connect=reach)

    def step(self, seconds: float = 61) -> int:
        """One step of the worker, after a while."""
        self.at += timedelta(seconds=seconds)
        if self.printer is not None and self.printer.up_time is not None:
            self.printer.up_time += int(seconds)
        return self.worker.step()


def reach(address: str) -> IppPrinter:
    return IppPrinter(read_address(address), user="lotward", timeout=PATIENCE_S)


def until_over(job: PrintJob, clock: Clock, most: int = 12) -> list[str]:
    """Work until a job is over; give the states it went through."""
    states = []
    for _ in range(most):
        clock.step()
        job.refresh_from_db()
        states.append(str(job.state))
        if job.state in ("done", "failed", "cancelled"):
            break
    return states


def print_again(box: Box, printer: str) -> PrintJob:
    done = print_box_label(
        box_id=box.pk,
        again=Again("Label lost", DESTROYED),
        onto=Onto(printer=printer),
        sign=sign(),
    )
    return PrintJob.objects.get(pk=done.job)


def came_out(fake: FakePrinter) -> int:
    """How many jobs a printer took that it has not given up."""
    return sum(job.state not in ("aborted", "canceled") for job in fake.jobs)


__all__ = [
    "A4_OF_BAGS",
    "BAG_ROLL",
    "BOX_ROLL",
    "SLIP_ROLL",
    "Clock",
    "FakePrinter",
    "came_out",
    "make_printer",
    "make_stock",
    "print_again",
    "reach",
    "until_over",
]
