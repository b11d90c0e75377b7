"""What a proof finds: faults, and how much was looked at."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TypeAlias

from kitting.ledger.proof.streams import Asked, Composed, rows

MOST_FAULTS = 500
"""Faults kept for one check; further ones are counted only, so that memory is bounded."""


@dataclass(frozen=True)
class Fault:
    """One row that is not what the rest of the database says it must be."""

    check: str
    """Name of the check that found it."""
    table: str
    pk: int | None
    """Id of the row; None where a whole table or file is at fault."""
    words: str
    expected: str
    found: str

    def __str__(self) -> str:
        row = self.table if self.pk is None else f"{self.table} {self.pk}"
        return f"{row}: {self.words} Expected {self.expected}, found {self.found}."


@dataclass
class Tally:
    """One check at work: what it has counted and found so far."""

    check: str
    of: str
    """What is counted, in the plural."""
    count: int = 0
    faults: list[Fault] = field(default_factory=list)
    more: int = 0
    """Faults beyond ``MOST_FAULTS``."""
    note: str = ""
    """What could not be looked at, a sentence."""

    def add(
        self, table: str, pk: int | None, words: str, expected: object, found: object
    ) -> None:
        """Note a fault.

        Args:
            table: Name of the table.
            pk: Id of the row.
            words: What is wrong, a sentence.
            expected: What the rest of the database says.
            found: What is there.
        """
        if len(self.faults) >= MOST_FAULTS:
            self.more += 1
            return
        self.faults.append(
            Fault(self.check, table, pk, words, str(expected), str(found))
        )

    def same(
        self, table: str, pk: int | None, words: str, expected: object, found: object
    ) -> None:
        """Note a fault unless the two are equal; see ``add``."""
        if expected != found:
            self.add(table, pk, words, expected, found)

    def each(
        self,
        table: str,
        wrong: Asked,
        words: str,
        expected: str = "its own",
        found: str = "another",
    ) -> None:
        """Note a fault of each row that should not be there; see ``add``.

        Args:
            table: Name of the table.
            wrong: The rows; where their statement is composed, their ids in order.
            words: What is wrong, a sentence.
            expected: What the rest of the database says.
            found: What is there.
        """
        if not isinstance(wrong, Composed):
            wrong = wrong.order_by("pk").values_list("pk")
        for (pk,) in rows(wrong):
            self.add(table, pk, words, expected, found)


Check: TypeAlias = Callable[[Tally], None]
