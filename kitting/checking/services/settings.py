"""How parts are checked, and for which defects."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from enum import StrEnum

from kitting.checking.queries.checks import percent
from kitting.domain import sampling
from kitting.domain.errors import Conflict, Missing, Refused
from kitting.ledger import locking
from kitting.ledger.needs import need_text
from kitting.ledger.operations import Act, Sign, perform
from kitting.models import DefectKind, Part
from kitting.models.catalogue import Unit
from kitting.models.evidence import Grade


class Way(StrEnum):
    """How a part is checked when it comes in."""

    NONE = "none"
    ALL = "all"
    SAMPLE = "sample"


@dataclass(frozen=True)
class PartPlan:
    """How a part is checked from now on."""

    way: str
    level: str = "II"
    aql_major: int = 1_000
    """Thousandths of a percent; one of the levels of the tables."""
    aql_minor: int = 2_500
    """Thousandths of a percent."""


@dataclass(frozen=True)
class PlanSet:
    """A part's plan as it stands now."""

    part: str
    way: str
    level: str
    aql_major: int
    aql_minor: int


@dataclass(frozen=True)
class Kind:
    """A kind of defect, as it is to be."""

    name: str
    grade: str = Grade.MAJOR
    part_id: int | None = None
    """The part it is looked for in; None for all parts."""
    in_use: bool = True


@dataclass(frozen=True)
class KindSet:
    """A kind of defect as it stands now."""

    code: str
    name: str
    grade: str
    in_use: bool


LONGEST = {"code": 12, "name": 40}
"""Characters of the texts of a kind of defect."""


def set_check_plan(*, part_id: int, to: PartPlan, sign: Sign) -> PlanSet:
    """Say how a part is checked; lots that have their verdict keep it.

    Args:
        part_id: The part.
        to: The way, and level and AQLs of a sample.
        sign: Who, when and the operation key.

    Returns:
        The plan as it stands now.

    Raises:
        Missing: If there is no such part.
        Refused: ``check_way_unknown``; ``part_has_lots`` if a check would begin or end
            while lots are on record, which came in under the other rule;
            ``sampling_counts_pieces`` for a part in grams or mm; ``level_unknown``,
            ``aql_unknown``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> PlanSet:
        if to.way not in set(Way):
            raise Refused("check_way_unknown", read=to.way)
        part = locking.lock_row(Part, part_id)
        needed = to.way != Way.NONE
        if needed != part.needs_check and part.lots.exists():
            raise Refused("part_has_lots", part=part.name)
        if to.way == Way.SAMPLE:
            _need_tables(part, to)
            part.check_level = to.level
            part.aql_major, part.aql_minor = to.aql_major, to.aql_minor
        part.needs_check, part.sampled = needed, to.way == Way.SAMPLE
        part.save(
            update_fields=[
                "needs_check",
                "sampled",
                "check_level",
                "aql_major",
                "aql_minor",
            ]
        )
        return PlanSet(
            part.code, to.way, part.check_level, part.aql_major, part.aql_minor
        )

    return perform("set_check_plan", work, PlanSet, sign, part=part_id, **asdict(to))


def _need_tables(part: Part, to: PartPlan) -> None:
    """Ask the tables for a plan, so that none is set that they do not know."""
    if part.unit != Unit.PIECE:
        raise Refused("sampling_counts_pieces", part=part.name)
    aqls = {"major": percent(to.aql_major), "minor": percent(to.aql_minor)}
    sampling.plans_for(2, to.level, aqls)  # type: ignore[arg-type]


def add_kind(*, code: str, to: Kind, sign: Sign) -> KindSet:
    """Put a kind of defect on the list.

    Args:
        code: Its short name, at most 12 characters.
        to: What it is.
        sign: Who, when and the operation key.

    Returns:
        The kind.

    Raises:
        Conflict: ``defect_kind_exists``.
        Missing: If there is no such part.
        Refused: ``code_missing``, ``defect_name_missing``, ``entry_too_long``,
            ``class_unknown``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> KindSet:
        short = code.strip().upper()
        _check_kind(short, to)
        if DefectKind.objects.filter(code=short).exists():
            raise Conflict("defect_kind_exists", kind=short)
        if to.part_id is not None and not Part.objects.filter(pk=to.part_id).exists():
            raise Missing("row_missing", what="part")
        kind = DefectKind.objects.create(
            code=short,
            name=to.name.strip(),
            grade=to.grade,
            part_id=to.part_id,
            in_use=to.in_use,
        )
        return _kept(kind)

    return perform("add_kind", work, KindSet, sign, code=code, **asdict(to))


def change_kind(*, kind_id: int, to: Kind, sign: Sign) -> KindSet:
    """Change a kind of defect, or take it off the list and put it back.

    Args:
        kind_id: The kind.
        to: What it is to be.
        sign: Who, when and the operation key.

    Returns:
        The kind as it stands now.

    Raises:
        Missing: If there is no such kind.
        Refused: ``defect_kind_found`` if its class or part would change although it
            was found already; ``defect_name_missing``, ``entry_too_long``, ``class_unknown``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> KindSet:
        kind = locking.lock_row(DefectKind, kind_id)
        _check_kind(kind.code, to)
        other = (kind.grade, kind.part_id) != (to.grade, to.part_id)
        if other and kind.defects.exists():
            raise Refused("defect_kind_found", kind=kind.name)
        kind.name, kind.grade = to.name.strip(), to.grade
        kind.part_id, kind.in_use = to.part_id, to.in_use
        kind.save(update_fields=["name", "grade", "part", "in_use"])
        return _kept(kind)

    return perform("change_kind", work, KindSet, sign, kind=kind_id, **asdict(to))


def _check_kind(code: str, to: Kind) -> None:
    need_text("code", code, LONGEST["code"], missing="code_missing")
    need_text("name", to.name, LONGEST["name"], missing="defect_name_missing")
    if to.grade not in set(Grade):
        known = ", ".join(Grade)
        raise Refused("class_unknown", read=to.grade, known=known)


def _kept(kind: DefectKind) -> KindSet:
    return KindSet(kind.code, kind.name, str(kind.grade), kind.in_use)
