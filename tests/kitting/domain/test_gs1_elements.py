"""Element strings both ways, against the GS1 vectors and biip."""

from __future__ import annotations

import pytest
from biip.gs1_messages import GS1Message
from hypothesis import assume, given
from hypothesis import strategies as st
from stdnum import ean

from kitting.domain import gs1
from kitting.domain.errors import CodeError
from kitting.domain.gs1 import elements, pairs
from kitting.domain.gs1.catalogue import IDENTIFIERS
from kitting.domain.gs1.rules import CSET82
from tests.kitting.domain.gs1_vectors import bracketed, vectors, worked

RELATIONSHIPS = vectors("ai-relationships")
BRACKETED = vectors("bracketed-to-element-string")
SYNTAX = vectors("element-string-syntax")

RULE_OF = {
    "repeated AI must carry the same value": pairs.check_repeats,
    "mutually exclusive AIs": pairs.check_exclusions,
    "required companion AIs": pairs.check_companions,
    "AI 8030 needs a serialised key": pairs.check_signed_keys,
}


def raw_pairs(text: str) -> list[tuple[str, str]]:
    """Cut a vector into pairs; some name AI 89, which does not exist."""
    cut = [part.split(")") for part in text.split("(")[1:]]
    return [(ai, value) for ai, value in cut]


def refused(call, *args) -> str | None:
    try:
        call(*args)
    except CodeError as error:
        return error.code
    return None


@pytest.mark.parametrize("row", RELATIONSHIPS, ids=lambda row: row["bracketed"])
def test_each_pairing_rule_judges_as_the_engine_does(row):
    # GS1 Barcode Syntax Engine, unit tests of ai.c: one rule on its own at a time.
    found = refused(RULE_OF[row["check"]], raw_pairs(row["bracketed"]))
    assert (found is None) is row["valid"]


@pytest.mark.parametrize(
    "row",
    [row for row in RELATIONSHIPS if not row["valid"]],
    ids=lambda row: row["bracketed"],
)
def test_what_a_pairing_rule_refuses_is_neither_written_nor_read_without_a_problem(row):
    found = raw_pairs(row["bracketed"])
    assert refused(gs1.element_string, found) is not None
    assert gs1.read_scan(row["bracketed"]).problem is not None


@pytest.mark.parametrize("row", BRACKETED, ids=lambda row: row["bracketed"])
def test_brackets_become_separators_as_in_the_engine(row):
    # GS1 Barcode Syntax Engine, unit tests of ai.c; syntax of fields, no pairing.
    if row["valid"]:
        found = elements.split_bracketed(row["bracketed"])
        assert refused(elements.check_fields, found) is None
        text = row["unbracketed"][1:].replace("^", gs1.GS)
        assert elements.split(text) == found
        assert bracketed(found) == row["bracketed"]
        assert elements.join(found) == text
    else:
        assert refused(elements.split_bracketed, row["bracketed"]) or refused(
            elements.check_fields, elements.split_bracketed(row["bracketed"])
        )


@pytest.mark.parametrize("row", SYNTAX, ids=lambda row: row["element_string"])
def test_element_strings_are_well_formed_where_the_engine_says_so(row):
    # GS1 Barcode Syntax Engine, unit tests of ai.c; "^" stands for FNC1, and every
    # message starts with it.
    text = row["element_string"]
    data = text[1:].replace("^", gs1.GS)
    found = "gs1_nothing" if not text.startswith("^") else refused(elements.split, data)
    if found is None:
        found = refused(elements.check_fields, elements.split(data))
    assert (found is None) is row["valid"]


@pytest.mark.parametrize(
    "row", worked("gs1-check-digits.json")["epc_uri_pairs"], ids=lambda row: row["epc"]
)
def test_element_strings_of_the_epc_examples_are_taken(row):
    # EPCIS examples, element strings by the EPC Tag Data Standard.
    found = elements.split_bracketed(row["element_string"])
    assert elements.split(gs1.element_string(found)) == found


@pytest.mark.parametrize(
    ("found", "wanted"),
    [
        # GS1 General Specifications, 7.8.5 and 7.8.6, with the dictionary's marks.
        ([("00", "106141412345678908")], "00106141412345678908"),
        (
            [("01", "12345678901231"), ("10", "A"), ("17", "271231"), ("21", "7")],
            "011234567890123110A\x1d17271231217",
        ),
        # GS1 Barcode Syntax Dictionary: an AI does not exclude itself (310n).
        ([("01", "95012345678903"), ("3103", "000123")], "01950123456789033103000123"),
        (
            [("402", "12345678901234560"), ("400", "X")],
            "40212345678901234560\x1d400X",
        ),
        (
            [("01", "12345678901231"), ("7003", "2712312359"), ("13", "261125")],
            "011234567890123170032712312359\x1d13261125",
        ),
    ],
)
def test_a_separator_stands_exactly_where_it_is_needed(found, wanted):
    assert gs1.element_string(found) == wanted


@pytest.mark.parametrize(
    ("found", "code"),
    [
        ([], "gs1_nothing"),
        ([("89", "1")], "gs1_ai_unknown"),
        ([("", "1")], "gs1_ai_unknown"),
        ([("00", "106141412345678900")], "gs1_check_digit"),
        ([("00", "10614141234567890")], "gs1_field_length"),
        ([("01", "12345678901231"), ("10", "A B")], "gs1_field_characters"),
        ([("01", "12345678901231"), ("10", "A\x1d217")], "gs1_field_characters"),
        ([("01", "12345678901231"), ("10", "Ä")], "gs1_field_characters"),
        ([("01", "12345678901231"), ("11", "261131")], "gs1_date"),
        ([("01", "12345678901231"), ("11", "261100")], "gs1_day_missing"),
        ([("01", "12345678901231"), ("7003", "2611302400")], "gs1_time"),
        ([("10", "A")], "gs1_companion_missing"),
        ([("01", "12345678901231"), ("37", "6")], "gs1_not_together"),
        ([("01", "12345678901231"), ("01", "24012345678905")], "gs1_repeated"),
        ([("253", "1234567890128"), ("8030", "A")], "gs1_serial_missing"),
    ],
)
def test_what_a_rule_forbids_is_refused_with_its_code(found, code):
    with pytest.raises(CodeError) as caught:
        gs1.element_string(found)
    assert caught.value.code == code


def test_a_missing_companion_is_named():
    with pytest.raises(CodeError) as caught:
        gs1.element_string([("01", "12345678901231"), ("7004", "5")])
    assert caught.value.params == {"ai": "7004", "needs": "01+10"}


def test_the_same_value_may_come_twice():
    # GS1 Barcode Syntax Engine: "(400)ABC(400)ABC" passes.
    assert gs1.element_string([("400", "A"), ("400", "A")]) == "400A\x1d400A"


def test_a_cut_field_of_pre_defined_length_is_refused():
    assert refused(elements.split, "0112345") == "gs1_field_length"
    assert refused(elements.split, "0112345\x1d10A") == "gs1_field_length"


SET82 = st.text(CSET82, min_size=1, max_size=20)
# Lots and serials of Lotward's own labels; biip takes all of set 82 as well.
KEY = st.one_of(
    st.text("0123456789", min_size=17, max_size=17).map(
        lambda body: ("00", body + ean.calc_check_digit(body))
    ),
    st.text("0123456789", min_size=13, max_size=13).map(
        lambda body: ("01", body + ean.calc_check_digit(body))
    ),
)
DATES = st.dates().map(gs1.yymmdd)
OPTIONAL = {
    "10": SET82,
    "11": DATES,
    "13": DATES,
    "17": DATES,
    "20": st.text("0123456789", min_size=2, max_size=2),
    "21": SET82,
    "240": st.text(CSET82, min_size=1, max_size=30),
    "400": st.text(CSET82, min_size=1, max_size=30),
    "402": st.text("0123456789", min_size=16, max_size=16).map(
        lambda body: body + ean.calc_check_digit(body)
    ),
    "410": st.text("0123456789", min_size=12, max_size=12).map(
        lambda body: body + ean.calc_check_digit(body)
    ),
    "3103": st.text("0123456789", min_size=6, max_size=6),
    "90": st.text(CSET82, min_size=1, max_size=30),
    "99": st.text(CSET82, min_size=1, max_size=90),
}


@st.composite
def messages(draw):
    """Draw elements in any order that keep all rules."""
    key = draw(KEY)
    ais = draw(st.lists(st.sampled_from(sorted(OPTIONAL)), unique=True, max_size=6))
    found = [key, *((ai, draw(OPTIONAL[ai])) for ai in ais)]
    assume(refused(elements.check, found) is None)
    return draw(st.permutations(found))


@given(messages())
def test_what_is_written_biip_reads_back(found):
    # biip 5.2.0 has a table and a parser of its own.
    text = gs1.element_string(found)
    read = GS1Message.parse(text).element_strings
    assert [(each.ai.ai, each.value) for each in read] == found


@given(messages())
def test_what_is_written_is_read_back_the_same_in_every_dress(found):
    text = gs1.element_string(found)
    wanted = tuple(found)
    for scan in (f"]C1{text}", f"]d2{text}", f"\x1d{text}", bracketed(found)):
        seen = gs1.read_scan(scan)
        assert (seen.kind, seen.elements, seen.problem) == ("gs1", wanted, None)


@given(messages())
def test_no_separator_is_superfluous_and_none_is_at_the_end(found):
    text = gs1.element_string(found)
    open_ended = [ai for ai, _ in found[:-1] if not IDENTIFIERS[ai].predefined]
    assert text.count(gs1.GS) == len(open_ended)
    assert not text.endswith(gs1.GS)


def test_brackets_in_a_value_are_escaped_and_read_back():
    # GS1 Barcode Syntax Engine: "(10)12345\\(11)991225" is one element.
    text = bracketed([("10", "A(21)B")])
    assert text == r"(10)A\(21)B"
    assert elements.split_bracketed(text) == (("10", "A(21)B"),)


@pytest.mark.parametrize("text", ["", "(", "(10)", "(10)(11)9", "10", "(10)A(", "()A"])
def test_a_text_with_broken_brackets_is_refused(text):
    assert refused(elements.split_bracketed, text) == "gs1_brackets"
