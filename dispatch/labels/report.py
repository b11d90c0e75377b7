"""The report of a recall case: all that is on record of it, open or closed."""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass, fields, is_dataclass, replace
from typing import Any, Final, TypeVar, cast

from dispatch.labels.sheets import (
    BOLD,
    NOTE,
    SIDE,
    TEXT,
    TITLE,
    Around,
    Band,
    Column,
    Line,
    beside,
    head_band,
    press,
    table,
    text_band,
)
from kitting.domain.errors import NotFit
from kitting.labels.stock import Stock
from kitting.labels.text import printable


@dataclass(frozen=True)
class Table:
    """A table of the report, or what is said where it would be empty."""

    title: str
    columns: tuple[Column, ...]
    """Of the last one the width is what is left."""
    rows: tuple[Line, ...]
    empty: str
    note: str = ""
    """What is said above it."""


@dataclass(frozen=True)
class Report:
    """All that is said of a case, with every word."""

    title: str
    state: str
    """Whether it is closed."""
    hazard: str
    facts: tuple[tuple[str, tuple[str, ...]], ...]
    """Side by side."""
    tables: tuple[Table, ...]
    decisions: tuple[tuple[str, tuple[tuple[str, str], ...]], ...]
    """Of each closing when and by whom, and what was decided, by title."""
    running: str
    foot: str
    page: str
    mark: str | None = None


DECISIONS: Final = "Decisions"
NOT_DECIDED: Final = "None yet: the case is not closed."


def case_report(report: Report, on: Stock) -> bytes:
    """Draw the report of a case.

    Args:
        report: What it says.
        on: The paper.

    Returns:
        The document, as PDF.

    What cannot be printed stands as "?": a report is never refused for what somebody
    wrote.
    """
    wide = float(on.width_mm) - 2 * SIDE
    decisions = _decisions(report, wide)  # of several lines
    report = fitted(report)
    bands = [
        text_band(report.title, TITLE, wide, after=3.0),
        text_band(report.state, BOLD, wide),
        text_band(report.hazard, TEXT, wide, after=3.0),
        beside(report.facts, wide),
        *decisions,
    ]
    for each in report.tables:
        bands += _table(each, wide)
    around = Around(
        title=report.title,
        running=report.running,
        foot=report.foot,
        page=report.page,
        mark=report.mark,
    )
    return press(bands, around, on)


S = TypeVar("S")


def fitted(said: S) -> S:
    """Give what is said with "?" for each character that cannot be printed.

    Args:
        said: A text, or what holds texts.

    Returns:
        The same with texts that can be printed, each in one line.
    """
    found: Any = said
    if isinstance(said, str):
        found = _shown(unicodedata.normalize("NFC", " ".join(said.split())))
    elif isinstance(said, tuple | list):
        found = type(said)(fitted(each) for each in said)
    elif is_dataclass(said) and not isinstance(said, type):
        found = replace(
            said,
            **{each.name: fitted(getattr(said, each.name)) for each in fields(said)},
        )
    return cast("S", found)


def _shown(text: str) -> str:
    try:
        return printable(text, TEXT)
    except NotFit:
        return "".join(map(_shown, text)) if len(text) > 1 else "?"


def _decisions(report: Report, wide: float) -> list[Band]:
    bands = [head_band(DECISIONS, wide)]
    for when, said in report.decisions:
        bands.append(text_band(fitted(when), BOLD, wide, keep=True))
        for title, words in said:
            bands.append(text_band(title, NOTE, wide, after=0.5, keep=True))
            lines = words.splitlines() or [""]
            bands += [text_band(fitted(line), TEXT, wide, after=0.6) for line in lines]
    if not report.decisions:
        bands.append(text_band(NOT_DECIDED, TEXT, wide))
    return bands


def _table(each: Table, wide: float) -> list[Band]:
    bands = [head_band(each.title, wide)]
    if each.note:
        bands.append(text_band(each.note, NOTE, wide, keep=True))
    if not each.rows:
        return [*bands, text_band(each.empty, TEXT, wide)]
    *first, last = each.columns
    rest = wide - sum(column.wide for column in first)
    return [*bands, *table([*first, Column(last.title, rest, last.right)], each.rows)]
