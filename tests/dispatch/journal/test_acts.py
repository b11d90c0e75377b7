"""Every act that any service does has words of its own."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from importlib import import_module
from typing import Any

from dispatch.journal.acts import ACTS, said
from tests.trees import PACKAGES, Module, modules


def names_in(module: Module) -> Iterator[str]:
    """Names of the acts that a module does, as ``perform`` is told them."""
    for node in ast.walk(module.tree):
        if (
            isinstance(node, ast.Call)
            and ast.unparse(node.func).split(".")[-1] == "perform"
        ):
            found: Any = import_module(module.name)
            if isinstance(node.args[0], ast.Constant):
                yield node.args[0].value
                continue
            for part in ast.unparse(node.args[0]).split("."):
                found = getattr(found, part)
            yield found


def test_every_act_has_words_and_no_words_are_left_over() -> None:
    done = {name for module in modules(*PACKAGES) for name in names_in(module)}
    assert len(done) > 70
    assert done == set(ACTS)


def test_the_words_are_in_the_order_of_their_names_and_each_its_own() -> None:
    assert list(ACTS) == sorted(ACTS)
    assert len({str(words) for words in ACTS.values()}) == len(ACTS)


def test_an_act_without_words_shows_its_name() -> None:
    assert said("close_box") == "Box closed"
    assert said("made_up") == "made up"
