"""Pages of evidence records and of the largest dose of a part."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from kitting.models import Evidence, Part, User
from tests import factories
from tests.assertions import assert_problem, text_of

pytestmark = pytest.mark.django_db

ClientFor = Callable[[User], Client]
# The pages read the real clock.
TODAY = timezone.now().date()


@pytest.fixture
def officer(client_for: ClientFor) -> Client:
    return client_for(factories.make_person("quality officer"))


@pytest.fixture
def part() -> Part:
    return factories.make_part()


def keyed(**values: Any) -> dict[str, Any]:
    return {"op_key": str(uuid.uuid4()), **values}


def report_values(**changes: Any) -> dict[str, Any]:
    values = {
        "code": "EV-2",
        "laboratory": "Eskmoor laboratory",
        "surface": "Printed band",
        "measured": "Log reduction",
        "result": "See report",
        "document": "Report 18",
        "on": TODAY.isoformat(),
    }
    return keyed(**{**values, **changes})


@pytest.mark.smoke
def test_a_report_is_recorded_once(officer: Client) -> None:
    values = report_values()
    for _ in range(2):
        response = officer.post(reverse("kitting:evidence-new"), values)
        assert response.headers["Location"] == reverse("kitting:evidence")
    assert Evidence.objects.get().surface == "Printed band"
    assert "Printed band" in text_of(officer.get(reverse("kitting:evidence")))
    other = officer.post(reverse("kitting:evidence-new"), report_values())
    assert_problem(other, "evidence_exists", status=409)


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"on": (TODAY + timedelta(days=2)).isoformat()}, "evidence_in_future"),
        ({"code": "EV 2"}, "evidence_code_malformed"),
        ({"surface": ""}, "required"),
        ({"result": "x" * 201}, "max_length"),
    ],
)
def test_a_report_that_says_too_little_is_refused(
    changes: dict[str, str], code: str, officer: Client
) -> None:
    response = officer.post(reverse("kitting:evidence-new"), report_values(**changes))
    assert_problem(response, code)
    assert Evidence.objects.count() == 0


@pytest.mark.smoke
def test_the_largest_dose_of_a_part_is_kept(part: Part, officer: Client) -> None:
    address = reverse("kitting:part-dose", args=[part.code])
    assert officer.post(address, keyed(dose="1234.5")).status_code == 302
    part.refresh_from_db()
    assert part.max_dose_uj_cm2 == 1_234_500
    assert officer.get(address).context["form"].initial["dose"] == "1234.5"
    assert_problem(officer.post(address, keyed(dose="0")), "dose_out_of_range")
    assert officer.post(address, keyed(dose="")).status_code == 302
    part.refresh_from_db()
    assert part.max_dose_uj_cm2 is None
