"""Evidence records, and the largest dose that a part may take in its life."""

from __future__ import annotations

import re
from dataclasses import asdict, dataclass
from typing import Final

from django.db import IntegrityError, transaction

from kitting.disinfection.steps.protocols import MOST_UJ_CM2
from kitting.domain.entries import Report
from kitting.domain.errors import CodeError, Conflict, Refused
from kitting.domain.shown import shown
from kitting.ledger import locking
from kitting.ledger.clock import day_of
from kitting.ledger.needs import need_length, need_text
from kitting.ledger.operations import Act, Sign, perform
from kitting.models import Evidence, Part

LONGEST: Final = {
    "code": 20,
    "laboratory": 80,
    "surface": 80,
    "measured": 120,
    "result": 200,
    "document": 120,
}
"""Characters of a record's texts; the container may stay empty."""
LONGEST_CONTAINER: Final = 60


@dataclass(frozen=True)
class Recorded:
    """An evidence record; it never changes."""

    evidence_id: int
    code: str


@dataclass(frozen=True)
class Limited:
    """The largest cumulative dose that a part may take."""

    part: str
    max_dose_uj_cm2: int | None


def record_evidence(*, report: Report, sign: Sign) -> Recorded:
    """Record a report that protocols may stand on.

    Args:
        report: What it says.
        sign: Who, when and the operation key.

    Returns:
        The record.

    Raises:
        CodeError: ``evidence_code_malformed``.
        Conflict: ``evidence_exists``.
        Refused: ``entry_missing``, ``entry_too_long``, ``evidence_in_future``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Recorded:
        texts = {
            name: need_text(name, getattr(report, name), most)
            for name, most in LONGEST.items()
        }
        if not re.fullmatch(r"[A-Za-z0-9./-]+", texts["code"], re.ASCII):
            raise CodeError("evidence_code_malformed", read=shown(report.code))
        container = report.container.strip()
        need_length("container", container, LONGEST_CONTAINER)
        today = day_of(act.workshop, act.now)
        if report.on > today:
            raise Refused("evidence_in_future", on=report.on, today=today)
        row = Evidence(**texts, container=container, on=report.on)
        try:
            with transaction.atomic():  # a savepoint: the code may be taken
                act.write(row)
        except IntegrityError as error:
            raise Conflict("evidence_exists", evidence=row.code) from error
        return Recorded(row.pk, row.code)

    return perform("record_evidence", work, Recorded, sign, **asdict(report))


def limit_dose(*, part_id: int, max_dose_uj_cm2: int | None, sign: Sign) -> Limited:
    """Set the largest cumulative dose that a part may take before it suffers.

    Args:
        part_id: The part.
        max_dose_uj_cm2: In µJ/cm², above 0; None where no limit is known.
        sign: Who, when and the operation key.

    Returns:
        The part and its limit.

    Raises:
        Missing: If there is no such part.
        Refused: ``dose_out_of_range``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Limited:
        dose = max_dose_uj_cm2
        if dose is not None and not 1 <= dose <= MOST_UJ_CM2:
            raise Refused(
                "dose_out_of_range", read=f"{dose} µJ/cm²", most=MOST_UJ_CM2 // 1000
            )
        part = locking.lock_row(Part, part_id)
        part.max_dose_uj_cm2 = dose
        part.save(update_fields=["max_dose_uj_cm2"])
        return Limited(part.code, dose)

    return perform(
        "limit_dose", work, Limited, sign, part=part_id, max_dose_uj_cm2=max_dose_uj_cm2
    )
