"""What is checked of protocols and runs."""

from __future__ import annotations

from kitting.disinfection.proof import runs, signatures
from kitting.ledger.proof import register

register(
    ("signatures", "signatures", signatures.signatures),
    ("runs", "runs", runs.verdicts),
    ("stays", "stays", runs.stays),
    ("clearing", "bags and lines", runs.clearing),
)
