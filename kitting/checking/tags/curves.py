"""Pictures of inspection: verdicts over time, defects by kind, a plan's curve.

SVG with classes only, made here, so that it prints and needs no script. A table beside
each picture has its figures; the picture's own words say what it shows.
"""

from __future__ import annotations

from collections.abc import Sequence

from django import template
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString
from django.utils.translation import gettext

from kitting.checking.queries.inspection import ParetoLine, ticks
from kitting.domain.figures import written
from kitting.domain.sampling import Characteristic, Point
from kitting.models import Check
from kitting.web.figures import amount, pieces

register = template.Library()

WIDTH = 640
LEFT = 60
RIGHT = 24


# -- Verdicts over time -------------------------------------------------------------

ACCEPTED_Y, REJECTED_Y, BAND_Y, BAND = 24, 72, 96, 16


@register.simple_tag
def verdict_steps(checks: Sequence[Check]) -> SafeString:
    """Draw the verdicts of lots as steps, oldest first, over a band of severity.

    Up is accepted, down is rejected. The band is empty where inspection was normal,
    hatched where it was tightened, ruled where it was reduced, dotted where all pieces
    were looked at.
    """
    step = (WIDTH - 8) / max(len(checks), 1)
    path, marks, band, y_before = [], [], [], None
    for at, check in enumerate(checks):
        x = 4 + at * step
        accepted = check.verdict == "accepted"
        y = ACCEPTED_Y if accepted else REJECTED_Y
        start = "M" if y_before is None else "L"
        path.append(f"{start}{x:.1f} {y}L{x + step:.1f} {y}")
        y_before = y
        marks.append(
            (*_verdict_mark(x + step / 2, y, accepted=accepted), str(check.lot))
        )
        band.append((check.severity or "all", f"{x:.1f}", BAND_Y, f"{step:.1f}", BAND))
    words = gettext("Verdicts of %(lots)s, oldest first, and their severity.")
    return format_html(
        '<svg class="verdict-steps" viewBox="0 0 {} 120" role="img" aria-label="{}" '
        'focusable="false"><defs><pattern id="tight" width="6" height="6" '
        'patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
        '<rect class="curve-ink" width="2.5" height="6"/></pattern>'
        '<pattern id="ruled" width="6" height="5" patternUnits="userSpaceOnUse">'
        '<rect class="curve-ink" y="2" width="6" height="1"/></pattern>'
        '<pattern id="dots" width="6" height="6" patternUnits="userSpaceOnUse">'
        '<circle class="curve-ink" cx="3" cy="3" r="1"/></pattern></defs>'
        '{}<path class="curve-line" d="{}"/>{}</svg>',
        WIDTH,
        words % {"lots": amount(len(checks), "lot")},
        format_html_join(
            "",
            '<rect class="band band-{}" x="{}" y="{}" width="{}" height="{}"/>',
            band,
        ),
        "".join(path),
        format_html_join("", '<path class="{}" d="{}"><title>{}</title></path>', marks),
    )


def _verdict_mark(x: float, y: int, *, accepted: bool) -> tuple[str, str]:
    if accepted:
        return "curve-yes", f"M{x - 4:.1f} {y}a4 4 0 1 0 8 0a4 4 0 1 0 -8 0"
    return "curve-no", f"M{x - 5:.1f} {y - 5}l10 10m0 -10l-10 10"


# -- Defects by kind ----------------------------------------------------------------

ROW, BARS = 60, 560


@register.simple_tag
def pareto(lines: Sequence[ParetoLine]) -> SafeString:
    """Draw defects by kind, most found first, and their sum so far as a line."""
    total = lines[-1].together if lines else 1
    bars, dots = [], []
    path: list[str] = []
    for at, line in enumerate(lines):
        y = at * ROW
        length = line.pieces * BARS // total
        name = line.name or gettext("not on the list")
        bars.append((line.grade, y + 30, length, y + 22, name,
                     WIDTH, y + 44, pieces(line.pieces)))  # fmt: skip
        x = line.together * BARS // total
        dots.append((x, y + 38))
        path.append(f"{'L' if path else 'M'}{x} {y + 38}")
    return format_html(
        '<svg class="pareto" viewBox="-4 0 {} {}" role="img" aria-label="{}" '
        'focusable="false">{}<path class="curve-line" d="{}"/>{}</svg>',
        WIDTH + 8,
        ROW * len(lines) + 4,
        gettext("Defects by kind, most found first; the line is their sum so far."),
        format_html_join(
            "",
            '<rect class="defect defect-{}" x="0" y="{}" width="{}" height="16"/>'
            '<text x="0" y="{}">{}</text>'
            '<text class="curve-figure" x="{}" y="{}" text-anchor="end">{}</text>',
            bars,
        ),
        "".join(path),
        format_html_join("", '<circle class="curve-dot" cx="{}" cy="{}" r="4"/>', dots),
    )


# -- The operating characteristic ---------------------------------------------------

HEIGHT, TOP = 260, 16


@register.simple_tag
def oc_curve(curve: Characteristic) -> SafeString:
    """Draw the chance of acceptance against the share of bad pieces."""
    end = curve.points[-1].bad_ppm

    def place(point: Point) -> tuple[int, int]:
        x = LEFT + point.bad_ppm * (WIDTH - LEFT - RIGHT) // end
        return x, round(TOP + (1 - point.chance) * (HEIGHT - TOP))

    line = "L".join("{} {}".format(*place(point)) for point in curve.points)
    read_off = [(curve.consumers, "B")]
    if curve.aql is not None:
        read_off.insert(0, (curve.aql, "A"))
    return format_html(
        '<svg class="oc" viewBox="0 0 {} {}" role="img" aria-label="{}" '
        'focusable="false">{}{}<path class="curve-line" d="M{}"/>{}</svg>',
        WIDTH,
        HEIGHT + 44,
        gettext("Chance that a lot is accepted, by its share of bad pieces."),
        _chances(),
        _shares(end),
        line,
        format_html_join(
            "",
            '<path class="curve-read" d="M{0} {1}V{2}M{0} {1}H{3}"/>'
            '<circle class="curve-dot" cx="{0}" cy="{1}" r="5"/>'
            '<text x="{4}" y="{5}">{6}</text>',
            (
                (x, y, HEIGHT, LEFT, x + 8, y - 6, letter)
                for x, y, letter in (
                    (*place(point), letter) for point, letter in read_off
                )
            ),
        ),
    )


def _chances() -> SafeString:
    rows = (
        (LEFT, round(TOP + (100 - chance) / 100 * (HEIGHT - TOP)), WIDTH, chance)
        for chance in (0, 50, 100)
    )
    return format_html_join(
        "",
        '<path class="curve-grid" d="M{0} {1}H{2}"/>'
        '<text class="curve-figure" x="52" y="{1}" dy="5" text-anchor="end">{3} %</text>',
        rows,
    )


def _shares(end: int) -> SafeString:
    marks = (
        (LEFT + at * (WIDTH - LEFT - RIGHT) // end, HEIGHT, f"{written(at, 10_000)} %")
        for at in ticks(end)
    )
    return format_html_join(
        "",
        '<path class="curve-grid" d="M{0} {1}v6"/>'
        '<text class="curve-figure" x="{0}" y="{1}" dy="26" text-anchor="middle">{2}'
        "</text>",
        marks,
    )
