"""The table of Application Identifiers against the dictionary it was made from."""

from __future__ import annotations

import json
import re

import pytest

from kitting.domain import gs1_table
from kitting.domain.gs1 import catalogue
from kitting.domain.gs1.rules import NOT_APPLIED, RULES
from tests.kitting.domain.gs1_vectors import DATA, DICTIONARY


def row_of(line: str) -> str:
    """Make the table's row from one line of the dictionary."""
    entry, _, title = line.partition("#")
    ai, *words = entry.split()
    flags = words.pop(0) if set(words[0]) <= {"*", "?"} else ""
    fields = [word for word in words if re.match(r"\[?[NXYZ](\.\.)?\d", word)]
    pairing = [word for word in words if word.startswith(("req=", "ex="))]
    columns = [
        ai,
        "*" if "*" in flags else "-",
        " ".join(fields),
        " ".join(pairing) or "-",
        title.strip() or "-",
    ]
    return " | ".join(columns)


def test_the_table_is_the_dictionary_line_by_line():
    lines = DICTIONARY.read_text(encoding="utf-8").splitlines()
    wanted = [row_of(line) for line in lines if line and not line.startswith("#")]
    assert gs1_table.ROWS.splitlines() == wanted
    assert f"# Release: {gs1_table.RELEASE}" in lines


def test_the_dictionary_has_541_identifiers():
    # Count from the dictionary with its ranges expanded (tests/data/gs1/SOURCE.txt).
    assert len(catalogue.IDENTIFIERS) == 541


def test_the_first_two_digits_tell_the_length_of_the_identifier():
    # GS1 Barcode Syntax Engine, unit tests of ai.c; its list has no AI 03 yet, which
    # the dictionary has.
    path = DATA / "gs1" / "ai-length-by-two-digit-prefix.json"
    lengths = json.loads(path.read_text(encoding="utf-8"))
    found = dict(catalogue.AI_DIGITS)
    assert found == {**lengths, "03": 2}


def test_identifiers_of_pre_defined_length_have_one():
    starts = {"00", "01", "02", "03", "11", "12", "13", "15", "16", "17", "20"}
    starts |= {"31", "32", "33", "34", "35", "36", "41"}
    # GS1 General Specifications, 7.8.5 (the dictionary lists no AI for 04, 14, 18, 19).
    found = {ai[:2] for ai, known in catalogue.IDENTIFIERS.items() if known.predefined}
    assert found == starts
    for known in catalogue.IDENTIFIERS.values():
        if known.predefined:
            assert sum(part.low for part in known.components) == known.longest


def test_every_rule_of_the_dictionary_is_applied_or_listed_as_not():
    named = {
        rule
        for known in catalogue.IDENTIFIERS.values()
        for part in known.components
        for rule in part.rules
    }
    assert named - set(RULES) == NOT_APPLIED
    assert len(NOT_APPLIED) == 3


def test_a_component_that_is_none_is_a_mistake_of_the_table():
    with pytest.raises(ValueError, match="Q14"):
        catalogue.component("Q14")


@pytest.mark.parametrize(
    ("ai", "title"),
    [("00", "SSCC"), ("10", "BATCH/LOT"), ("8110", ""), ("95", "INTERNAL")],
)
def test_identifiers_carry_their_title(ai, title):
    assert catalogue.IDENTIFIERS[ai].title == title
