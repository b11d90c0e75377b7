"""Tags and filters of the disinfection pages: irradiance, dose, stay, the bar of a dose.

Figures are whole numbers of a small unit and are written out exactly, never rounded.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from django import template
from django.utils.html import format_html
from django.utils.translation import gettext

from kitting.domain import exposure
from kitting.domain.figures import written
from kitting.templatetags.look import pieces

if TYPE_CHECKING:
    from django.utils.safestring import SafeString

register = template.Library()

WIDTH = 480
BAR = 14


def decimal(value: int, per: int) -> str:
    """Write a figure in a larger unit, exactly, with gaps between thousands."""
    whole, point, digits = written(int(value), per).partition(".")
    return f"{pieces(whole)}{point}{digits}"


@register.filter
def thousandth(value: int | None) -> str:
    """Write µW/cm² as mW/cm², µJ/cm² as mJ/cm², µm as mm or ms as s."""
    return "" if value is None else decimal(value, 1000)


@register.filter
def percent(ppm: int) -> str:
    """Write parts per million as per cent."""
    return f"{decimal(ppm, 10_000)} %"


@register.filter
def seconds(value: int) -> str:
    """Write whole seconds as hours, minutes and seconds; what is 0 is left out."""
    hours, rest = divmod(int(value), 3600)
    minutes, left = divmod(rest, 60)
    parts = [(hours, "h"), (minutes, "min"), (left, "s")]
    return " ".join(f"{count} {unit}" for count, unit in parts if count) or "0 s"


@register.filter
def stay(uw_cm2: int | None) -> str:
    """Say how long a person may stay in an irradiance at 254 nm within 8 h."""
    if uw_cm2 is None:
        return ""
    if uw_cm2 == 0:
        return gettext("dark")
    longest = exposure.longest_stay_s(uw_cm2)
    if longest == 0:
        return gettext("not one second")
    return gettext("at most %(time)s") % {"time": seconds(longest)}


@register.simple_tag
def dose_bar(required: int, measured: int, low: int) -> SafeString:
    """Draw a dose: outline to what was measured, ink to its lower bound.

    A stroke stands at what is required. All in µJ/cm²; words beside say the same.
    """
    top = max(required, measured, 1) * 11 // 10 + 1

    def x(value: int) -> int:
        return value * WIDTH // top

    words = gettext(
        "Required %(required)s, measured %(measured)s, lower bound %(low)s mJ/cm²"
    ) % {
        "required": thousandth(required),
        "measured": thousandth(measured),
        "low": thousandth(low),
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
