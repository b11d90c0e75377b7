"""Tests that cannot fail, found by reading them; ruff's stable rules find none of these."""

from __future__ import annotations

import ast
from collections.abc import Iterator

import pytest

from tests.trees import Function, Module, called_name, modules

QUERY_COUNTERS = {
    "assertNumQueries",
    "django_assert_max_num_queries",
    "django_assert_num_queries",
}
EXPECTATIONS = {"raises", "warns", "deprecated_call", *QUERY_COUNTERS}
NEED_REASON = {"skip", "skipif", "xfail", "importorskip"}


def bare_counters(module: Module) -> Iterator[str]:
    """A query counter that is no ``with`` block builds an object and asserts nothing."""
    for node in module.nodes:
        if not isinstance(node, ast.Expr) or not isinstance(node.value, ast.Call):
            continue
        if called_name(node.value) in EXPECTATIONS and len(node.value.args) < 2:
            yield f"{module.path}:{node.lineno} counts nothing"


def without_assertion(module: Module) -> Iterator[str]:
    for function in module.functions():
        if function.name.startswith("test_") and not _asserts(function):
            yield f"{module.path}:{function.lineno} {function.name} asserts nothing"


def without_reason(module: Module) -> Iterator[str]:
    """A skip names its reason, so that the list of skips at the end can be read."""
    for call in module.calls():
        target = call.func
        if called_name(call) not in NEED_REASON or not isinstance(
            target, ast.Attribute
        ):
            continue
        if "pytest" not in ast.dump(target.value):
            continue
        named = any(keyword.arg == "reason" for keyword in call.keywords)
        first = called_name(call) == "skip" and bool(call.args)
        if not named and not first:
            yield f"{module.path}:{call.lineno} skips without a reason"
    for node in module.nodes:
        if isinstance(node, Function):
            for decorator in node.decorator_list:
                if (
                    isinstance(decorator, ast.Attribute)
                    and decorator.attr in NEED_REASON
                ):
                    yield f"{module.path}:{decorator.lineno} skips without a reason"


def constant_assertions(module: Module) -> Iterator[str]:
    for node in module.nodes:
        if isinstance(node, ast.Assert) and isinstance(
            node.test, ast.Constant | ast.Tuple | ast.JoinedStr | ast.Lambda
        ):
            yield f"{module.path}:{node.lineno} asserts a constant"


def doubled_names(module: Module) -> Iterator[str]:
    """A second test of one name silently replaces the first."""
    seen: set[str] = set()
    for node in module.tree.body:
        if isinstance(node, Function) and node.name.startswith("test_"):
            if node.name in seen:
                yield f"{module.path}:{node.lineno} {node.name} is there twice"
            seen.add(node.name)


def without_smoke(module: Module) -> Iterator[str]:
    """Of each page one success and one refusal run on PostgreSQL as well."""
    pages = ".test_" in module.name and module.name.endswith(("_page", "_pages"))
    marks = module.text.count("pytest.mark.smoke")
    if pages and "pytest.mark.django_db" in module.text and marks < 2:
        yield f"{module.path} marks no success and refusal as smoke"


def _asserts(function: Function) -> bool:
    for node in ast.walk(function):
        if isinstance(node, ast.Assert):
            return True
        if isinstance(node, ast.Call):
            name = called_name(node)
            # ``expect(locator).to_…`` is the browser's own assertion.
            if name in EXPECTATIONS or name.startswith(("assert_", "to_", "not_to_")):
                return True
    return False


RULES = [
    bare_counters,
    constant_assertions,
    doubled_names,
    without_assertion,
    without_reason,
    without_smoke,
]
TOOTHLESS = [
    (bare_counters, "def test_a(c):\n c(1)\n django_assert_num_queries(3)\n"),
    (bare_counters, "def test_a():\n pytest.raises(ValueError)\n"),
    (constant_assertions, "def test_a():\n assert True\n"),
    (constant_assertions, "def test_a():\n assert (x == 1, 'no')\n"),
    (doubled_names, "def test_a():\n assert x\ndef test_a():\n assert y\n"),
    (without_assertion, "def test_a(client):\n client.get('/')\n"),
    (without_reason, "@pytest.mark.skipif(True)\ndef test_a():\n assert x\n"),
    (without_reason, "@pytest.mark.skip\ndef test_a():\n assert x\n"),
    (without_smoke, "pytestmark = pytest.mark.django_db\n@pytest.mark.smoke\nx()\n"),
]
BITING = """
def test_a(django_assert_num_queries):
    with django_assert_num_queries(3):
        act()

def test_b():
    with pytest.raises(ValueError):
        act()

def test_c(response):
    assert_problem(response, "code")

@pytest.mark.skipif(SQLITE, reason="SQLite has no row locks")
def test_d(page):
    expect(page).to_have_title("Lots")
"""


def test_every_test_bites(subtests: pytest.Subtests) -> None:
    found = modules("tests")
    assert len(found) > 100
    for rule in RULES:
        with subtests.test(rule.__name__):
            assert [fault for module in found for fault in rule(module)] == []


@pytest.mark.parametrize(("rule", "text"), TOOTHLESS)
def test_a_toothless_test_is_found(rule, text: str) -> None:
    assert len(list(rule(Module("tests.test_bad_page", "bad.py", text)))) == 1


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.__name__)
def test_a_biting_test_is_left_alone(rule) -> None:
    assert list(rule(Module("tests.good", "good.py", BITING))) == []
