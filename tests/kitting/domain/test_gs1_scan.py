"""Scans: the engine's scan data, what scanners without identifiers send, and rubbish."""

from __future__ import annotations

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from stdnum import ean

from kitting.domain import gs1
from kitting.domain.gs1 import elements
from tests.kitting.domain.gs1_vectors import vectors

PARSED = vectors("scan-data-parse")
GENERATED = [row for row in vectors("scan-data-generate") if row["scan_data"]]
EMPTY = {"]Q1", "]d1", "]J0"}
"""Empty plain symbols: well formed for the engine, nothing to look up for Lotward."""

SSCC = "106141412345678908"  # EPCIS example, EPC Tag Data Standard
GTIN = "12345678901231"  # GS1 Barcode Syntax Tests
ODD = st.text(st.characters(codec=None, exclude_categories=()), max_size=200)


def engine_pairs(data: str) -> tuple[tuple[str, str], ...]:
    """Cut the engine's own notation into elements: FNC1 is ``^``, a bar parts two."""
    linear, _, composite = data.partition("|")
    if linear.startswith("^"):
        found = elements.split(linear[1:].replace("^", gs1.GS))
    else:
        found = (("01", linear.zfill(14)),)
    if composite:
        found += elements.split(composite[1:].replace("^", gs1.GS))
    return found


@pytest.mark.parametrize("row", PARSED, ids=lambda row: row["scan_data"])
def test_scans_are_read_as_the_engine_reads_them(row):
    # GS1 Barcode Syntax Engine, unit tests of scandata.c.
    scan = gs1.read_scan(row["scan_data"])
    if not row["valid"] or row["scan_data"] in EMPTY:
        assert scan.problem is not None
        assert scan.kind != "number"
    elif row["data"].startswith("^") or "|^" in row["data"]:
        assert (scan.kind, scan.problem) == ("gs1", None)
        assert scan.elements == engine_pairs(row["data"])
        assert scan.symbology == row["scan_data"][:3]
    else:
        assert (scan.kind, scan.problem) == ("number", None)
        # The engine escapes a leading "^" of plain data, with one more stroke.
        plain = row["data"].removeprefix("\\") if "^" in row["data"] else row["data"]
        assert scan.number == plain == row["scan_data"][3:]


def test_empty_plain_symbols_are_the_only_vectors_judged_otherwise():
    assert {row["scan_data"] for row in PARSED if row["valid"]} >= EMPTY
    assert [gs1.read_scan(text).problem for text in sorted(EMPTY)] == ["scan_empty"] * 3


@pytest.mark.parametrize("row", GENERATED, ids=lambda row: row["scan_data"])
def test_scans_that_the_engine_generates_are_read(row):
    # GS1 Barcode Syntax Engine, unit tests of scandata.c.
    scan = gs1.read_scan(row["scan_data"])
    assert (scan.problem, scan.symbology) == (None, row["scan_data"][:3])
    plain = scan.symbology in {"]Q1", "]d1", "]J0"}
    if plain or (scan.symbology == "]E0" and "]e0" not in row["scan_data"]):
        assert (scan.kind, scan.number) == ("number", row["scan_data"][3:])
    else:
        assert (scan.kind, scan.elements) == ("gs1", engine_pairs(row["data"]))


MESSAGE = f"01{GTIN}10ABC123\x1d99TESTING"
ELEMENTS = (("01", GTIN), ("10", "ABC123"), ("99", "TESTING"))


@pytest.mark.parametrize(
    ("text", "symbology"),
    [
        # Symbology identifiers: ISO/IEC 15424 and the GS1 Barcode Syntax Engine.
        (f"]C1{MESSAGE}", "]C1"),
        (f"]d2{MESSAGE}", "]d2"),
        (f"]Q3{MESSAGE}", "]Q3"),
        (f"]e0{MESSAGE}", "]e0"),
        (f"]J1{MESSAGE}", "]J1"),
        (f"]C1\x1d{MESSAGE}\x1d", "]C1"),
        (f" ]C1{MESSAGE}\r\n", "]C1"),
        (MESSAGE, ""),
        (f"\x1d{MESSAGE}", ""),
        (f"\xf1{MESSAGE.replace(gs1.GS, chr(0xF1))}", ""),
        (f"(01){GTIN}(10)ABC123(99)TESTING", ""),
        (f"(01) {GTIN} (10) ABC123 (99) TESTING", ""),
    ],
)
def test_one_message_is_read_in_every_dress(text, symbology):
    scan = gs1.read_scan(text)
    assert (scan.kind, scan.elements, scan.problem) == ("gs1", ELEMENTS, None)
    assert scan.symbology == symbology
    assert scan.number is None
    assert scan.refusal() is None


@pytest.mark.parametrize("text", [f"00{SSCC}", f"01{GTIN}", f"01{GTIN}10ABC"])
def test_a_bare_message_is_gs1_when_it_starts_with_a_right_key(text):
    scan = gs1.read_scan(text)
    assert (scan.kind, scan.problem) == ("gs1", None)
    assert scan.elements == elements.split(text)
    assert scan.number == text


@pytest.mark.parametrize(
    "text",
    [
        SSCC,  # 18 digits, typed by hand
        "006141411234567890",  # a box's key that starts with 00 itself
        f"00{SSCC[:-1]}1",  # wrong check digit
        f"01{GTIN[:-1]}2",
        f"01{GTIN}17261131",  # no such day
        f"01{GTIN}89X",  # no such AI
        "10ABC",  # no key in front
        "L1000001X",
        "1-FS1EN-26329-3",
        "A" * 48,
        "!~",
    ],
)
def test_a_bare_text_that_is_no_message_is_a_number(text):
    scan = gs1.read_scan(f"\t{text} ")
    assert (scan.kind, scan.number, scan.elements, scan.problem) == (
        "number",
        text,
        (),
        None,
    )


@pytest.mark.parametrize(
    "symbology",
    [*("]C0", "]d1", "]Q1", "]J0"), *("]A0", "]A4", "]F0", "]G0", "]I0", "]I1", "]I3")],
)
def test_a_plain_symbol_is_a_number_whatever_it_holds(symbology):
    scan = gs1.read_scan(f"{symbology}01{GTIN}")
    assert (scan.kind, scan.number, scan.symbology) == (
        "number",
        f"01{GTIN}",
        symbology,
    )


# ISO/IEC 15424, from memory: ]E3 is an EAN-13 with its add-on of two or five digits.
@pytest.mark.parametrize("add_on", ["12", "54495"])
def test_an_article_is_looked_up_without_the_add_on_beside_it(add_on):
    article = "2112345678900"
    scan = gs1.read_scan(f"]E3{article}{add_on}")
    assert (scan.kind, scan.number, scan.problem) == ("number", article, None)
    assert gs1.read_scan(f"]E3{article}1").problem == "gs1_ean"
    assert gs1.read_scan(f"]E2{add_on}").number == add_on


def test_blanks_inside_a_value_are_no_part_of_it_and_not_passed_over():
    scan = gs1.read_scan(f"(01){GTIN}(21)x y")
    assert scan.problem == "gs1_field_characters"
    assert scan.value("21") == "x y"
    grouped = f"(01){GTIN[:4]}\u202f{GTIN[4:]} (21)xy"
    assert gs1.read_scan(grouped).elements == (("01", GTIN), ("21", "xy"))


@pytest.mark.parametrize(
    ("text", "kind", "code"),
    [
        ("", "unknown", "scan_empty"),
        (" \r\n", "unknown", "scan_empty"),
        ("]C0", "unknown", "scan_empty"),
        ("]C1", "gs1", "gs1_nothing"),
        ("\x1d", "gs1", "gs1_nothing"),
        ("]", "unknown", "scan_identifier_unknown"),
        ("]zz123", "unknown", "scan_identifier_unknown"),
        ("A B", "unknown", "scan_no_number"),
        ("A" * 49, "unknown", "scan_no_number"),
        ("Νοσοκομείο", "unknown", "scan_no_number"),
        ("\ud800", "unknown", "scan_no_number"),
        ("A\x00B", "unknown", "scan_no_number"),
        ("9" * 7090, "unknown", "scan_too_long"),
        ("]E02112345678901", "unknown", "gs1_ean"),
        ("]E402345673|]e0", "gs1", "gs1_nothing"),
        ("]C189ABC", "gs1", "gs1_ai_unknown"),
        ("A\x1dB", "gs1", "gs1_ai_unknown"),
        ("(89)A", "gs1", "gs1_ai_unknown"),
        ("(1A)12345", "gs1", "gs1_brackets"),
        (f"]C101{GTIN[:-1]}2", "gs1", "gs1_check_digit"),
        (f"]C101{GTIN}37600", "gs1", "gs1_not_together"),
        (f"(01){GTIN}(37)6", "gs1", "gs1_not_together"),
        ("]C110ABC", "gs1", "gs1_companion_missing"),
    ],
)
def test_a_scan_with_a_fault_says_which(text, kind, code):
    scan = gs1.read_scan(text)
    assert (scan.kind, scan.problem, scan.number) == (kind, code, None)
    error = scan.refusal()
    assert error is not None
    assert error.code == code


def test_a_faulty_message_still_gives_its_elements():
    scan = gs1.read_scan(f"]C101{GTIN}37600")
    assert scan.elements == (("01", GTIN), ("37", "600"))
    assert scan.value("37") == "600"
    assert scan.value("10") is None


def test_raw_values_are_kept():
    # biip turns day 00 into a date and strips GS from the ends; the scan does neither.
    scan = gs1.read_scan(f"]d201{GTIN}1727020010A\x1d21B\x1d")
    assert scan.elements[1:] == (("17", "270200"), ("10", "A"), ("21", "B"))
    assert scan.problem is None


def test_what_a_refusal_quotes_is_short_and_can_be_shown():
    scan = gs1.read_scan("\ud800" + "Ω" * 5000)
    quoted = str(dict(scan.params)["value"])
    assert quoted == "\N{REPLACEMENT CHARACTER}" + "Ω" * 59 + "…"
    assert quoted.encode()


@given(ODD)
@example("\x00" * 10_000)
@example("Ω" * 7000)
@example("(01)" * 1500)
@example("(" * 7000)
@example("\x1d" * 7089)
@example("10\x1d" * 2000)
@example("]C1" + "99" * 3000)
@example("00" * 3544)
@example("²" * 18)
def test_no_text_at_all_raises(text):
    for prefix in ("", "]C1", "]E0", "]E4|]e0", "]d1", "(10)", "\x1d", "01" + GTIN):
        scan = gs1.read_scan(prefix + text)
        assert scan.kind in gs1.ScanKind
        assert (scan.kind == "unknown") <= (scan.problem is not None)
        assert (scan.kind == "number") <= (scan.number is not None)
        error = scan.refusal()
        assert error is None or str(error).encode(errors="strict")


@given(st.text("0123456789", min_size=17, max_size=17))
def test_every_sscc_is_a_number_bare_and_a_message_with_its_identifier(body):
    text = body + ean.calc_check_digit(body)  # python-stdnum
    assert gs1.read_scan(f"00{text}").elements == (("00", text),)
    assert gs1.read_scan(f"]C100{text}").elements == (("00", text),)
    bare = gs1.read_scan(text)
    assert bare.number == text
