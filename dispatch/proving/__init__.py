"""Proof: everything that the database keeps twice is recomputed and compared.

Nothing here writes to the database. One snapshot is read, so that people may go on
working; long tables are read in batches side by side, never whole.
"""

from __future__ import annotations

from dataclasses import dataclass

from dispatch.proving import (
    bags,
    balance,
    boxes,
    chain,
    checks,
    evidence,
    guards,
    heads,
    places,
    prints,
    runs,
    shipments,
    stages,
)
from dispatch.proving.faults import Check, Fault, Tally
from kitting import locking

__all__ = ["CHECKS", "Fault", "Proof", "Tally", "examine", "prove"]

CHECKS: tuple[tuple[str, str, Check], ...] = (
    ("guards", "guards", guards.stand),
    ("chain", "links", chain.links),
    ("operations", "operations", chain.operations),
    ("guarded rows", "rows", chain.orphans),
    ("recorded heads", "heads", heads.recorded),
    ("bags", "movements", bags.movements),
    ("open bags", "bags", bags.open_at_benches),
    ("carriers", "bags", places.carriers),
    ("lots", "lots", balance.lots),
    ("verdicts", "lots", balance.verdicts),
    ("check plans", "checks", checks.plans),
    ("switching", "samples and decisions", checks.switching),
    ("rejected bags", "dispositions", checks.dispositions),
    ("materials", "uses", balance.origins),
    ("counts", "counts", evidence.counts),
    ("samples", "samples", evidence.samples),
    ("signatures", "signatures", evidence.signatures),
    ("runs", "runs", runs.verdicts),
    ("stays", "stays", runs.stays),
    ("clearing", "bags and lines", runs.clearing),
    ("box stages", "events", stages.boxes),
    ("box contents", "lines", boxes.contents),
    ("box recipes", "boxes", boxes.complete),
    ("box numbers", "boxes", boxes.numbered),
    ("box identities", "boxes", boxes.identity),
    ("box places", "puts", places.boxes),
    ("prints", "prints", prints.copies),
    ("print jobs", "jobs", prints.jobs),
    ("shipment stages", "events", stages.shipments),
    ("shipment scans", "scans", shipments.scans),
    ("shipment boxes", "boxes", shipments.boxes),
    ("shipment counters", "shipments", shipments.counters),
)
"""Name, what it counts, and the check, in the order in which they run."""


@dataclass(frozen=True)
class Proof:
    """What one examination of the whole database found."""

    tallies: tuple[Tally, ...]
    heads: tuple[heads.Head, ...]
    """The newest link of each site in the snapshot that was read."""

    @property
    def faults(self) -> list[Fault]:
        """Every fault kept, in the order of the checks."""
        return [fault for tally in self.tallies for fault in tally.faults]


def examine() -> Proof:
    """Run every check on one snapshot of the database.

    Returns:
        One tally for each check, in the order of ``CHECKS``, and the heads.
    """
    tallies = []
    with locking.snapshot():
        for name, of, check in CHECKS:
            tally = Tally(name, of)
            check(tally)
            tallies.append(tally)
        return Proof(tuple(tallies), tuple(heads.current()))


def prove() -> list[Fault]:
    """Recompute every invariant and give what is wrong.

    Returns:
        The faults; empty if the database holds. At most ``faults.MOST_FAULTS`` for
        each check.
    """
    return examine().faults
