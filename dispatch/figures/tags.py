"""Pictures of a period: SVG with classes only, each for the eye beside its table.

A reader of the screen is told the tables alone, so the pictures are hidden from it. What
they show differs in shape as well: a frame, hatching, a solid bar, a line.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from fractions import Fraction
from typing import Final

from django import template
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString, mark_safe

from dispatch.domain.figures import Day, Lasting, Share
from kitting.domain.axis import Axis, axis_to, with_room
from kitting.web.figures import pieces

register = template.Library()

LETTER: Final = 14
"""How wide a figure is at most, where a telephone sets it large."""
GAP: Final = 12

HIDDEN: Final = mark_safe('aria-hidden="true" focusable="false"')
HATCHED: Final = mark_safe(
    '<defs><pattern id="figures-lines" width="5" height="5" '
    'patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
    '<rect class="figures-ink" width="1.8" height="5"/></pattern></defs>'
)


def _labels(
    axis: Iterable[tuple[float, str]], y: int, css: str = "figures-label"
) -> SafeString:
    """Set labels below each other's middle, those that have room."""
    found = list(axis)
    widths = [len(text) * LETTER for _x, text in found]
    kept = with_room([x for x, _text in found], widths, GAP)
    return format_html_join(
        "",
        '<text class="{}" x="{}" y="{}" text-anchor="middle">{}</text>',
        ((css, found[at][0], y, found[at][1]) for at in kept),
    )


# -- By consignee ------------------------------------------------------------------------

BAR: Final = 360
INSET: Final = 44
"""Half of the longest label, so that the first and the last have room."""
ROW: Final = 36
LANES: Final = (("promised", 8), ("sent", 16), ("delivered", 24))
LANE: Final = 5


def _on_bar(axis: Axis, value: int) -> float:
    return INSET + axis.place(value, BAR - 2 * INSET)


@register.simple_tag
def share_axis(axis: Axis) -> SafeString:
    """Draw the scale on top of the bars: ``{% share_axis axis %}``."""
    numbers = [(_on_bar(axis, tick), pieces(tick)) for tick in axis.ticks]
    return format_html(
        '<svg class="share-axis" viewBox="0 0 {} 28" {}>{}{}{}</svg>',
        BAR,
        HIDDEN,
        HATCHED,
        _labels(numbers, 18),
        format_html_join(
            "", '<path class="figures-tick" d="M{} 22v6"/>', ((x,) for x, _t in numbers)
        ),
    )


@register.simple_tag
def share_bars(share: Share, axis: Axis) -> SafeString:
    """Draw what a consignee asked for, as a frame, and in it what it got."""
    start = _on_bar(axis, 0)
    lanes = [
        (name, start, y, round(_on_bar(axis, value) - start, 1), LANE)
        for name, y in LANES
        if (value := getattr(share, name))
    ]
    if share.asked:
        width = round(_on_bar(axis, share.asked) - start, 1)
        lanes.insert(0, ("asked", start, 5, width, 26))
    return format_html(
        '<svg class="share-bars" viewBox="0 0 {} {}" {}>{}{}</svg>',
        BAR,
        ROW,
        HIDDEN,
        format_html_join(
            "",
            '<path class="figures-tick" d="M{} 0v{}"/>',
            ((_on_bar(axis, tick), ROW) for tick in axis.ticks),
        ),
        format_html_join(
            "",
            '<rect class="figures-{}" x="{}" y="{}" width="{}" height="{}"/>',
            lanes,
        ),
    )


@register.simple_tag
def swatch(name: str, css: str = "swatch") -> SafeString:
    """Draw how something is shown, for the head of its column or row."""
    shape = (
        '<path class="figures-plan" d="M1 8h14"/>'
        if name == "planned"
        else f'<rect class="figures-{name}" x="1" y="3" width="14" height="10"/>'
    )
    return format_html(
        '<svg class="{}" viewBox="0 0 16 16" {}>{}</svg>',
        css,
        HIDDEN,
        mark_safe(shape),  # noqa: S308 -- names of our own templates
    )


# -- By day ------------------------------------------------------------------------------

WIDTH, LEFT, RIGHT, TOP, FLOOR, FOOT = 720, 84, 40, 20, 332, 368


@register.simple_tag
def days_picture(days: Sequence[Day]) -> SafeString:
    """Draw each day: packed beside sent, and the plan as a line across what is packed."""
    axis = axis_to(max(max(x.packed, x.planned or 0, x.sent) for x in days))
    slot = Fraction(WIDTH - LEFT - RIGHT, len(days))

    def y(value: int) -> float:
        return round(FLOOR - axis.place(value, FLOOR - TOP), 1)

    bars, plans, labels = [], [], []
    for at, each in enumerate(days):
        x, width = LEFT + at * slot, slot * 3 / 10
        for nth, name in enumerate(("packed", "sent"), start=0):
            if value := getattr(each, name):
                left = x + slot * 2 / 10 + nth * width
                bars.append((name, _r(left), y(value), _r(width), round(FLOOR - y(value), 1)))  # fmt: skip
        if each.planned is not None:
            plans.append((_r(x + slot / 10), y(each.planned), _r(slot / 2)))
        labels.append((_r(x + slot / 2), f"{each.day:%m-%d}"))
    return format_html(
        '<svg class="days-picture" viewBox="0 0 {} {}" {}>{}{}{}{}</svg>',
        WIDTH,
        FOOT,
        HIDDEN,
        format_html_join(
            "",
            '<path class="figures-tick" d="M{0} {1}H{2}"/>'
            '<text class="figures-label" x="{3}" y="{1}" dy=".35em" text-anchor="end">{4}</text>',
            ((LEFT, y(tick), WIDTH, LEFT - 10, pieces(tick)) for tick in axis.ticks),
        ),
        format_html_join(
            "",
            '<rect class="figures-{}" x="{}" y="{}" width="{}" height="{}"/>',
            bars,
        ),
        format_html_join("", '<path class="figures-plan" d="M{} {}h{}"/>', plans),
        _labels(labels, FOOT - 8),
    )


def _r(value: Fraction) -> float:
    return round(float(value), 1)


# -- How long it lasts -------------------------------------------------------------------

SIDE, BAND, DEEP = 80, 44, 40
"""Free at both ends; where the bar begins, and how high it is."""


@register.simple_tag
def lasting_picture(lasting: Lasting, days: str, sets: str) -> SafeString:
    """Draw what is there as one bar: sets below it, the days that they last above.

    Args:
        lasting: What is there.
        days: The word for the scale above.
        sets: The word for the one below.
    """
    axis = axis_to(lasting.there)
    length = WIDTH - 2 * SIDE

    def x(value: Fraction | int) -> float:
        return round(SIDE + axis.place(value, length), 1)

    above: list[tuple[float, str]] = []
    if lasting.a_day:
        reach = int(axis.top / lasting.a_day)
        above = [
            (x(day * lasting.a_day), pieces(day))
            for day in axis_to(reach).ticks
            if day <= reach
        ]
    below = [(x(tick), pieces(tick)) for tick in axis.ticks]
    end = BAND + DEEP
    return format_html(
        '<svg class="lasting-picture" viewBox="0 0 {} {}" {}>{}{}{}{}{}{}</svg>',
        WIDTH,
        end + 44,
        HIDDEN,
        format_html_join(
            "",
            '<path class="figures-tick" d="M{} {}v8"/>',
            [
                *((at, BAND - 12) for at, _t in above),
                *((at, end + 4) for at, _t in below),
            ],
        ),
        format_html(
            '<rect class="figures-ready" x="{}" y="{}" width="{}" height="{}"/>'
            '<rect class="figures-packable" x="{}" y="{}" width="{}" height="{}"/>',
            *(x(0), BAND, round(x(lasting.ready) - x(0), 1), DEEP),
            *(x(lasting.ready), BAND),
            *(round(x(lasting.there) - x(lasting.ready), 1), DEEP),
        ),
        _labels(above, 24),
        _labels(below, end + 34),
        format_html(
            '<text class="figures-label" x="0" y="24">{}</text>' if above else "{}",
            days if above else "",
        ),
        format_html(
            '<text class="figures-label" x="0" y="{}">{}</text>', end + 34, sets
        ),
    )
