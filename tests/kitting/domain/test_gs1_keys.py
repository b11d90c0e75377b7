"""Check digits and keys, against published examples and python-stdnum."""

from __future__ import annotations

import datetime as dt

import pytest
from biip.gtin import Gtin
from biip.sscc import Sscc
from hypothesis import given
from hypothesis import strategies as st
from stdnum import ean

from kitting.domain import gs1
from kitting.domain.errors import CodeError
from tests.kitting.domain.gs1_vectors import worked

DIGITS = st.text("0123456789", min_size=1, max_size=40)
EXAMPLES = worked("gs1-check-digits.json")


@pytest.mark.parametrize(
    "row", EXAMPLES["check_digits"], ids=lambda row: f"{row['key']} {row['body']}"
)
def test_check_digits_are_the_published_ones(row):
    # Each row names its source in tests/data/worked-examples.
    assert gs1.check_digit(row["body"]) == str(row["check_digit"])
    assert row["body"] + gs1.check_digit(row["body"]) == row["full"]


@given(DIGITS)
def test_check_digits_agree_with_a_reference_library(body):
    # python-stdnum, stdnum.ean.
    assert gs1.check_digit(body) == ean.calc_check_digit(body)


@pytest.mark.parametrize("body", ["", " ", "12A", "١٢٣", "12³", "-1", "1.0", "\x1d"])
def test_a_check_digit_is_for_digits_only(body):
    with pytest.raises(CodeError) as caught:
        gs1.check_digit(body)
    assert caught.value.code == "gs1_not_digits"


@given(st.text("0123456789", min_size=18, max_size=18))
def test_an_sscc_is_what_a_reference_library_takes_for_one(text):
    # python-stdnum for the check digit; biip for the whole key.
    right = text[:-1] + ean.calc_check_digit(text[:-1])
    assert gs1.sscc_ok(text) is (text == right)
    assert gs1.sscc_ok(right)
    assert Sscc.parse(right).value == right


@given(st.text("0123456789", min_size=13, max_size=13))
def test_a_gtin_of_14_digits_is_known_by_its_check_digit(body):
    right = body + ean.calc_check_digit(body)
    assert gs1.gtin14_ok(right)
    for digit in "0123456789":
        assert gs1.gtin14_ok(body + digit) is (body + digit == right)


@pytest.mark.parametrize("text", ["", "6291041500213", "1234567890123A", "0" * 15])
def test_other_texts_are_no_gtin_of_14_digits(text):
    assert not gs1.gtin14_ok(text)


def test_biip_agrees_that_the_example_is_a_gtin():
    # EPCIS 2.0 example; biip reads it.
    assert Gtin.parse("09506000134352").value == "09506000134352"
    assert gs1.gtin14_ok("09506000134352")


@given(st.text("0123456789", min_size=12, max_size=12))
def test_a_gln_has_thirteen_digits_and_its_check_digit(body: str) -> None:
    # python-stdnum: a GLN is checked as an EAN of 13 digits is.
    good = [digit for digit in "0123456789" if gs1.gln_ok(body + digit)]
    assert good == [ean.calc_check_digit(body)]
    assert not gs1.gln_ok(body)
    assert not gs1.gln_ok(f"0{body}{good[0]}")


@pytest.mark.parametrize(
    ("prefix", "reference", "extension", "wanted"),
    [
        # EPC URIs of the EPCIS examples, keys by the EPC Tag Data Standard.
        ("0614141", 234567890, 1, "106141412345678908"),
        ("4012345", 111111111, 0, "040123451111111110"),
        # Company prefix of GS1's own demonstration range, computed with stdnum.ean.
        (
            "9521234",
            1,
            0,
            "0952123400000000" + "1" + ean.calc_check_digit("09521234000000001"),
        ),
    ],
)
def test_an_sscc_is_composed_from_prefix_and_reference(
    prefix, reference, extension, wanted
):
    assert gs1.sscc(prefix, reference, extension) == wanted


@given(
    st.text("0123456789", min_size=4, max_size=12),
    st.integers(0, 9999),
    st.integers(0, 9),
)
def test_a_composed_sscc_is_one_and_keeps_its_parts(prefix, reference, extension):
    text = gs1.sscc(prefix, reference, extension=extension)
    assert gs1.sscc_ok(text)
    assert text.startswith(f"{extension}{prefix}")
    assert int(text[1 + len(prefix) : 17]) == reference


@pytest.mark.parametrize("prefix", ["", "952", "9" * 13, "95A4", "٩٥٢١"])
def test_a_prefix_has_4_to_12_digits(prefix):
    with pytest.raises(CodeError) as caught:
        gs1.sscc(prefix, 1)
    assert caught.value.code == "gs1_prefix"


def test_an_sscc_never_runs_over_its_digits():
    assert len(gs1.sscc("952123456789", 9999)) == 18
    with pytest.raises(CodeError) as caught:
        gs1.sscc("952123456789", 10000)
    assert caught.value.code == "sscc_used_up"
    assert caught.value.params["digits"] == 4


@pytest.mark.parametrize(("reference", "extension"), [(-1, 0), (1, 10), (1, -1)])
def test_a_program_that_asks_for_an_impossible_sscc_is_at_fault(reference, extension):
    with pytest.raises(ValueError, match="extension"):
        gs1.sscc("9521234", reference, extension)


@pytest.mark.parametrize(
    ("text", "today", "wanted"),
    [
        # GS1 General Specifications, 7.12; years computed from its rule.
        ("770101", 2026, dt.date(1977, 1, 1)),
        ("760101", 2026, dt.date(2076, 1, 1)),
        ("000101", 2026, dt.date(2000, 1, 1)),
        ("270101", 2026, dt.date(2027, 1, 1)),
        ("100101", 2060, dt.date(2110, 1, 1)),
        ("110101", 2060, dt.date(2011, 1, 1)),
        # GS1 General Specifications, 3.4: day 00 is the last day of the month.
        ("270200", 2026, dt.date(2027, 2, 28)),
        ("280200", 2026, dt.date(2028, 2, 29)),
        ("261200", 2026, dt.date(2026, 12, 31)),
        ("000200", 2050, dt.date(2100, 2, 28)),
        ("280229", 2026, dt.date(2028, 2, 29)),
    ],
)
def test_a_date_gets_its_century_from_today(text, today, wanted):
    assert gs1.date(text, dt.date(today, 6, 15)) == wanted


@pytest.mark.parametrize(
    "text",
    ["", "2601", "26010", "2601011", "260001", "261301", "260132", "270229", "2601A1"],
)
def test_a_date_that_is_none_is_refused(text):
    with pytest.raises(CodeError) as caught:
        gs1.date(text, dt.date(2026, 1, 1))
    assert caught.value.code == "gs1_date"


def test_the_leap_day_of_2100_is_refused_when_it_is_near():
    with pytest.raises(CodeError):
        gs1.date("000229", dt.date(2060, 1, 1))


@given(st.dates(dt.date(1900, 1, 1), dt.date(2200, 1, 1)), st.integers(-49, 50))
def test_a_written_date_is_read_back_within_the_window(today, years):
    day = dt.date(today.year + years, 2, 28)
    assert gs1.date(gs1.yymmdd(day), today) == day


def test_worked_dates_are_written_as_six_digits():
    # ISO 8601 examples in tests/data/worked-examples.
    for row in worked("iso8601-dates.json"):
        assert gs1.yymmdd(dt.date.fromisoformat(row["date"])) == row["yymmdd"]
