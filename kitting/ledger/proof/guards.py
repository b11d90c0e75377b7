"""The guards that the database has, against those that it should have."""

from __future__ import annotations

from kitting.ledger.guards import missing_guards, wanted_guards
from kitting.ledger.proof.faults import Tally


def stand(tally: Tally) -> None:
    """Every guard is in the database and says what it should.

    Args:
        tally: Where guards are counted and faults noted.
    """
    tally.count = len(wanted_guards())
    for name in missing_guards():
        tally.add(
            name,
            None,
            "The guard is missing, switched off or altered.",
            "a guard",
            "none",
        )
