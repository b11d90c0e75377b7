"""Consignees: one is added, or is called or found otherwise from now on."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from copy import copy
from dataclasses import asdict, dataclass, replace
from typing import Any

from dispatch.consignees.queries import (
    LONGEST,
    NAME_LONGEST,
    POINT_LONGEST,
    open_numbers,
)
from dispatch.consignees.steps import need_open
from dispatch.domain import consigneefile
from dispatch.models import Consignee
from kitting.domain.delimited import Problem
from kitting.domain.errors import (
    CodeError,
    Conflict,
    Doubted,
    LotwardError,
    Refused,
)
from kitting.domain.gs1 import gln_ok
from kitting.labels.postal import country_name
from kitting.ledger import locking
from kitting.ledger.coded import need_free_code, need_name, row_to_change, row_to_keep
from kitting.ledger.locking import snapshot
from kitting.ledger.needs import LONGEST_REASON, need_length, need_reason, need_row
from kitting.ledger.operations import Act, Sign, fingerprint, perform
from kitting.models import Operation, Workshop

LANGUAGE_LONGEST = 8


@dataclass(frozen=True)
class WhereTo:
    """A consignee as it is to be."""

    name: str
    country: str
    """Its two letters in ISO 3166-1, in capitals."""
    street: str
    """Its lines, such as the entrance and the street."""
    city: str
    postcode: str = ""
    region: str = ""
    contact: str = ""
    """Whom to ask there by day."""
    night_contact: str = ""
    opening: str = ""
    """When it takes deliveries."""
    gln: str = ""
    points: str = ""
    """Its delivery points and wards, a line for each."""
    language: str = "en"
    """That of its packing lists."""
    active: bool = True
    """Whether something can be asked for and sent there."""


@dataclass(frozen=True)
class KeptConsignee:
    """A consignee that is on record."""

    code: str
    name: str
    sure: str = ""
    """Why it is closed although something is open for it."""


def add_consignee(*, code: str, to: WhereTo, sign: Sign) -> KeptConsignee:
    """Add a consignee.

    Args:
        code: Its code; it stays.
        to: Its name and address.
        sign: Who, when and the operation key.

    Returns:
        Its code and name.

    Raises:
        CodeError: ``country_unknown``, ``gln_wrong``.
        Conflict: ``code_taken``, in capitals or not; ``gln_taken``.
        NotFit: ``label_word_missing`` if packing lists have no words in the language.
        Refused: ``code_malformed``, ``set_up_name_missing``, ``entry_missing``,
            ``entry_too_long``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> KeptConsignee:
        row = row_to_keep(act, Consignee, code)
        _fill(row, to)
        row.save(force_insert=True)
        return KeptConsignee(row.code, row.name)

    return perform("add_consignee", work, KeptConsignee, sign, code=code, **asdict(to))


def change_consignee(
    *, code: str, to: WhereTo, sign: Sign, seen: str = "", sure: str = ""
) -> KeptConsignee:
    """Give a consignee another name or address.

    What is printed from now on says the new one, on a shipment that is not sent yet as
    well.

    Args:
        code: The consignee.
        to: Its name and address from now on.
        sign: Who, when and the operation key.
        seen: ``mark_of`` the consignee that was looked at before; empty to change it
            whatever it is by now.
        sure: Why it is closed although requests or shipments are open for it; empty to
            be asked.

    Returns:
        Its code and name.

    Raises:
        CodeError: ``country_unknown``, ``gln_wrong``.
        Doubted: ``consignee_asked``, which names what is open.
        Conflict: ``page_is_old`` if somebody changed it meanwhile; ``gln_taken``.
        Missing: If there is no such consignee.
        NotFit: ``label_word_missing`` if packing lists have no words in the language.
        Refused: ``set_up_name_missing``, ``entry_missing``, ``entry_too_long``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> KeptConsignee:
        row = row_to_change(act, Consignee.objects.filter(code=code), seen)
        why = _why_closed(row, sure) if row.active and not to.active else ""
        _fill(row, to)
        row.save()
        return KeptConsignee(row.code, row.name, why)

    return perform(
        "change_consignee",
        work,
        KeptConsignee,
        sign,
        code=code,
        seen=seen,
        sure=sure,
        **asdict(to),
    )


def _why_closed(row: Consignee, sure: str) -> str:
    """Why a consignee is closed for which something is open; empty where nothing is."""
    opened = open_numbers(row)
    if not opened:
        return ""
    why = need_length("reason", sure, LONGEST_REASON)
    if not why:
        which = ", ".join(opened)
        raise Doubted("consignee_asked", consignee=row.name, which=which)
    return why


@dataclass(frozen=True)
class MergedConsignee:
    """A consignee that was another one under a second code."""

    code: str
    name: str
    into: str
    """The code that stays."""
    reason: str


def merge_consignees(
    *, code: str, into_id: int, reason: str, sign: Sign
) -> MergedConsignee:
    """Say that two consignees are one; the first is closed and leads to the other.

    What went to it stays under its own code and is shown with the other. Opening it
    again on its page undoes this.

    Args:
        code: The consignee that is closed; nothing is open for it.
        into_id: The one that stays; open.
        reason: How it is known that they are one.
        sign: Who, when and the operation key.

    Returns:
        Both codes.

    Raises:
        Conflict: ``consignee_merged`` if it was merged already.
        Missing: If there is no such consignee.
        Refused: ``reason_missing``, ``merged_with_itself``, ``consignee_closed`` of the
            one that stays, ``merged_while_asked``, which names what is open.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> MergedConsignee:
        why = need_reason(reason)
        locking.lock_row(Workshop, act.workshop.pk)
        gone = need_row(Consignee.objects.filter(code=code))
        # Those that lead to it lead to the other from now on, so that none leads in turns.
        ids = {gone.pk, into_id, *gone.merged.values_list("pk", flat=True)}
        rows = locking.lock_rows(Consignee, ids)
        if gone.pk == into_id:
            raise Refused("merged_with_itself", consignee=gone.name)
        row, stays = rows.pop(gone.pk), rows.pop(into_id)
        _refuse_unmergeable(row, stays)
        row.active = False
        for each in (row, *rows.values()):
            each.merged_into = stays
            each.save()
        return MergedConsignee(row.code, row.name, stays.code, why)

    return perform(
        "merge_consignees",
        work,
        MergedConsignee,
        sign,
        code=code,
        into=into_id,
        reason=reason,
    )


def _refuse_unmergeable(row: Consignee, stays: Consignee) -> None:
    if row.merged_into_id is not None:
        raise Conflict("consignee_merged", consignee=row.name)
    need_open(stays)
    opened = ", ".join(open_numbers(row))
    if opened:
        raise Refused("merged_while_asked", consignee=row.name, which=opened)


def _tidy(text: str) -> list[str]:
    return [line.strip() for line in text.splitlines() if line.strip()]


def _each_point_once(text: str) -> list[str]:
    bare = [" ".join(line.split()) for line in _tidy(text)]
    points = [need_length("point", one, POINT_LONGEST) for one in bare]
    return [*{one.casefold(): one for one in reversed(points)}.values()][::-1]


def _need_gln(row: Consignee, text: str) -> str | None:
    gln = "".join(text.split())
    if not gln:
        return None
    if not gln_ok(gln):
        raise CodeError("gln_wrong", read=gln)
    other = Consignee.objects.filter(gln=gln).exclude(pk=row.pk).first()
    if other is not None:
        raise Conflict("gln_taken", read=gln, name=other.name)
    return gln


def _fill(row: Consignee, to: WhereTo) -> None:
    row.name = need_name(to.name, NAME_LONGEST)
    country_name(to.country)
    row.country = to.country
    row.language = need_length("language", to.language, LANGUAGE_LONGEST)
    row.active, row.gln = to.active, _need_gln(row, to.gln)
    if row.active:
        row.merged_into = None
    for name, most in LONGEST.items():
        setattr(row, name, need_length(name, getattr(to, name), most))
    row.street = "\n".join(_tidy(row.street))
    row.points = "\n".join(_each_point_once(row.points))
    for name in ("street", "city"):
        if not getattr(row, name):
            raise Refused("entry_missing", what=name)


# -- A file of them ----------------------------------------------------------------------

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
    *, data: bytes, sign: Sign, sure: str = "", date_order: object = None
) -> TakenConsignees:
    """Add and change all consignees of a file, or none.

    Args:
        data: The file's content.
        sign: Who, when and the operation key.
        sure: Why some are closed although something is open for them; empty to be
            asked.
        date_order: Means nothing; such a file has no days.

    Returns:
        The codes of those that are new, and of those that changed.

    Raises:
        Doubted: ``file_has_questions``; ``plan_consignees`` says which.
        NotFit: ``label_word_missing`` if packing lists have no words in a language.
        Refused: ``file_has_problems``, as above; ``entry_too_long``.
        OperationKeyReused: If the key was used for another act.
    """
    table = consigneefile.read(data)

    def work(act: Act) -> TakenConsignees:
        locking.lock_row(Workshop, act.workshop.pk)
        codes = [row.code for row in table.rows]
        ids = Consignee.objects.filter(code__in=codes).values_list("pk", flat=True)
        locked = locking.lock_rows(Consignee, ids).values()
        plan = _planned(table, {row.code: row for row in locked})
        if plan.problems:
            raise Refused("file_has_problems", count=len(plan.problems))
        why = need_length("reason", sure, LONGEST_REASON) if plan.questions else ""
        if plan.questions and not why:
            raise Doubted("file_has_questions", count=len(plan.questions))
        for each in plan.rows:
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
    return Plan(tuple(entries), tuple(told), tuple(questions), None)


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
    _fill(row, WhereTo(**{**on_record, **said.said}))
    changed = [
        name
        for name in consigneefile.FIELDS
        if was is not None and getattr(row, name) != getattr(was, name)
    ]
    return Entry(said.line, row, tuple(changed), is_new=was is None)
