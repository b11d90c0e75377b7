"""The picture of a recall, as SVG with classes only, beside tables; shares in words."""

from __future__ import annotations

from typing import Final

from django import template
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _

from dispatch.domain.flow import Bar, Ribbon, lay_out
from dispatch.domain.reach import Reach
from dispatch.recall.picture import Picture
from kitting.web.figures import NARROW, pieces

register = template.Library()

WIDE: Final = 1080
COLUMN: Final = 380
BAR: Final = 8
ROW: Final = 44
"""Room for the two lines beside a thing."""
LEAST: Final = 4.0
INK: Final = 160
"""Height beyond that, for all that flows."""
LETTERS: Final = 34
NAMED: Final = 3
HIDDEN: Final = mark_safe('aria-hidden="true" focusable="false"')


@register.simple_tag
def whereabouts_picture(picture: Picture) -> SafeString:
    """Draw where all of it is: ``{% whereabouts_picture picture %}``."""
    high = ROW * max(len(layer) for layer in picture.layers) + INK
    bars, ribbons = lay_out(
        picture.layers, picture.flows, high=high, gap=ROW - LEAST, least=LEAST
    )
    return format_html(
        '<svg class="flow" viewBox="0 -12 {} {}" {}>{}{}{}</svg>',
        WIDE,
        high + 24,
        HIDDEN,
        format_html_join(
            "",
            '<path class="flow-ribbon" d="{}"/>',
            ((_ribbon(each, bars),) for each in ribbons),
        ),
        format_html_join(
            "",
            '<rect class="flow-bar" x="{}" y="{}" width="{}" height="{}"/>',
            (
                (_left(bar), round(bar.top, 1), BAR, round(bar.high, 1))
                for bar in bars.values()
            ),
        ),
        format_html_join(
            "",
            '<text class="flow-name" x="{0}" y="{1}">{2}</text>'
            '<text class="flow-pieces" x="{0}" y="{3}">{4}</text>',
            (_said(bar, *picture.words[key]) for key, bar in bars.items()),
        ),
    )


def _left(bar: Bar) -> int:
    return bar.layer * COLUMN


def _said(bar: Bar, name: str, many: int) -> tuple[int, float, str, float, str]:
    middle = round(bar.middle, 1)
    short = name if len(name) <= LETTERS else f"{name[: LETTERS - 1]}…"
    return _left(bar) + BAR + 8, middle - 2, short, middle + 16, pieces(many)


def _ribbon(ribbon: Ribbon, bars: dict[str, Bar]) -> str:
    """A band between two bars, level where it meets them."""
    left = _left(bars[ribbon.flow.source]) + BAR
    right = _left(bars[ribbon.flow.target])
    half = (left + right) // 2
    top, high = ribbon.leaves
    end, low = ribbon.enters
    return (
        f"M{left} {top:.1f}C{half} {top:.1f} {half} {end:.1f} {right} {end:.1f}"
        f"V{end + low:.1f}C{half} {end + low:.1f} {half} {top + high:.1f}"
        f" {left} {top + high:.1f}Z"
    )


@register.filter
def largest_shares(its: Reach) -> str:
    """Say what share of its sets each of the consignees has that a lot reaches most."""
    said = [
        _("%(share)s of what %(whom)s received")
        % {"share": f"{round(100 * share)}{NARROW}%", "whom": whom}
        for whom, share in its.shares[:NAMED]
    ]
    return "; ".join(said)
