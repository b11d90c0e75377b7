"""The project's modules as syntax trees, for the tests that read the code itself."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache, cached_property
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
PACKAGES = ("lotward", "kitting", "dispatch")

Function = ast.FunctionDef | ast.AsyncFunctionDef


@dataclass(frozen=True)
class Module:
    """One file of the project, by its dotted name and its text."""

    name: str
    path: str
    text: str

    @cached_property
    def tree(self) -> ast.Module:
        return ast.parse(self.text, self.path)

    @cached_property
    def nodes(self) -> list[ast.AST]:
        """Every node of the tree; many rules walk through it."""
        return list(ast.walk(self.tree))

    @property
    def package(self) -> str:
        return self.name.split(".", maxsplit=1)[0]

    def is_within(self, room: str) -> bool:
        """Tell whether the module is ``room`` or lies in it."""
        return self.name == room or self.name.startswith(f"{room}.")

    def functions(self) -> Iterator[Function]:
        for node in self.nodes:
            if isinstance(node, Function):
                yield node

    def calls(self) -> Iterator[ast.Call]:
        for node in self.nodes:
            if isinstance(node, ast.Call):
                yield node

    def imports(self, *, typing: bool = True) -> Iterator[tuple[str, int]]:
        """Give each imported dotted name, with the name out of ``from`` appended.

        Without ``typing``, those that only types need are left out.
        """
        for node in self.nodes if typing else _needed(self.tree):
            if isinstance(node, ast.Import):
                for alias in node.names:
                    yield alias.name, node.lineno
            elif isinstance(node, ast.ImportFrom):
                for alias in node.names:
                    yield f"{node.module}.{alias.name}", node.lineno


def _needed(tree: ast.AST) -> Iterator[ast.AST]:
    """Walk through a tree, leaving out blocks for type checkers."""
    for node in ast.iter_child_nodes(tree):
        if not (
            isinstance(node, ast.If)
            and isinstance(node.test, ast.Name)
            and node.test.id == "TYPE_CHECKING"
        ):
            yield node
            yield from _needed(node)


def modules(*folders: str) -> list[Module]:
    """Read every module below ``folders``, migrations left out."""
    return list(_modules(folders))


@cache
def _modules(folders: tuple[str, ...]) -> tuple[Module, ...]:
    found = []
    for folder in folders:
        for path in sorted((ROOT / folder).rglob("*.py")):
            place = path.relative_to(ROOT)
            if "migrations" in place.parts:
                continue
            dotted = ".".join(place.with_suffix("").parts).removesuffix(".__init__")
            found.append(Module(dotted, str(place), path.read_text("utf-8")))
    return tuple(found)


def calls(tree: ast.AST) -> Iterator[ast.Call]:
    for node in ast.walk(tree):
        if isinstance(node, ast.Call):
            yield node


def called_name(call: ast.Call) -> str:
    """Return the last part of what is called: ``raises`` for ``pytest.raises(…)``."""
    target = call.func
    if isinstance(target, ast.Attribute):
        return target.attr
    return target.id if isinstance(target, ast.Name) else ""
