"""``docs/electronic-records.md`` answers every paragraph, by tests that are there."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator

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
NO_TEST = re.compile(r"(The workshop's own duty|Not yet): \w")


def passed_over(node: ast.AST) -> bool:
    """Tell whether a test is marked, or ends itself, as one that need not hold."""
    text = ast.unparse(node)
    return bool(
        re.search(r"\bpytest\.(mark\.)?(skip|skipif|xfail|importorskip)\b", text)
    )


def marks(module: Module) -> Iterator[str]:
    """Names that a module gives to marks by which tests are passed over."""
    for node in module.tree.body:
        if isinstance(node, ast.Assign) and passed_over(node.value):
            yield ast.unparse(node.targets[0])


def held_to(module: Module) -> Iterator[str]:
    """Every test of a module as pytest names it, but those that may be passed over."""
    if "pytestmark" in marks(module):
        return
    for node in module.tree.body:
        inner, above = [node], module.path
        if isinstance(node, ast.ClassDef):
            inner, above = node.body, f"{module.path}::{node.name}"
        for each in inner:
            if not isinstance(each, Function) or passed_over(each):
                continue
            if MARKS.isdisjoint(map(ast.unparse, each.decorator_list)):
                yield f"{above}::{each.name}"


MARKS = {name for module in modules("tests") for name in marks(module)}
HELD_TO = {name for module in modules("tests") for name in held_to(module)}


def test_every_paragraph_has_one_row() -> None:
    assert [row[0] for row in ROWS] == PARAGRAPHS


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row[0])
def test_a_row_is_whole_and_names_a_test_or_says_whose_it_is(row: list[str]) -> None:
    assert len(row) == 4
    assert all(row)
    left = re.sub(r"`tests/\w+(/\w+)*\.py(::\w+)?::test_\w+`", "", row[3]).strip()
    assert NO_TEST.match(left) if left == row[3] else left == ""


@pytest.mark.parametrize("name", NAMED)
def test_each_test_that_it_names_is_there_and_not_passed_over(name: str) -> None:
    assert name in HELD_TO
