"""What a printer says about itself and its jobs, read with a doubtful eye.

What is missing, of another kind or out of any range is left out, never believed.

References:
    RFC 8011 §5.3 (jobs) and §5.4 (printers); PWG 5101.1 §5 for self-describing names of
    media; PWG 5100.7 for ``media-col-database`` and ``media-size-supported``.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from kitting.ipp.message import Group, Range, Resolution, Tag, Value
from kitting.ipp.plain import plain

PDF = "application/pdf"
MOST_REASONS = 50
SAME_UM = 500
"""Two sizes are the same within half a millimetre: printers round to points."""

PRINTER_STATES = {3: "idle", 4: "processing", 5: "stopped"}
JOB_STATES = {
    3: "pending",
    4: "held",
    5: "processing",
    6: "stopped",
    7: "canceled",
    8: "aborted",
    9: "completed",
}
ENDED = frozenset({"canceled", "aborted", "completed"})
"""The states of a job in which nothing more happens to it (RFC 8011 §5.3.7)."""

_NAMED = re.compile(r"_(\d{1,6}(?:\.\d{1,6})?)x(\d{1,6}(?:\.\d{1,6})?)(mm|in)$")
_KEYWORD = re.compile(r"[a-z0-9][a-z0-9._-]{0,254}")
_ENDS = ("min", "max")
READY = ("media-col-ready", "media-ready")
ALL = ("media-col-database", "media-size-supported", "media-supported")


@dataclass(frozen=True)
class Media:
    """A label's stock as the printer is to feed it: across, then along the feed."""

    width_um: int
    height_um: int
    margins_um: tuple[int, int, int, int] | None = None
    """Top, right, bottom, left; none to leave them to the printer."""

    def __str__(self) -> str:
        return f"{millimetres(self.width_um)} × {millimetres(self.height_um)} mm"


@dataclass(frozen=True)
class PrinterFacts:
    """A printer's description and state, as it answered."""

    state: str
    """``idle``, ``processing``, ``stopped`` or ``unknown``."""
    reasons: tuple[str, ...]
    """Keywords of RFC 8011 §5.4.12; ``kitting.ipp.states`` says what they mean."""
    message: str
    accepting: bool
    formats: tuple[str, ...]
    """Media types of documents that it takes."""
    media: tuple[tuple[int, int], ...]
    """Sizes that it takes or holds, width and height in µm, without doubles."""
    ready: tuple[tuple[int, int], ...]
    """Those of them that are loaded, where it tells."""
    custom: tuple[tuple[tuple[int, int], tuple[int, int]], ...]
    """Sizes from … to … that it takes besides: widths and heights in µm."""
    resolutions: tuple[tuple[int, int], ...]
    """Dots per inch across and along the feed."""
    operations: frozenset[int]
    up_time: int | None
    """Seconds since it was started; by it a restart is noticed."""
    name: str
    model: str
    can_scale_none: bool
    """It says that it can print a document without scaling it."""
    scalings: tuple[str, ...]

    @property
    def takes_pdf(self) -> bool:
        """Whether labels can be sent as they are; with no list there is no telling."""
        return not self.formats or PDF in self.formats

    def takes(self, media: Media) -> bool:
        """Tell whether a size is among its own; with no list there is no telling."""
        if not self.media and not self.custom:
            return True
        wide, high = media.width_um, media.height_um
        return any(
            abs(wide - width) <= SAME_UM and abs(high - height) <= SAME_UM
            for width, height in self.media
        ) or any(
            low[0] <= wide <= up[0] and low[1] <= high <= up[1]
            for low, up in (((w[0], h[0]), (w[1], h[1])) for w, h in self.custom)
        )


@dataclass(frozen=True)
class JobFacts:
    """A print job as the printer knows it."""

    id: int
    state: str
    """A value of ``JOB_STATES``, or ``unknown``."""
    reasons: tuple[str, ...]
    message: str
    name: str = ""
    ended_at: int | None = None
    """When it ended, in seconds of the printer's own up time."""

    @property
    def ended(self) -> bool:
        """Whether nothing more will happen to it."""
        return self.state in ENDED


def millimetres(um: int) -> str:
    """Write µm as millimetres, without needless zeros."""
    whole, rest = divmod(um, 1000)
    return f"{whole}.{rest:03d}".rstrip("0").rstrip(".")


def sizes_of(facts: PrinterFacts, most: int = 4) -> str:
    """Write a printer's sizes in millimetres, those that are loaded first."""
    shown = [
        f"{millimetres(width)} × {millimetres(height)}"
        for width, height in dict.fromkeys((*facts.ready, *facts.media))
    ]
    shown += [
        f"{millimetres(wide[0])}–{millimetres(wide[1])}"
        f" × {millimetres(high[0])}–{millimetres(high[1])}"
        for wide, high in facts.custom
    ]
    more = " …" if len(shown) > most else ""
    return ", ".join(shown[:most]) + more if shown else "-"


# -- Single values ---------------------------------------------------------------------


def number(group: Group, name: str) -> int | None:
    """Return an attribute's first whole number, if it is one."""
    for value in group.values(name)[:1]:
        if value.tag in {Tag.INTEGER, Tag.ENUM} and isinstance(value.data, int):
            return value.data
    return None


def text(group: Group, name: str) -> str:
    """Return an attribute's first text, made fit to be shown; empty without one."""
    for value in group.values(name)[:1]:
        if isinstance(value.data, str):
            return plain(value.data)
    return ""


def keywords(group: Group, name: str) -> tuple[str, ...]:
    """Return what an attribute's values are in keywords; other values are left out."""
    found = [value.data for value in group.values(name)]
    kept = (one for one in found if isinstance(one, str) and _KEYWORD.fullmatch(one))
    return tuple(dict.fromkeys(kept))


# -- The printer -----------------------------------------------------------------------


def read_printer(group: Group) -> PrinterFacts:
    """Read the attributes of a printer."""
    accepting = group.values("printer-is-accepting-jobs")
    scalings = keywords(group, "print-scaling-supported")
    return PrinterFacts(
        state=PRINTER_STATES.get(number(group, "printer-state") or 0, "unknown"),
        reasons=_reasons(group, "printer-state-reasons"),
        message=text(group, "printer-state-message"),
        accepting=not accepting or accepting[0].data is not False,
        formats=tuple(_formats(group)),
        media=tuple(dict.fromkeys((*_sizes(group, READY), *_sizes(group, ALL)))),
        ready=tuple(dict.fromkeys(_sizes(group, READY))),
        custom=tuple(dict.fromkeys(_ranges(group))),
        resolutions=tuple(dict.fromkeys(_resolutions(group))),
        operations=frozenset(_numbers(group, "operations-supported")),
        up_time=_seconds(group, "printer-up-time"),
        name=text(group, "printer-name"),
        model=text(group, "printer-make-and-model"),
        can_scale_none="none" in scalings,
        scalings=scalings,
    )


def _reasons(group: Group, name: str) -> tuple[str, ...]:
    found = keywords(group, name)[:MOST_REASONS]
    return tuple(reason for reason in found if reason != "none")


def _formats(group: Group) -> Iterator[str]:
    for value in group.values("document-format-supported"):
        if isinstance(value.data, str):
            yield plain(value.data.partition(";")[0].lower(), 127)


def _seconds(group: Group, name: str) -> int | None:
    """Return a time that a printer counts; from 1 on (RFC 8011 §5.4.29)."""
    told = number(group, name)
    return told if told is not None and told >= 1 else None


def _numbers(group: Group, name: str) -> Iterator[int]:
    for value in group.values(name):
        if value.tag in {Tag.INTEGER, Tag.ENUM} and isinstance(value.data, int):
            yield value.data


def _resolutions(group: Group) -> Iterator[tuple[int, int]]:
    for value in group.values("printer-resolution-supported"):
        match value.data:
            case Resolution(cross, feed, 3) if cross > 0 and feed > 0:
                yield cross, feed
            case Resolution(cross, feed, 4) if cross > 0 and feed > 0:
                yield (cross * 254 + 50) // 100, (feed * 254 + 50) // 100


def _sizes(group: Group, where: tuple[str, ...]) -> Iterator[tuple[int, int]]:
    """Give each fixed size that the named attributes tell of."""
    for width, height in _dimensions(group, where):
        if (
            isinstance(width, int)
            and isinstance(height, int)
            and min(width, height) > 0
        ):
            yield width * 10, height * 10
    for name in where:
        for value in group.values(name):
            named = _named(value)
            if named is not None and named[0] is None:
                yield named[1]


def _ranges(
    group: Group,
) -> Iterator[tuple[tuple[int, int], tuple[int, int]]]:
    """Give each span of widths and heights, in µm."""
    for width, height in _dimensions(group, ALL):
        if isinstance(width, Range) or isinstance(height, Range):
            yield _span(width), _span(height)
    ends: dict[str, tuple[int, int]] = {}
    for value in group.values("media-supported"):
        named = _named(value)
        if named is not None and named[0] is not None:
            ends.setdefault(named[0], named[1])
    if len(ends) == len(_ENDS):
        low, high = ends["min"], ends["max"]
        yield (low[0], high[0]), (low[1], high[1])


def _span(side: int | Range) -> tuple[int, int]:
    if isinstance(side, int):
        return side * 10 - SAME_UM, side * 10 + SAME_UM
    return side.lower * 10, side.upper * 10


def _dimensions(
    group: Group, where: tuple[str, ...]
) -> Iterator[tuple[int | Range, int | Range]]:
    """Give the sides of each size, in hundredths of a millimetre."""
    for name in where:
        for value in group.values(name):
            yield from _sides(value)
            for size in _members(value, "media-size"):
                yield from _sides(size)


def _sides(size: Value) -> Iterator[tuple[int | Range, int | Range]]:
    sides = [
        value.data
        for name in ("x-dimension", "y-dimension")
        for value in _members(size, name)[:1]
    ]
    match sides:
        case [(int() | Range()) as width, (int() | Range()) as height]:
            yield width, height


def _members(value: Value, name: str) -> tuple[Value, ...]:
    if isinstance(value.data, tuple):
        return Group(0, value.data).values(name)
    return ()


def _named(value: Value) -> tuple[str | None, tuple[int, int]] | None:
    """Read a size out of a name such as ``om_label_100x150mm``.

    Returns:
        ``min`` or ``max`` for an end of a span and nothing for a size of its own, and
        width and height in µm; nothing at all for another name.
    """
    if not isinstance(value.data, str):
        return None
    found = _NAMED.search(value.data)
    if found is None:
        return None
    factor = 1000 if found[3] == "mm" else 25_400
    size = round(float(found[1]) * factor), round(float(found[2]) * factor)
    if min(size) <= 0:
        return None
    start = value.data.split("_")
    end = start[1] if start[0] in {"custom", "roll"} and start[1] in _ENDS else None
    return end, size


# -- Jobs ------------------------------------------------------------------------------


def read_job(group: Group) -> JobFacts | None:
    """Read the attributes of a job; nothing without a number above 0."""
    job_id = number(group, "job-id")
    if job_id is None or job_id < 1:
        return None
    return JobFacts(
        id=job_id,
        state=JOB_STATES.get(number(group, "job-state") or 0, "unknown"),
        reasons=_reasons(group, "job-state-reasons"),
        message=text(group, "job-state-message"),
        name=_name(group),
        ended_at=number(group, "time-at-completed"),
    )


def _name(group: Group) -> str:
    """Return a job's name as it is: it is compared, and shown nowhere."""
    for value in group.values("job-name")[:1]:
        if isinstance(value.data, str):
            return value.data
    return ""
