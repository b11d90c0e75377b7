"""Filters for label stock and printers: lengths in mm, dots of a head."""

from __future__ import annotations

from fractions import Fraction

from django import template

from kitting.domain.figures import written
from kitting.models import Printer, Stock

register = template.Library()


@register.filter
def mm(um: int | None) -> str:
    """Write µm as millimetres, without needless zeros."""
    return "" if um is None else written(um, 1000)


@register.filter
def css_mm(um: int) -> str:
    """Write µm as a length of CSS, so that a picture is as large as what it shows."""
    return f"{written(um, 1000)}mm"


@register.simple_tag
def dots(of: Stock | Printer) -> str:
    """Write the dots of a head as its data sheet has them: to the mm or to the inch."""
    per_mm = Fraction(of.head_dots * 1000, of.head_um)
    if per_mm.denominator == 1:
        return f"{per_mm} / mm"
    per_inch = per_mm * Fraction("25.4")
    return f"{float(round(per_inch, 1)):g} dpi"
