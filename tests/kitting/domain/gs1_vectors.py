"""The published GS1 vectors; where they come from stands in tests/data/gs1."""

from __future__ import annotations

import json
from collections.abc import Iterable
from pathlib import Path
from typing import Any

DATA = Path(__file__).parents[2] / "data"
DICTIONARY = DATA / "gs1" / "gs1-syntax-dictionary.txt"


def vectors(name: str) -> list[dict[str, Any]]:
    """Load one file of vectors; the engine's ``^`` stands for FNC1."""
    rows: list[dict[str, Any]] = json.loads(
        (DATA / "gs1" / f"{name}.json").read_text(encoding="utf-8")
    )
    return rows


def bracketed(elements: Iterable[tuple[str, str]]) -> str:
    """Elements as people read them: AIs in brackets, a bracket in a value escaped."""
    return "".join(f"({ai})" + value.replace("(", r"\(") for ai, value in elements)


def worked(name: str) -> Any:
    return json.loads((DATA / "worked-examples" / name).read_text(encoding="utf-8"))
