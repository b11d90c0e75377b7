"""Tags and filters of the disinfection pages: irradiance, dose, stay, the bar of a dose.

Figures are whole numbers of a small unit. What was entered is written out exactly; a
dose has the digits that its uncertainty lets count, see ``told``.
"""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal

from django import template
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext

from kitting.disinfection.queries.doses import Expected, in_mj, margin_of, told_mj
from kitting.disinfection.queries.runs import Point
from kitting.domain import exposure, margins
from kitting.domain.errors import Refused
from kitting.domain.figures import significant, told, written
from kitting.models import Dosimeter, Run, RunVerdict
from kitting.web.figures import seconds, spread, thousandth

register = template.Library()
register.filter(seconds)

WIDTH = 480
BAR = 14
CELL_WIDTH, CELL_HEIGHT = 96, 64
CELLS_A_ROW = 5
SHADES = 4
"""Steps of shade on the map, from the weakest of its points to the strongest."""


@register.filter
def at_most(value: int) -> str:
    """Write a computed figure as ``thousandth`` does: three digits, rounded down."""
    return spread(f"{significant(Decimal(value).scaleb(-3), 3):f}")


@register.filter
def at_least(value: int) -> str:
    """Write a computed figure as ``thousandth`` does: three digits, rounded up."""
    return spread(f"{significant(Decimal(value).scaleb(-3), 3, up=True):f}")


@register.filter
def percent(ppm: int) -> str:
    """Write parts per million as per cent."""
    return f"{spread(written(int(ppm), 10_000))} %"


@register.filter
def stay(uw_cm2: int | None) -> str:
    """Say how long a person may stay in an irradiance at 254 nm within 8 h."""
    if uw_cm2 is None:
        return ""
    if uw_cm2 == 0:
        return gettext("dark")
    try:
        longest = exposure.longest_stay_s(uw_cm2)
    except Refused:
        longest = 0  # It was typed, and the form beside it says that it is too high.
    if longest == 0:
        return gettext("less than one second")
    return gettext("at most %(time)s") % {"time": seconds(longest)}


@register.simple_tag
def measured_dose(run: Run, side: Expected | RunVerdict) -> str:
    """Tell the dose of a side in mJ/cm²."""
    return spread(f"{told_mj(run, side, side.dose_uj_cm2):f}")


@register.simple_tag
def lower_bound(run: Run, side: Expected | RunVerdict) -> str:
    """Tell the lower bound of the dose of a side in mJ/cm²."""
    return spread(f"{told_mj(run, side, side.low_uj_cm2):f}")


@register.filter
def dosimeter_dose(row: Dosimeter) -> str:
    """Tell the dose that a dosimeter showed, in mJ/cm²."""
    dose = in_mj(row.uj_cm2)
    return spread(f"{told(dose, dose * row.rel_u_ppm / margins.MILLION):f}")


@register.simple_tag
def dose_bar(run: Run, side: Expected | RunVerdict) -> SafeString:
    """Draw a dose: outline to what was measured, ink to its lower bound.

    A stroke stands at what is required; words beside say the same.
    """
    required, measured, low = (
        side.required_uj_cm2,
        side.dose_uj_cm2,
        side.low_uj_cm2,
    )
    top = max(required, measured, 1) * 11 // 10 + 1

    def x(value: int) -> int:
        return value * WIDTH // top

    words = gettext(
        "Required %(required)s, measured %(measured)s, lower bound %(low)s mJ/cm²"
    ) % {
        "required": thousandth(required),
        "measured": measured_dose(run, side),
        "low": lower_bound(run, side),
    }
    return format_html(
        '<svg class="dose-bar dose-{}" role="img" aria-label="{}" '
        'viewBox="-1 0 {} 34" focusable="false">'
        '<path class="dose-measured" d="M0 10h{}v{}H0z"/>'
        '<path class="dose-low" d="M0 10h{}v{}H0z"/>'
        '<path class="dose-required" d="M{} 2v30"/></svg>',
        "met" if low >= required else "short",
        words,
        WIDTH + 2,
        x(measured),
        BAR,
        x(low),
        BAR,
        x(required),
    )


@register.simple_tag
def left_out(run: Run, rel_u_ppm: int) -> str:
    """Say which share of a dose its lower bound leaves out, rounded up."""
    share = Decimal(margin_of(run, rel_u_ppm)).scaleb(-4)
    return f"{significant(share, 2, up=True).normalize():f} %"


@register.filter
def weakest(points: Iterable[Point], side: str) -> Point | None:
    """Give the point of a side with the lowest reading of the run."""
    here = [point for point in points if point.side == side]
    return min(here, key=lambda point: (point.lowest, point.point), default=None)


@register.filter
def of_side(points: Iterable[Point], side: str) -> list[Point]:
    """Give the points of one side."""
    return [point for point in points if point.side == side]


@register.simple_tag
def irradiance_map(points: list[Point], side: str) -> SafeString:
    """Draw the points of one side as cells in their order, the weakest with a frame.

    Each cell says its point and the lower of its readings in mW/cm². Shade is of four
    steps between the weakest and the strongest; the table beside says the same.
    """
    here = of_side(points, side)
    low = weakest(here, side)
    if low is None:
        return mark_safe("")
    columns = min(CELLS_A_ROW, len(here))
    rows = -(-len(here) // columns)
    top = max(point.lowest for point in here)
    words = gettext(
        "Map of the %(side)s side: %(count)s points from %(low)s to %(top)s mW/cm²,"
        " the weakest is point %(weakest)s"
    ) % {
        "side": side,
        "count": len(here),
        "low": thousandth(low.lowest),
        "top": thousandth(top),
        "weakest": low.point,
    }
    cells = format_html_join(
        "",
        '<g class="map-cell map-shade-{}{}" transform="translate({} {})">'
        '<path d="M2 2h{}v{}H2z"/>'
        '<text x="10" y="22">{}</text><text class="map-figure" x="10" y="48">{}</text>'
        "</g>",
        (
            (
                _shade(point.lowest, low.lowest, top),
                " map-weakest" if point is low else "",
                at % columns * CELL_WIDTH,
                at // columns * CELL_HEIGHT,
                CELL_WIDTH - 4,
                CELL_HEIGHT - 4,
                point.point,
                thousandth(point.lowest),
            )
            for at, point in enumerate(here)
        ),
    )
    width, height = columns * CELL_WIDTH, rows * CELL_HEIGHT
    return format_html(
        '<svg class="irradiance-map" role="img" aria-label="{}" width="{}" height="{}" '
        'viewBox="0 0 {} {}" focusable="false">{}</svg>',
        words,
        width,
        height,
        width,
        height,
        cells,
    )


def _shade(value: int, low: int, top: int) -> int:
    if top == low:
        return SHADES - 1
    return min(SHADES - 1, (value - low) * SHADES // (top - low))
