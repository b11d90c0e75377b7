"""Evidence records, and the largest dose that a part may take."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from kitting.disinfection.services import evidence
from kitting.domain.entries import Report
from kitting.domain.errors import LotwardError
from kitting.models import Evidence, Link, Revision
from tests import factories
from tests.assertions import assert_refused
from tests.factories import TODAY, sign

pytestmark = pytest.mark.django_db

REPORT = Report(
    code="EV-1",
    laboratory="Eskmoor laboratory",
    surface="PETG film",
    measured="Log reduction of a test organism",
    result="See report",
    document="Report 17, page 3",
    on=TODAY,
)


@pytest.fixture
def revision() -> Revision:
    return factories.make_revision()


def record(code: str = "EV-1", **changes: Any) -> evidence.Recorded:
    report = replace(REPORT, code=code, **changes)
    return evidence.record_evidence(report=report, sign=sign())


def refusal(call: Any, **values: Any) -> LotwardError:
    """Do an act, expect its refusal, and assert that nothing of it stayed."""
    before = Link.objects.count()
    with pytest.raises(LotwardError) as caught:
        call(**values, sign=sign())
    assert Link.objects.count() == before
    return caught.value


def test_an_evidence_record_says_it_all() -> None:
    record(container="open tray")
    row = Evidence.objects.get()
    assert (row.code, row.laboratory, row.surface) == (
        "EV-1",
        "Eskmoor laboratory",
        "PETG film",
    )
    assert (row.container, row.document, row.on) == (
        "open tray",
        "Report 17, page 3",
        TODAY,
    )
    assert factories.prove() == []


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"on": TODAY + timedelta(days=1)}, "evidence_in_future"),
        ({"laboratory": ""}, "entry_missing"),
        ({"surface": " "}, "entry_missing"),
        ({"document": ""}, "entry_missing"),
        ({"result": "x" * 201}, "entry_too_long"),
        ({"container": "x" * 61}, "entry_too_long"),
    ],
)
def test_evidence_that_says_too_little_is_refused(
    changes: dict[str, Any], code: str
) -> None:
    error = refusal(evidence.record_evidence, report=replace(REPORT, **changes))
    assert_refused(error, code)
    assert Evidence.objects.count() == 0


@pytest.mark.parametrize("code", ["EV 1", "EV\n1", "É1"])
def test_the_code_of_evidence_keeps_to_its_letters(code: str) -> None:
    error = refusal(evidence.record_evidence, report=replace(REPORT, code=code))
    assert_refused(error, "evidence_code_malformed")


def test_a_code_of_evidence_is_taken_once() -> None:
    record()
    error = refusal(evidence.record_evidence, report=REPORT)
    assert_refused(error, "evidence_exists", evidence="EV-1")


@pytest.mark.parametrize("dose", [None, 1, 5_000_000])
def test_a_part_may_have_a_largest_dose(dose: int | None, revision: Revision) -> None:
    part = revision.part
    evidence.limit_dose(part_id=part.pk, max_dose_uj_cm2=dose, sign=sign())
    part.refresh_from_db()
    assert part.max_dose_uj_cm2 == dose


@pytest.mark.parametrize("dose", [0, -1, 10**12])
def test_a_largest_dose_is_above_nothing(dose: int, revision: Revision) -> None:
    part = revision.part
    error = refusal(evidence.limit_dose, part_id=part.pk, max_dose_uj_cm2=dose)
    assert_refused(error, "dose_out_of_range")
