"""Single cells as spreadsheets write them (common practice), good and bad."""

from __future__ import annotations

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitting.domain import cells
from kitting.domain.errors import CodeError


def refusal(reader, cell: str) -> str:
    with pytest.raises(CodeError) as error:
        reader(cells.tidy(cell))
    return error.value.code


@pytest.mark.parametrize(
    ("cell", "date"),
    [
        ("2026-03-01", dt.date(2026, 3, 1)),
        ("2026-3-1", dt.date(2026, 3, 1)),
        ("2026/03/01", dt.date(2026, 3, 1)),
        ("2026-03-01 00:00:00", dt.date(2026, 3, 1)),
        ("2026-03-01T00:00", dt.date(2026, 3, 1)),
        ("01.03.2026", dt.date(2026, 3, 1)),
        ("1.3.2026", dt.date(2026, 3, 1)),
        ("29.02.2028", dt.date(2028, 2, 29)),
        ("25/03/2026", dt.date(2026, 3, 25)),
        ("03/25/2026", dt.date(2026, 3, 25)),
        ("03/03/2026", dt.date(2026, 3, 3)),
    ],
)
def test_a_date_that_can_be_read_in_one_way_is_read(cell, date):
    assert cells.day(cells.tidy(cell)) == date


@pytest.mark.parametrize(
    ("cell", "code"),
    [
        ("01/03/2026", "date_order_unclear"),
        ("12/11/2026", "date_order_unclear"),
        ("13/13/2026", "date_not_real"),
        ("31.02.2026", "date_not_real"),
        ("2026-02-29", "date_not_real"),
        ("03.25.2026", "date_not_real"),
        ("01.03.26", "date_two_digit_year"),
        ("1/3/26", "date_two_digit_year"),
        ("26-03-01", "date_two_digit_year"),
        ("0026-03-01", "date_year_out_of_range"),
        ("01.03.1999", "date_year_out_of_range"),
        ("2100-01-01", "date_year_out_of_range"),
        ("46082", "date_unreadable"),
        ("2026-03-01 14:30", "date_unreadable"),
        ("2026-03/01", "date_unreadable"),
        ("1 March 2026", "date_unreadable"),
        ("٢٠٢٦-٠٣-٠١", "date_unreadable"),
    ],
)
def test_a_date_that_cannot_be_read_in_one_way_is_refused(cell, code):
    assert refusal(cells.day, cell) == code


@given(date=st.dates(dt.date(2000, 1, 1), dt.date(2099, 12, 31)))
def test_dates_agree_with_the_standard_library(date):
    for pattern, order in (("%Y-%m-%d", None), ("%d.%m.%Y", None)):
        assert cells.day(date.strftime(pattern), order) == date
    assert cells.day(date.strftime("%d/%m/%Y"), "dmy") == date
    assert cells.day(date.strftime("%m/%d/%Y"), "mdy") == date


@given(first=st.integers(1, 31), second=st.integers(1, 31))
def test_a_date_with_slashes_is_read_only_where_no_other_reading_is_real(first, second):
    text = f"{first}/{second}/2026"
    readings = set()
    for pattern in ("%d/%m/%Y", "%m/%d/%Y"):
        try:
            parsed = dt.datetime.strptime(text, pattern).replace(tzinfo=dt.UTC)
        except ValueError:
            continue
        readings.add(parsed.date())
    if len(readings) == 1:
        assert {cells.day(text)} == readings
    else:
        code = "date_order_unclear" if readings else "date_not_real"
        with pytest.raises(CodeError, match=code):
            cells.day(text)


@pytest.mark.parametrize(
    ("cell", "number"),
    [
        ("7", 7),
        ("0007", 7),
        ("1250", 1250),
        ("1 250", 1250),
        ("1\u00a0250", 1250),
        ("12\u202f345\u202f678", 12_345_678),
        ("1250,0", 1250),
        ("1250.00", 1250),
        ("1250,000", 1250),
        ("1 250,000", 1250),
        ("1000000000", 1_000_000_000),
    ],
)
def test_a_whole_number_is_read_as_spreadsheets_show_it(cell, number):
    assert cells.whole(cells.tidy(cell)) == number


@pytest.mark.parametrize(
    ("cell", "code"),
    [
        ("1,250", "number_ambiguous"),
        ("1.250", "number_ambiguous"),
        ("100,000", "number_ambiguous"),
        ("0,250", "number_not_whole"),
        ("12,5", "number_not_whole"),
        ("12.50", "number_not_whole"),
        ("1250,500", "number_not_whole"),
        ("0", "number_not_positive"),
        ("0,0", "number_not_positive"),
        ("-5", "number_not_positive"),
        ("1000000001", "number_too_large"),
        ("9" * 5000, "number_too_large"),
        ("1 25", "number_unreadable"),
        ("1,250.00", "number_unreadable"),
        ("1e3", "number_unreadable"),
        ("5 pcs", "number_unreadable"),
        ("²", "number_unreadable"),
        ("٣", "number_unreadable"),
    ],
)
def test_a_number_that_is_not_plainly_whole_is_refused(cell, code):
    assert refusal(cells.whole, cell) == code


@pytest.mark.parametrize(
    ("cell", "counts"),
    [
        ("100", (100,)),
        ("100+100+40", (100, 100, 40)),
        ("100 + 100 +40", (100, 100, 40)),
        ("100;100;40", (100, 100, 40)),
        ("100 100 40", (100, 100, 40)),
        ("100\n100\n40", (100, 100, 40)),
        ("100 100", (100, 100)),
        ("1 250+300", (1250, 300)),
    ],
)
def test_counts_are_read_from_a_list(cell, counts):
    assert cells.counts(cells.tidy(cell)) == counts


@pytest.mark.parametrize(
    ("cell", "code"),
    [
        ("1 250", "counts_ambiguous"),
        ("100++40", "number_unreadable"),
        ("100+", "number_unreadable"),
        ("100,100,40", "number_unreadable"),
        ("100+0", "number_not_positive"),
        ("three", "number_unreadable"),
    ],
)
def test_a_list_that_is_no_list_of_counts_is_refused(cell, code):
    assert refusal(cells.counts, cell) == code
