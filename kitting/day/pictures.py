"""The picture of the day: pieces of each part by stage, as bars on one scale."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from kitting.day.queries.pieces import SHOWN, PartLine
from kitting.domain.axis import axis_to

WIDTH = 640
EDGE = 2
ROW_HEIGHT = 68
AXIS = 32


@dataclass(frozen=True)
class Segment:
    """A stretch of a bar: one stage of one part."""

    stage: str
    x: float
    width: float
    pieces: int


@dataclass(frozen=True)
class Bar:
    """One part."""

    name: str
    code: str
    y: int
    total: int
    segments: list[Segment]


@dataclass(frozen=True)
class Tick:
    """A line of the scale."""

    x: float
    pieces: int


@dataclass(frozen=True)
class Picture:
    """Everything that the template draws, in its own units."""

    width: int
    height: int
    foot: int
    """Where the bars end and the scale begins."""
    bars: list[Bar]
    ticks: list[Tick]


def picture_of(lines: Sequence[PartLine]) -> Picture | None:
    """Lay the bars out; None where there is nothing to draw."""
    most = max((line.total for line in lines), default=0)
    if not most:
        return None
    step = axis_to(most).step
    scale = (WIDTH - 2 * EDGE) / most
    foot = ROW_HEIGHT * len(lines)
    return Picture(
        width=WIDTH,
        height=foot + AXIS,
        foot=foot,
        bars=[_bar(line, ROW_HEIGHT * at, scale) for at, line in enumerate(lines)],
        ticks=[
            Tick(round(EDGE + at * scale, 1), at) for at in range(0, most + 1, step)
        ],
    )


def _bar(line: PartLine, y: int, scale: float) -> Bar:
    x = float(EDGE)
    segments = []
    for stage, pieces in zip(SHOWN, line.stages, strict=True):
        if pieces:
            width = pieces * scale
            segments.append(Segment(stage, round(x, 1), round(width, 1), pieces))
            x += width
    return Bar(line.part.name, line.part.code, y, line.total, segments)
