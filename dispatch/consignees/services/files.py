"""A file of consignees: what it would bring, and its taking in."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from copy import copy
from dataclasses import dataclass, replace
from typing import Any

from dispatch.consignees.queries import open_numbers
from dispatch.consignees.services.consignees import WhereTo, fill_in
from dispatch.consignees.steps import lock_with_merged, part
from dispatch.domain import consigneefile
from dispatch.models import Consignee
from kitting.domain.delimited import Problem
from kitting.domain.errors import Conflict, Doubted, LotwardError, Refused
from kitting.ledger.coded import mark_of, need_free_code
from kitting.ledger.locking import snapshot
from kitting.ledger.needs import LONGEST_REASON, need_length
from kitting.ledger.operations import Act, Sign, fingerprint, perform
from kitting.models import Operation

FILE_ACT = "take_in_consignees"


@dataclass(frozen=True)
class Entry:
    """One row of a file of consignees, as it would be taken in."""

    line: int
    row: Consignee
    """As it would be."""
    changed: tuple[str, ...]
    """The fields of one on record that change."""
    is_new: bool

    @property
    def writes(self) -> bool:
        """Whether anything is written for it."""
        return self.is_new or bool(self.changed)


@dataclass(frozen=True)
class Plan:
    """What a file of consignees would bring, or what is wrong with it."""

    rows: tuple[Entry, ...]
    problems: tuple[Problem, ...]
    questions: tuple[Problem, ...]
    before: Operation | None
    """The act that took this very file in before."""
    mark: str
    """Of those on record that it names, as they are now."""


@dataclass(frozen=True)
class TakenConsignees:
    """The consignees that a file brought."""

    new: list[str]
    changed: list[str]
    sure: str = ""
    """Why some are closed although something is open for them."""


def plan_consignees(*, data: bytes) -> Plan:
    """Read a file of consignees and say what it would bring; writes nothing.

    Args:
        data: The file's content.

    Returns:
        Its rows, or every problem.
    """
    table = consigneefile.read(data)
    mark = fingerprint(FILE_ACT, _sent(data))
    with snapshot():
        codes = [row.code for row in table.rows]
        known = {row.code: row for row in Consignee.objects.filter(code__in=codes)}
        planned = _planned(table, known)
        before = Operation.objects.filter(name=FILE_ACT, mark=mark).order_by("pk")
        return replace(planned, before=before.first())


def take_in_consignees(
    *,
    data: bytes,
    sign: Sign,
    sure: str = "",
    date_order: object = None,
    seen: str = "",
) -> TakenConsignees:
    """Add and change all consignees of a file, or none.

    Args:
        data: The file's content.
        sign: Who, when and the operation key.
        sure: Why some are closed although something is open for them; empty to be
            asked.
        date_order: Means nothing; such a file has no days.
        seen: The mark of the plan that was looked at; empty to change them whatever
            they are by now.

    Returns:
        The codes of those that are new, and of those that changed.

    Raises:
        Conflict: ``page_is_old`` if somebody changed one of them meanwhile.
        Doubted: ``file_has_questions``; ``plan_consignees`` says which.
        NotFit: ``label_word_missing`` if packing lists have no words in a language.
        Refused: ``file_has_problems``, as above; ``entry_too_long``.
        OperationKeyReused: If the key was used for another act.
    """
    table = consigneefile.read(data)

    def work(act: Act) -> TakenConsignees:
        codes = [row.code for row in table.rows]
        family = lock_with_merged(act, Consignee.objects.filter(code__in=codes))
        known = {row.code: row for row in family.values() if row.code in codes}
        plan = _planned(table, known)
        if seen and seen != plan.mark:
            raise Conflict("page_is_old")
        if plan.problems:
            raise Refused("file_has_problems", count=len(plan.problems))
        why = need_length("reason", sure, LONGEST_REASON) if plan.questions else ""
        if plan.questions and not why:
            raise Doubted("file_has_questions", count=len(plan.questions))
        for each in plan.rows:
            if each.row.active and each.row.code in known:
                part(known[each.row.code], family)
        for each in plan.rows:
            if each.row.merged_into_id is not None:
                each.row.merged_into = known[each.row.code].merged_into
            if each.writes:
                each.row.save(force_insert=each.is_new)
        return TakenConsignees(
            new=[each.row.code for each in plan.rows if each.is_new],
            changed=[each.row.code for each in plan.rows if each.changed],
            sure=why,
        )

    return perform(FILE_ACT, work, TakenConsignees, sign, **_sent(data))


def _sent(data: bytes) -> dict[str, str]:
    return {"sha256": hashlib.sha256(data).hexdigest()}


def _planned(table: consigneefile.Table, known: Mapping[str, Consignee]) -> Plan:
    entries: list[Entry] = []
    problems, questions = list(table.problems), list[Problem]()
    glns: dict[str | None, str] = {}
    for row in table.rows:
        was = known.get(row.code)
        try:
            entry = _entry(row, was)
            other = glns.setdefault(entry.row.gln, row.code)
            if entry.row.gln and other != row.code:
                raise Conflict("gln_taken", read=entry.row.gln, name=other)
        except LotwardError as error:
            column = str(error.params.get("what", "")).replace("_", " ")
            problems.append(Problem(row.line, column, "", error.code, error.params))
            continue
        entries.append(entry)
        opened = (
            open_numbers(was) if was and was.active and not entry.row.active else ()
        )
        if opened:
            which, name = ", ".join(opened), entry.row.name
            questions.append(
                Problem(
                    row.line,
                    "active",
                    "",
                    "consignee_asked",
                    {"consignee": name, "which": which},
                )
            )
    told = [replace(p, column=table.words.get(p.column, p.column)) for p in problems]
    told.sort(key=lambda problem: problem.line)
    marks = " ".join(mark_of(known[code]) for code in sorted(known))
    mark = hashlib.sha256(marks.encode()).hexdigest()
    return Plan(tuple(entries), tuple(told), tuple(questions), None, mark)


def _entry(said: consigneefile.Row, was: Consignee | None) -> Entry:
    if was is None:
        need_free_code(Consignee, said.code)
        row = Consignee(code=said.code)
        on_record: dict[str, Any] = {
            "country": "",
            "name": "",
            "street": "",
            "city": "",
        }
    else:
        row = copy(was)
        on_record = {name: getattr(was, name) or "" for name in consigneefile.FIELDS}
        on_record["active"] = was.active
        said = replace(said, said=consigneefile.as_on_record(said.said, on_record))
        if all(on_record[name] == value for name, value in said.said.items()):
            return Entry(said.line, row, (), is_new=False)
    fill_in(row, WhereTo(**{**on_record, **said.said}))
    changed = [
        name
        for name in consigneefile.FIELDS
        if was is not None and getattr(row, name) != getattr(was, name)
    ]
    return Entry(said.line, row, tuple(changed), is_new=was is None)
