"""Every refusal in the code has a sentence, and every sentence gets its values."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from importlib import import_module

import pytest

from kitting.domain import errors
from kitting.domain.errors import LotwardError
from kitting.web.messages import ALL, sentence
from tests.trees import called_name, calls, modules

MODULES = [
    import_module(module.name)
    for module in modules("kitting", "dispatch", "lotward")
    if module.name.endswith(".words")
]
# What carries a code without being an error yet, somewhere behind line and column.
# Line, column and value are added when it becomes one.
CARRIERS = {"Problem", "fault"}
CODE = re.compile(r"[a-z]+(?:_[a-z0-9]+)+")
PLACEHOLDER = re.compile(r"%\((\w+)\)")
CLASSES = {
    name
    for name, value in vars(errors).items()
    if isinstance(value, type) and issubclass(value, LotwardError)
}


@dataclass(frozen=True)
class Raised:
    """One place where an error is made with its code written out."""

    place: str
    code: str
    values: frozenset[str]
    open_ended: bool
    """More values come from a mapping that reading the code does not show."""


def _texts(node: ast.expr) -> Iterator[str]:
    """Give the texts that an expression may be: one written out, or a choice of two."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str) and node.value:
        yield node.value
    elif isinstance(node, ast.IfExp):
        yield from _texts(node.body)
        yield from _texts(node.orelse)


def _codes(call: ast.Call, function: ast.AST) -> Iterator[str]:
    name = called_name(call)
    if name in CARRIERS:
        found = [text for node in call.args[2:] for text in _texts(node)]
        yield from filter(CODE.fullmatch, found)
    if name not in CLASSES or not call.args:
        return
    code = call.args[0]
    yield from _texts(code)
    if isinstance(code, ast.Name):
        for node in ast.walk(function):
            if isinstance(node, ast.Assign) and ast.unparse(node.targets[0]) == code.id:
                yield from _texts(node.value)


def _carried(call: ast.Call) -> Iterator[str]:
    for argument in call.args[-1:]:
        if isinstance(argument, ast.Dict):
            for name in argument.keys:
                if isinstance(name, ast.Constant):
                    yield str(name.value)


def _raised() -> Iterator[Raised]:
    for module in modules("kitting", "dispatch", "lotward"):
        for function in module.functions():
            for call in calls(function):
                names = [keyword.arg for keyword in call.keywords]
                if called_name(call) in CARRIERS:
                    names += ["line", "column", "value", *_carried(call)]
                for code in _codes(call, function):
                    yield Raised(
                        f"{module.path}:{call.lineno}",
                        code,
                        frozenset(name for name in names if name),
                        None in names,
                    )


@cache
def raised() -> list[Raised]:
    return list(_raised())


def test_every_code_in_the_project_has_a_sentence() -> None:
    assert raised()
    missing = {r.code: r.place for r in raised() if r.code not in ALL}
    assert missing == {}


def test_every_sentence_gets_the_values_that_it_names() -> None:
    short = []
    for one in raised():
        named = set(PLACEHOLDER.findall(str(ALL.get(one.code, ""))))
        if not one.open_ended and named - one.values:
            short.append((one.place, one.code, sorted(named - one.values)))
    assert short == []


@pytest.mark.parametrize("module", MODULES, ids=lambda m: m.__name__)
def test_codes_are_in_alphabetical_order(module) -> None:
    assert list(module.SENTENCES) == sorted(module.SENTENCES)


def test_no_code_has_two_sentences() -> None:
    assert len(ALL) == sum(len(module.SENTENCES) for module in MODULES)


def test_a_sentence_is_whole_and_its_placeholders_are_named() -> None:
    assert [code for code in ALL if not re.fullmatch(r"[a-z][a-z0-9_]*", code)] == []
    texts = list(map(str, ALL.values()))
    begun = ("%(", "(%(", "“%(")
    assert [of for of in texts if not (of[0].isupper() or of.startswith(begun))] == []
    assert [of for of in texts if not of.endswith((".", "?"))] == []
    bare = {of: PLACEHOLDER.sub("", of).replace("%%", "") for of in texts}
    assert [of for of, left in bare.items() if "%" in left] == []
    assert len(texts) > 700


def test_values_stand_in_the_sentence(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(ALL, "short", "Bag %(bag)s holds %(left)s pieces.")
    said = sentence(LotwardError("short", bag="B-7", left=3))
    assert said == "Bag B-7 holds 3 pieces."


@pytest.mark.parametrize(
    "error", [LotwardError("never_heard_of"), LotwardError("short")]
)
def test_a_code_without_a_sentence_or_value_is_still_named(
    error: LotwardError, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(ALL, "short", "Bag %(bag)s holds %(left)s pieces.")
    said = sentence(error)
    assert f"({error.code})" in said
    assert said.endswith(".")


def test_a_scan_of_any_length_and_content_stands_in_its_sentence() -> None:
    said = sentence(LotwardError("scan_no_number", value="\x1d\x00" + "ψ" * 10_000))
    assert said.startswith("“��ψψψ")
    assert len(said) < 250
