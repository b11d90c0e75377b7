"""``docs/electronic-records.md`` answers every paragraph, by tests that are there."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from functools import cache

import pytest

from tests.trees import ROOT, Function, Module, modules

PAGE = (ROOT / "docs" / "electronic-records.md").read_text()
PARAGRAPHS = [
    *(f"11.10({letter})" for letter in "abcdefghijk"),
    "11.50",
    "11.70",
    "11.100",
    "11.200",
    "11.300",
]
ROWS = [
    [cell.strip() for cell in line.strip("|").split("|")]
    for line in PAGE.splitlines()
    if line.startswith("| 11.")
]
NAMED = sorted(
    {name for row in ROWS for name in re.findall(r"`(tests/[^`]+)`", row[3])}
)
NO_TEST = re.compile(r"The workshop's own duty: \w")


PASSED_OVER = re.compile(r"\bpytest\.(mark\.)?(skip|skipif|xfail|importorskip)\b")
"""What marks a test, or ends it, as one that need not hold."""


def marks(module: Module) -> Iterator[str]:
    """Names that a module gives to marks by which tests are passed over."""
    for node in module.tree.body:
        if isinstance(node, ast.Assign) and PASSED_OVER.search(ast.unparse(node.value)):
            yield ast.unparse(node.targets[0])


def held_to(module: Module, names: set[str]) -> Iterator[str]:
    """Every test of a module as pytest names it, but those that may be passed over."""
    if "pytestmark" in marks(module):
        return
    lines = module.text.splitlines()
    for node in module.tree.body:
        inner, above = [node], module.path
        if isinstance(node, ast.ClassDef):
            inner, above = node.body, f"{module.path}::{node.name}"
        for each in inner:
            if not isinstance(each, Function):
                continue
            first = min(at.lineno for at in (each, *each.decorator_list))
            if PASSED_OVER.search("\n".join(lines[first - 1 : each.end_lineno])):
                continue
            if names.isdisjoint(map(ast.unparse, each.decorator_list)):
                yield f"{above}::{each.name}"


@cache
def all_held_to() -> set[str]:
    found = modules("tests")
    names = {name for module in found for name in marks(module)}
    return {name for module in found for name in held_to(module, names)}


def test_every_paragraph_has_one_row() -> None:
    assert [row[0] for row in ROWS] == PARAGRAPHS


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row[0])
def test_a_row_is_whole_and_names_a_test_or_says_whose_it_is(row: list[str]) -> None:
    assert len(row) == 4
    assert all(row)
    assert "Not yet" not in row[2]
    left = re.sub(r"`tests/\w+(/\w+)*\.py(::\w+)?::test_\w+`", "", row[3]).strip()
    assert NO_TEST.match(left) if left == row[3] else left == ""


@pytest.mark.parametrize("name", NAMED)
def test_each_test_that_it_names_is_there_and_not_passed_over(name: str) -> None:
    assert name in all_held_to()
