"""Taking in the lots of a file: all of them, or none and every reason why not."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from kitting.domain import intakefile
from kitting.domain.cells import DateOrder
from kitting.domain.delimited import Problem
from kitting.domain.errors import Refused
from kitting.ledger import bulk, clock
from kitting.ledger.clock import day_of
from kitting.ledger.locking import snapshot
from kitting.ledger.operations import Sign, fingerprint, perform
from kitting.lots.services.lots import NewLot, TakenIn, taking_in
from kitting.lots.steps.files import Entry, look_up, lots_of
from kitting.models import Operation, Workshop

ACT = "take_in_file"


@dataclass(frozen=True)
class Plan:
    """What a file would bring, or what is wrong with it."""

    lots: tuple[NewLot, ...]
    entries: tuple[Entry, ...]
    """The same lots, for showing."""
    problems: tuple[Problem, ...]
    """Every fault in the order of lines; with any, there are no lots."""
    before: Operation | None
    """The act that took this very file in before."""

    @property
    def bags(self) -> int:
        """How many bags would come in."""
        return sum(entry.bags for entry in self.entries)

    @property
    def new(self) -> int:
        """How many of the lots are new; the others are open and get more bags."""
        return sum(entry.is_new for entry in self.entries)


def plan_file(*, data: bytes, date_order: DateOrder | None, now: datetime) -> Plan:
    """Read a file and say what it would bring; writes nothing and locks nothing.

    Args:
        data: The file's content.
        date_order: Which comes first in 01/03/2026; None refuses unclear ones.
        now: The moment, for the workshop's day.

    Returns:
        The lots, or every problem.
    """
    table = intakefile.read(data, date_order=date_order)
    with snapshot():
        found = look_up(table, day_of(Workshop.objects.get(pk=1), now))
        lots, entries = lots_of(table, found)
        before = Operation.objects.filter(
            name=ACT, mark=fingerprint(ACT, _sent(data, date_order))
        )
        earlier = before.order_by("pk").first()
    problems = sorted(
        [*table.problems, *found.problems], key=lambda problem: problem.line
    )
    return Plan(tuple(lots), tuple(entries), tuple(problems), earlier)


def take_in_file(*, data: bytes, date_order: DateOrder | None, sign: Sign) -> TakenIn:
    """Take in all lots of a file, or none.

    Args:
        data: The file's content.
        date_order: Which comes first in 01/03/2026.
        sign: Who, when and the operation key.

    Returns:
        The numbers of the lots and bags, in the order of the file.

    Raises:
        Refused: ``file_has_problems``; ``plan_file`` says which.
        OperationKeyReused: If the key was used for another act.
    """
    plan = plan_file(data=data, date_order=date_order, now=sign.now or clock.now())
    work = taking_in(plan.lots)

    def checked(act: Any) -> TakenIn:
        if plan.problems:
            raise problems_of(plan)
        return work(act)

    with bulk.burst():
        return perform(ACT, checked, TakenIn, sign, **_sent(data, date_order))


def problems_of(plan: Plan) -> Refused:
    """The refusal of a file with faults, for the form or the command.

    Args:
        plan: A plan with problems.

    Returns:
        The refusal, not yet raised.
    """
    return Refused("file_has_problems", count=len(plan.problems))


def _sent(data: bytes, date_order: DateOrder | None) -> dict[str, str]:
    return {"sha256": hashlib.sha256(data).hexdigest(), "date_order": date_order or ""}
