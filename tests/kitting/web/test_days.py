"""What a field for a day takes: year, month and day in that order, and nothing else."""

from __future__ import annotations

from datetime import date

import pytest
from django import forms
from django.core.exceptions import ValidationError
from hypothesis import given
from hypothesis import strategies as st

from kitting.web.forms import DayField

DAY = date(2026, 3, 1)


@pytest.mark.parametrize(
    "text",
    [
        "2026-03-01",
        " 2026-03-01 ",
        "20260301",
        "2026-3-1",
        "2026/03/01",
        "2026.03.01",
        "2026 03 01",
    ],
)
def test_a_day_is_taken_as_year_month_day(text: str) -> None:
    assert DayField().clean(text) == DAY


@given(st.dates(date(2000, 1, 1), date(2999, 12, 31)))
def test_a_day_that_is_shown_is_taken_again(day: date) -> None:
    class Form(forms.Form):
        day = DayField()

    shown = str(Form(initial={"day": day})["day"])
    assert f'value="{day.year}-{day.month:02}-{day.day:02}"' in shown
    assert DayField().clean(day.isoformat()) == DayField().clean(f"{day:%Y%m%d}") == day


@pytest.mark.parametrize(
    "text",
    [
        "01.03.2026",
        "03/01/2026",
        "01032026",
        "260301",
        "2026-13-01",
        "2026-02-29",
        "2026-0301",
        "2026--03-01",
        "20260301T",
        "٢٠٢٦-٠٣-٠١",
        "1 March 2026",
        "no day",
    ],
)
def test_what_has_another_order_is_not_guessed_at(text: str) -> None:
    with pytest.raises(ValidationError) as caught:
        DayField().clean(text)
    assert caught.value.error_list[0].code == "invalid"


@pytest.mark.parametrize("text", ["1999-12-31", "3000-01-01", "9999-12-31"])
def test_days_far_away_are_refused(text: str) -> None:
    with pytest.raises(ValidationError):
        DayField().clean(text)


def test_no_day_stays_none() -> None:
    assert DayField(required=False).clean(" ") is None
