"""Taking in the lots of a file: all of them, or none and every reason why not."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import chain

from kitting.domain import intakefile
from kitting.domain.cells import DateOrder
from kitting.domain.delimited import Problem
from kitting.domain.errors import Doubted, Refused
from kitting.domain.intakefile import Table
from kitting.ledger import bulk, clock
from kitting.ledger.clock import day_of
from kitting.ledger.locking import snapshot
from kitting.ledger.needs import need_reason
from kitting.ledger.operations import Act, Sign, fingerprint, perform
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
    questions: tuple[Problem, ...]
    """What can hardly be right, in the order of lines: somebody has to say why it is."""
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
        workshop = Workshop.objects.get(pk=1)
        found = look_up(table, workshop.site, day_of(workshop, now))
        lots, entries = lots_of(table, found)
        before = Operation.objects.filter(
            name=ACT, mark=fingerprint(ACT, _sent(data, date_order))
        )
        earlier = before.order_by("pk").first()
    return Plan(
        lots=tuple(lots),
        entries=tuple(entries),
        problems=_told(table, table.problems, found.problems),
        questions=_told(table, table.repeats, found.questions),
        before=earlier,
    )


def _told(table: Table, *found: Iterable[Problem]) -> tuple[Problem, ...]:
    """Put faults in the order of lines, with the file's own words for its columns."""
    told = (
        replace(each, column=table.words.get(each.column, each.column))
        for each in chain(*found)
    )
    return tuple(sorted(told, key=lambda each: each.line))


def take_in_file(
    *, data: bytes, date_order: DateOrder | None, sign: Sign, sure: str = ""
) -> TakenIn:
    """Take in all lots of a file, or none.

    Args:
        data: The file's content.
        date_order: Which comes first in 01/03/2026.
        sign: Who, when and the operation key.
        sure: Why what can hardly be right is so; empty to be asked.

    Returns:
        The numbers of the lots and bags, in the order of the file.

    Raises:
        Doubted: ``file_has_questions``; ``plan_file`` says which.
        Refused: ``file_has_problems``, as above; ``entry_too_long``.
        OperationKeyReused: If the key was used for another act.
    """
    plan = plan_file(data=data, date_order=date_order, now=sign.now or clock.now())
    said = sure.strip() if plan.questions else ""
    work = taking_in([replace(new, sure=new.sure or said) for new in plan.lots])

    def checked(act: Act) -> TakenIn:
        if plan.problems:
            raise problems_of(plan)
        if plan.questions and not said:
            raise questions_of(plan)
        done = work(act)
        if said:
            done.sure[""] = need_reason(said)
        return done

    with bulk.burst():
        return perform(ACT, checked, TakenIn, sign, **_sent(data, date_order))


def questions_of(plan: Plan) -> Doubted:
    """The question about a file, for the form or the command.

    Args:
        plan: A plan with questions.

    Returns:
        The refusal, not yet raised.
    """
    return Doubted("file_has_questions", count=len(plan.questions))


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
