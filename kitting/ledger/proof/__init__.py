"""Proof: everything that the database keeps twice is recomputed and compared.

Nothing here writes to the database. One snapshot is read, so that people may go on
working; long tables are read in batches side by side, never whole. What a room keeps is
checked by its own ``proof``, which registers its checks.
"""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from typing import Final

from django.db.models import Model

from kitting.ledger import gaps, locking
from kitting.ledger.proof import beside, chain, heads, schema, seals
from kitting.ledger.proof.faults import Check, Fault, Tally
from kitting.ledger.proof.streams import filled
from kitting.models import SkippedNumbers

__all__ = ["CHECKS", "Fault", "Proof", "Tally", "examine", "prove", "register"]

CHECKS: Final[list[tuple[str, str, Check]]] = [
    ("schema", "parts", schema.stands),
    ("chain", "links", chain.links),
    ("operations", "operations", chain.operations),
    ("guarded rows", "rows", chain.orphans),
    ("keyed links", "links", chain.keyed),
    ("recorded heads", "heads", heads.recorded),
    ("file of heads", "files", heads.on_file),
    ("heads on paper", "heads", heads.expected),
    ("seals", "rows", seals.hold),
    ("numbers passed over", "gaps", gaps.stay_skipped),
]
"""Name, what it counts, and the check, in the order in which they run: those of the
record itself, then those of the rooms, in the order of the rooms."""


TABLES: Final[dict[str, tuple[type[Model], ...]]] = {
    "numbers passed over": (SkippedNumbers,),
}
"""By name of a check, the tables that it goes through: it finds nothing, and counts
nothing, while none of them has a row. One that is not named here always has to look."""


BESIDE: Final = ("chain", "operations")
"""What takes as long as all else, and asks for nothing but the database."""


def register(*checks: tuple[str, str, Check, *tuple[type[Model], ...]]) -> None:
    """Add what a room checks; once, when it is loaded.

    Args:
        *checks: As in ``CHECKS``, each with its ``TABLES``.
    """
    for name, of, check, *tables in checks:
        CHECKS.append((name, of, check))
        if tables:
            TABLES[name] = (*tables,)


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


def examine(
    on_record: Sequence[str] | None = None, on_paper: Sequence[heads.Head] = ()
) -> Proof:
    """Run every check on one snapshot of the database.

    Args:
        on_paper: Heads that somebody has on paper.
        on_record: Lines of recorded heads that must be in it; those that are on record
            as it begins, where nothing is given.

    Returns:
        One tally for each check, in the order of ``CHECKS``, and the heads; the schema
        alone where a table or column is missing, which the other checks would read.
    """
    # What another proof records meanwhile is newer than the snapshot.
    known = heads.looked_up(on_record), heads.expecting(on_paper)
    own = beside.sees_the_same()
    with known[0], known[1], locking.snapshot():
        first, *others = CHECKS
        tallies = {first[0]: _tally(*first)}
        if any(tally.note for tally in tallies.values()):
            return Proof(tuple(tallies.values()), ())
        elsewhere = BESIDE if own and beside.worth_it() else ()
        with ExitStack() as stack:
            if elsewhere:
                later = stack.enter_context(beside.another_process(_chosen, elsewhere))
            here = [name for name, _of, _check in others if name not in elsewhere]
            tallies |= {tally.check: tally for tally in _chosen(here)}
            if elsewhere:
                tallies |= {tally.check: tally for tally in later.result()}
        ordered = tuple(tallies[name] for name, _of, _check in CHECKS)
        return Proof(ordered, tuple(heads.current()))


def _chosen(names: Sequence[str]) -> list[Tally]:
    there = {*filled([*{model for tables in TABLES.values() for model in tables}])}
    empty = {name for name, tables in TABLES.items() if there.isdisjoint(tables)}
    return [
        _tally(name, of, _nothing if name in empty else check)
        for name, of, check in CHECKS
        if name in names
    ]


def _nothing(_tally: Tally) -> None:
    """Stands for a check none of whose tables has a row."""


def _tally(name: str, of: str, check: Check) -> Tally:
    tally = Tally(name, of)
    check(tally)
    return tally


def prove() -> list[Fault]:
    """Recompute every invariant and give what is wrong.

    Returns:
        The faults; empty if the database holds. At most ``faults.MOST_FAULTS`` for
        each check.
    """
    return examine().faults
