"""Rules of single data fields, against the GS1 Barcode Syntax Tests and Engine."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from stdnum import iban

from kitting.domain.errors import CodeError
from kitting.domain.gs1 import elements, fields
from kitting.domain.gs1.catalogue import IDENTIFIERS
from kitting.domain.gs1.rules import NOT_APPLIED, RULES, check_pair
from tests.kitting.domain.gs1_vectors import vectors

FIELD_RULES = vectors("field-rules")
FIELD_ERRORS = vectors("ai-field-errors")

# Only AI 8110 and 8112 raise these; their rules are not applied (rules.NOT_APPLIED).
COUPONS = [row for row in FIELD_ERRORS if row["result"].startswith("COUPON_")]

CODE_OF = {
    "NON_DIGIT_CHARACTER": "gs1_field_characters",
    "INVALID_CSET82_CHARACTER": "gs1_field_characters",
    "INVALID_CSET39_CHARACTER": "gs1_field_characters",
    "INVALID_CSET64_CHARACTER": "gs1_field_characters",
    "INVALID_CSET64_PADDING": "gs1_field_characters",
    "INCORRECT_CHECK_DIGIT": "gs1_check_digit",
    "TOO_SHORT_FOR_CHECK_PAIR": "gs1_check_digit",
    "ILLEGAL_MONTH": "gs1_date",
    "ILLEGAL_DAY": "gs1_date",
    "ILLEGAL_HOUR": "gs1_time",
    "ILLEGAL_SECOND": "gs1_time",
}


@pytest.mark.parametrize("rule", sorted({row["rule"] for row in FIELD_RULES}))
def test_a_rule_judges_every_published_vector_as_the_syntax_tests_do(rule):
    # GS1 Barcode Syntax Tests, tag 2026-01-27.
    rows = [row for row in FIELD_RULES if row["rule"] == rule]
    wrong = [row for row in rows if RULES[rule](row["input"]) is not row["valid"]]
    assert wrong == []


def test_no_published_vector_of_a_rule_is_left_out():
    assert len(FIELD_RULES) == 1564
    assert {row["rule"] for row in FIELD_RULES} <= set(RULES)


def refusal(bracketed: str) -> str | None:
    try:
        elements.check_fields(elements.split_bracketed(bracketed))
    except CodeError as error:
        return error.code
    return None


def refusal_of_field(ai: str, value: str) -> str | None:
    try:
        fields.check(IDENTIFIERS[ai], value)
    except CodeError as error:
        return error.code
    return None


@pytest.mark.parametrize(
    "row",
    [row for row in FIELD_ERRORS if row not in COUPONS],
    ids=lambda row: row["bracketed"],
)
def test_the_first_error_of_a_field_is_the_engines(row):
    # GS1 Barcode Syntax Engine, unit tests of ai.c.
    wanted = CODE_OF.get(row["result"], "gs1_field_rule")
    assert refusal(row["bracketed"]) == (None if row["result"] == "OK" else wanted)


def test_the_coupon_vectors_are_the_only_ones_not_applied():
    assert len(COUPONS) == 36
    assert {row["bracketed"][:6] for row in COUPONS} == {"(8110)", "(8112)"}
    assert [refusal(row["bracketed"]) for row in COUPONS] == [None] * 36


@pytest.mark.parametrize(
    ("rule", "good", "bad"),
    [
        # Published descriptions of the rules, GS1 Barcode Syntax Tests.
        ("csumalpha", "1987654Ad4X4bL5ttr2310c2K", "1987654Ad4X4bL5ttr2310cXK"),
        ("csumalpha", "12345_ABCDEFGHIJKLMCP", "12345 ABCDEFGHIJKLMCP"),
        ("csumalpha", "22", "2"),
        ("cset64", "1==", "==="),
        ("cset64", "12", "123==="),
        ("gcppos1", "9521A", "952A"),
        ("gcppos2", "A9521", "A952"),
        ("hyphen", "-", "X"),
        ("importeridx", "_", "="),
        ("iso3166999", "999", "998"),
        ("iso3166999", "826", "000"),
        ("iso3166alpha2", "GB", "AA"),
        ("iso4217", "978", "987"),
        ("iso5218", "9", "5"),
        ("latitude", "1800000000", "1800000001"),
        ("longitude", "3600000000", "3600000001"),
        ("mediatype", "10", "11"),
        ("mediatype", "80", "79"),
        ("pcenc", "A%20B", "A%2"),
        ("posinseqslash", "9/10", "10/9"),
        ("winding", "9", "2"),
        ("yesno", "1", "2"),
        ("iban", "GB98MIDL07009312345678", "GB97MIDL07009312345678"),
        ("iban", "BE71096123456769", "BE71"),
    ],
)
def test_rules_without_a_vector_file_keep_their_description(rule, good, bad):
    assert RULES[rule](good)
    assert not RULES[rule](bad)


@given(
    st.sampled_from(["GB", "GR", "PL", "MU"]),
    st.text("0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ", min_size=7, max_size=30),
)
def test_the_account_number_rule_agrees_with_a_reference_library(country, account):
    # python-stdnum, check digits only; of 100 pairs a few are alike modulo 97.
    right = int(iban.calc_check_digits(f"{country}00{account}"))
    for pair in range(100):
        found = RULES["iban"](f"{country}{pair:02}{account}")
        assert found is ((pair - right) % 97 == 0)


@pytest.mark.parametrize("text", ["GB98MIDL0700931234567_", "GB98midl07009312345678"])
def test_an_account_number_is_made_of_capitals_and_digits(text):
    # GS1 Barcode Syntax Engine: "(8007)FR12_45678901234" is refused.
    assert not RULES["iban"](text)


def test_a_check_pair_of_nothing_is_that_of_zero():
    # GS1 Barcode Syntax Tests, csumalpha: "22" passes.
    assert check_pair("") == "22"


@pytest.mark.parametrize(
    ("ai", "value", "good"),
    [
        # By hand from the specifications of the dictionary.
        ("10", "A" * 20, True),
        ("10", "A" * 21, False),
        ("10", "", False),
        ("91", "A" * 90, True),
        ("91", "A" * 91, False),
        ("402", "12345678901234560", True),
        ("402", "1234567890123456", False),
        ("253", "1234567890128", True),
        ("253", "1234567890128" + "A" * 17, True),
        ("253", "1234567890128" + "A" * 18, False),
        ("8110", "A" * 70, True),
        ("8110", "A" * 71, False),
    ],
)
def test_a_field_is_as_long_as_its_specification_says(ai, value, good):
    found = refusal_of_field(ai, value)
    assert found == (None if good else "gs1_field_length")


def test_a_broken_rule_is_named():
    with pytest.raises(CodeError) as caught:
        fields.check(IDENTIFIERS["4307"], "AA")
    assert caught.value.params == {"ai": "4307", "value": "AA", "rule": "iso3166alpha2"}


def test_not_applied_rules_are_not_in_the_table_of_rules():
    assert not NOT_APPLIED & set(RULES)
