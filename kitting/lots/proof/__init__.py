"""What is checked of lots, bags, counts and samples."""

from __future__ import annotations

from kitting.ledger.proof import register
from kitting.lots.proof import bags, balance, samples

register(
    ("bags", "movements", bags.movements),
    ("open bags", "bags", bags.open_at_benches),
    ("lots", "lots", balance.lots),
    ("materials", "uses", balance.origins),
    ("counts", "counts", samples.counts),
    ("samples", "samples", samples.samples),
)
