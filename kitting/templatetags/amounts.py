"""Filters that write a count with its unit, and a stage as its word alone."""

from __future__ import annotations

from django import template
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from kitting.templatetags.look import pieces
from kitting.templatetags.shapes import WORDS

register = template.Library()

NARROW = "\N{NARROW NO-BREAK SPACE}"
SIGNS = {"gram": "g", "mm": "mm"}


@register.filter
def counted(value: int, unit: str) -> str:
    """A figure for a table: bare for pieces, with its unit for grams and mm."""
    sign = SIGNS.get(unit)
    return f"{pieces(value)}{NARROW}{sign}" if sign else pieces(value)


@register.filter
def amount(value: int, unit: str) -> str:
    """A figure for a sentence: with its unit, pieces too."""
    if unit in SIGNS:
        return counted(value, unit)
    word = ngettext("piece", "pieces", value)
    return f"{pieces(value)}\N{NO-BREAK SPACE}{word}"


@register.filter
def unit_sign(unit: str) -> str:
    """The unit alone, as it stands behind "each": g, mm or piece."""
    return SIGNS.get(unit, str(_("piece")))


@register.filter
def stage_word(stage: str) -> str:
    """The word of a stage, where its mark would be too much."""
    return str(WORDS.get(str(stage), stage))
