"""The kit batch; its dates against worked ISO 8601 examples."""

from __future__ import annotations

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitting.domain import batch, gs1, numbers
from kitting.domain.errors import CodeError
from tests.kitting.domain.gs1_vectors import worked

DATES = worked("iso8601-dates.json")
DAY = dt.date(2026, 11, 25)


def refused(call, *args) -> str | None:
    try:
        call(*args)
    except CodeError as error:
        return error.code
    return None


def test_a_batch_says_site_product_date_and_recipe():
    # The form is Lotward's own; 25 November is day 329 of 2026 (ISO 8601 ordinal).
    assert batch.kit_batch(1, "FS1EN", DAY, 3) == "1-FS1EN-26329-3"
    assert refused(batch.read_batch, "1-FS1EN-26329-3") is None


@pytest.mark.parametrize("row", DATES, ids=lambda row: row["date"])
def test_pack_dates_are_the_worked_day_numbers(row):
    # tests/data/worked-examples: ISO 8601 ordinal dates.
    day = dt.date.fromisoformat(row["date"])
    if day.year < 2000:
        assert refused(batch.kit_batch, 1, "FS", day, 1) == "batch_date"
    else:
        text = batch.kit_batch(1, "FS", day, 1)
        assert text == f"1-FS-{row['yyddd']}-1"
        assert batch.read_batch(text).packed_on == day


@given(
    st.integers(1, 9),
    st.text("ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789", min_size=1, max_size=8),
    st.dates(dt.date(2000, 1, 1), dt.date(2099, 12, 31)),
    st.integers(1, 999),
)
def test_a_batch_is_read_back_and_fits_its_element(site, product, day, version):
    text = batch.kit_batch(site, product, day, version)
    assert batch.read_batch(text) == batch.Batch(site, product, day, version)
    assert batch.read_batch(f" {text.lower()}\n").product_code == product
    assert len(text) <= 20
    # AI 10 takes it (GS1 Barcode Syntax Dictionary), and no number looks like it.
    assert gs1.element_string([("01", "12345678901231"), ("10", text)]).endswith(text)
    assert numbers.looks_like(text) is None


@pytest.mark.parametrize(
    ("args", "code"),
    [
        ((0, "FS1EN", DAY, 3), "batch_site"),
        ((10, "FS1EN", DAY, 3), "batch_site"),
        ((1, "", DAY, 3), "batch_product_code"),
        ((1, "FS1ENABCD", DAY, 3), "batch_product_code"),
        ((1, "fs1en", DAY, 3), "batch_product_code"),
        ((1, "FS-1", DAY, 3), "batch_product_code"),
        ((1, "FS²", DAY, 3), "batch_product_code"),
        ((1, "FS\n", DAY, 3), "batch_product_code"),
        ((1, "FS1EN", dt.date(1999, 12, 31), 3), "batch_date"),
        ((1, "FS1EN", dt.date(2100, 1, 1), 3), "batch_date"),
        ((1, "FS1EN", DAY, 0), "batch_recipe_version"),
        ((1, "FS1ENABC", DAY, 1000), "batch_too_long"),
    ],
)
def test_a_batch_that_cannot_be_is_refused(args, code):
    assert refused(batch.kit_batch, *args) == code


def test_a_batch_of_twenty_characters_is_the_longest():
    text = batch.kit_batch(1, "FS1ENABC", DAY, 999)
    assert (text, len(text)) == ("1-FS1ENABC-26329-999", 20)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "1-FS1EN-26329",
        "0-FS1EN-26329-3",
        "1-FS1EN-26000-3",
        "1-FS1EN-26366-3",  # 2026 has 365 days
        "1-FS1EN-26329-03",
        "1-FS1EN-26329-0",
        "1-FS1ENABC-26329-12345",
        "1-FS1EN-2632٩-3",
        "1-FſEN-26329-3",  # a letter whose capital is S
        "Νοσοκομείο",
        "\ud800",
        "1" * 10_000,
    ],
)
def test_a_text_that_is_no_batch_is_refused(text):
    assert refused(batch.read_batch, text) == "batch_malformed"


def test_day_366_is_read_in_a_leap_year_only():
    # 2028 is a leap year (Gregorian rule).
    assert batch.read_batch("1-FS-28366-1").packed_on == dt.date(2028, 12, 31)


def test_what_a_refusal_quotes_is_short():
    with pytest.raises(CodeError) as caught:
        batch.read_batch("9" * 10_000)
    assert caught.value.params == {"text": "9" * 60 + "…"}
