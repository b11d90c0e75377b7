"""The drawing of the box at the bench: it fills as sets become complete.

The box is seen from above: flaps out while it is open, a seam where they meet when it
is closed, a label on the seam once its own label was scanned on it.
"""

from __future__ import annotations

from math import ceil, log

from django import template
from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext

from kitting.web.figures import amount

register = template.Library()

CELL = 40
GAP = 8
FLAP = 28


def grid(sets: int) -> tuple[int, int]:
    """Return columns and rows for the sets of a box, about 3 wide to 2 high.

    The last row is full where the number allows it: 6 gives 3 by 2, 24 gives
    6 by 4, 60 gives 10 by 6.
    """
    if sets < 1:
        return 1, 1
    shapes = [(columns, ceil(sets / columns)) for columns in range(1, sets + 1)]
    return min(shapes, key=lambda shape: _unfit(*shape, sets=sets))


def _unfit(columns: int, rows: int, *, sets: int) -> float:
    """Rate a grid: its distance from 3 by 2, and the share of cells that stay empty."""
    return abs(log(columns / rows / 1.5)) + (columns * rows - sets) / sets


@register.simple_tag
def box_drawing(
    sets: int, complete: int = 0, started: int = 0, stage: str = "open"
) -> SafeString:
    """Draw a box: ``{% box_drawing sets=24 complete=14 started=1 stage=box.stage %}``.

    Args:
        sets: How many sets the box holds.
        complete: Sets for which every part is in.
        started: Sets for which some parts are in, after the complete ones.
        stage: Stage of the box: open, closed, labelled.
    """
    columns, rows = grid(sets)
    width = columns * (CELL + GAP) + GAP
    height = rows * (CELL + GAP) + GAP
    cells = "".join(
        _cell(at, columns, complete, complete + started) for at in range(sets)
    )
    lid = _flaps(width, height) if stage == "open" else _lid(width, height, stage)
    words = gettext("Box, %(stage)s: %(complete)s of %(sets)s complete") % {
        "stage": stage,
        "complete": complete,
        "sets": amount(sets, "set"),
    }
    return format_html(
        '<svg class="box-drawing box-{}" role="img" aria-label="{}" '
        'viewBox="{} {} {} {}" focusable="false">{}</svg>',
        stage,
        words,
        -FLAP - 4,
        -FLAP - 4,
        width + 2 * FLAP + 8,
        height + 2 * FLAP + 8,
        mark_safe(  # noqa: S308 -- numbers and constants only
            f'<path class="box-wall" d="M0 0h{width}v{height}H0z"/>{cells}{lid}'
        ),
    )


def _cell(at: int, columns: int, complete: int, started: int) -> str:
    x = GAP + at % columns * (CELL + GAP)
    y = GAP + at // columns * (CELL + GAP)
    if at < complete:
        return f'<path class="set-in" d="M{x} {y}h{CELL}v{CELL}h-{CELL}z"/>'
    outline = f'<path class="set-out" d="M{x} {y}h{CELL}v{CELL}h-{CELL}z"/>'
    if at < started:
        return (
            outline
            + f'<path class="set-in" d="M{x} {y + CELL}v-{CELL}l{CELL} {CELL}z"/>'
        )
    return outline


def _flaps(width: int, height: int) -> str:
    tip = FLAP // 2
    return (
        f'<path class="box-flap" d="M0 0l{tip}-{FLAP}H{width - tip}L{width} 0'
        f"M{width} 0l{FLAP} {tip}V{height - tip}L{width} {height}"
        f"M{width} {height}l-{tip} {FLAP}H{tip}L0 {height}"
        f'M0 {height}l-{FLAP}-{tip}V{tip}L0 0"/>'
    )


def _lid(width: int, height: int, stage: str) -> str:
    middle = height // 2
    seam = f'<path class="box-seam" d="M0 {middle}H{width}"/>'
    if stage != "labelled":
        return seam
    x, y = width // 4, height // 4
    bars = "".join(
        f"M{x + 8 + step} {middle}v{y - 8}" for step in range(0, x * 2 - 12, 8)
    )
    return (
        f'{seam}<path class="box-label" d="M{x} {y}h{x * 2}v{y * 2}h-{x * 2}z"/>'
        f'<path class="box-seam" d="{bars}"/>'
    )
