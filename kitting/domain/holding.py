"""Heat and liquid: how long a logged value stayed above its minimum without a break.

Between two samples nobody looked. A hold therefore begins at the first sample that is
surely high enough, not before it, and ends at the last one before a sample that is
not: what lies between a good and a bad sample counts for nothing. A gap in the log
that is longer than allowed breaks a hold as a low value does.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from itertools import pairwise
from typing import Final

from kitting.domain import margins
from kitting.domain.errors import CodeError, Refused
from kitting.domain.shown import shown

MOST_SAMPLES: Final = 5_000
"""Samples in one pasted column: more than a day at one every 20 s."""
_LINE: Final = re.compile(
    r"(?:(?P<day>[0-9]{4}-[0-9]{2}-[0-9]{2})[T \t;]+)?"
    r"(?P<time>[0-9]{1,2}:[0-9]{2}(?::[0-9]{2})?)"
    r"[ \t;]+(?P<value>\S+)"
)


@dataclass(frozen=True, slots=True)
class Sample:
    """One logged value."""

    at: datetime
    value: int


@dataclass(frozen=True, slots=True)
class Hold:
    """The longest unbroken hold of a log."""

    seconds: int
    """Whole seconds that have passed; 0 where no two samples in a row were enough."""
    since: datetime | None = None
    until: datetime | None = None
    lowest: int | None = None
    """Lowest value of the log as it was read; None for an empty one."""


@dataclass(frozen=True, slots=True)
class Needed:
    """What a log is held against."""

    min_value: int
    """Least value, above 0, in the unit of the samples."""
    rel_u_ppm: int = 0
    """Relative expanded uncertainty (k = 2) of the thermometer or strip in ppm."""
    max_gap_s: int | None = None
    """Longest time between two samples of one hold; None where the value can only
    fall, so that two good samples vouch for what lies between them."""


def longest_hold(
    samples: Iterable[Sample],
    needed: Needed,
    *,
    since: datetime | None = None,
    until: datetime | None = None,
) -> Hold:
    """Find the longest time without a break at or above a minimum.

    Args:
        samples: The log in any order; may be empty.
        needed: Minimum, uncertainty and longest gap.
        since: Samples before it are left out, as when a bag went on later.
        until: Samples after it are left out, as when a bag came off.

    Returns:
        The longest hold; the first of several that are equally long.

    Raises:
        Refused: ``value_twice`` if two samples are of one moment,
            ``hold_needs_a_minimum`` if there is none, or
            ``uncertainty_out_of_range``.
    """
    if needed.min_value < 1:
        raise Refused("hold_needs_a_minimum", value=needed.min_value)
    margin = margins.margin_ppm(needed.rel_u_ppm)
    ordered = sorted(samples, key=lambda sample: sample.at)
    _refuse_twice(ordered)
    inside = [
        sample
        for sample in ordered
        if (since is None or sample.at >= since)
        and (until is None or sample.at <= until)
    ]
    best = Hold(0, lowest=min((sample.value for sample in inside), default=None))
    start: datetime | None = None
    last: datetime | None = None
    for sample in inside:
        # Held against the exact product: 70.000 °C less 1 % is 69.300 °C.
        if sample.value * (margins.MILLION - margin) < needed.min_value * 1_000_000:
            start = last = None
            continue
        if start is None or last is None or _too_far(last, sample.at, needed.max_gap_s):
            start = sample.at
        last = sample.at
        seconds = (last - start) // timedelta(seconds=1)
        if seconds > best.seconds:
            best = Hold(seconds, start, last, best.lowest)
    return best


def _refuse_twice(ordered: list[Sample]) -> None:
    for before, after in pairwise(ordered):
        if before.at == after.at:
            raise Refused("value_twice", at=after.at.isoformat(sep=" "))


def _too_far(last: datetime, at: datetime, max_gap_s: int | None) -> bool:
    return max_gap_s is not None and at - last > timedelta(seconds=max_gap_s)


@dataclass(frozen=True, slots=True)
class Line:
    """One line of a pasted column: the workshop's own time, and the figure as text."""

    at: datetime
    """Without a time zone."""
    figure: str


def read_column(text: str, *, opened: datetime) -> list[Line]:
    r"""Read a pasted column: on each line a time and a value.

    ``14:05 71,5``, ``14:05:30<tab>71.5`` and ``2026-01-14 14:05; 71.5`` are read. A
    time without a day is the first such time after the run was opened.

    Args:
        text: Lines; empty ones are passed over.
        opened: When the run was opened, in the workshop's own time, without a zone.

    Returns:
        Lines in the order of the text.

    Raises:
        CodeError: ``values_missing``, ``value_line_unreadable`` with the line's
            number, or ``values_too_many``.

    >>> read_column("23:50 71\n0:10 72", opened=datetime(2026, 1, 14, 23, 40))[1].at
    datetime.datetime(2026, 1, 15, 0, 10)
    """
    lines: list[Line] = []
    for nth, line in enumerate(text.splitlines(), start=1):
        bare = line.strip()
        if not bare:
            continue
        if len(lines) == MOST_SAMPLES:
            raise CodeError("values_too_many", most=MOST_SAMPLES)
        found = _LINE.fullmatch(bare)
        try:
            if found is None:
                raise ValueError
            moment = _moment(found["day"], found["time"], opened)
        except (OverflowError, ValueError):
            raise CodeError(
                "value_line_unreadable", line=nth, read=shown(bare)
            ) from None
        lines.append(Line(moment, found["value"]))
    if not lines:
        raise CodeError("values_missing")
    return lines


def _moment(day: str | None, clock: str, opened: datetime) -> datetime:
    of_day = time.fromisoformat(clock.zfill(len("00:00") + 3 * (clock.count(":") - 1)))
    if day is not None:
        return datetime.combine(date.fromisoformat(day), of_day)
    moment = datetime.combine(opened.date(), of_day)
    # A log shows no seconds: 14:05 is of the run that was opened at 14:05:20.
    slack = timedelta(minutes=1)
    return moment if moment + slack > opened else moment + timedelta(days=1)
