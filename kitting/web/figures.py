"""Counts, amounts and times, written out for pages."""

from __future__ import annotations

from django.utils.translation import gettext as _
from django.utils.translation import ngettext_lazy

from kitting.domain.figures import written

NARROW = "\N{NARROW NO-BREAK SPACE}"
SIGNS = {"gram": "g", "mm": "mm"}
WORDS = {
    "bag": ngettext_lazy("bag", "bags"),
    "box": ngettext_lazy("box", "boxes"),
    "kind": ngettext_lazy("kind", "kinds"),
    "lot": ngettext_lazy("lot", "lots"),
    "piece": ngettext_lazy("piece", "pieces"),
    "set": ngettext_lazy("set", "sets"),
}
"""What is counted: a sentence with two counts has one plural at most, by one of them."""


def pieces(value: object) -> str:
    """Write a whole number with narrow no-break spaces between thousands."""
    if value is None or value == "":
        return ""
    try:
        count = int(str(value))
    except ValueError:
        return str(value)
    sign = "\N{MINUS SIGN}" if count < 0 else ""
    return sign + f"{abs(count):,}".replace(",", "\N{NARROW NO-BREAK SPACE}")


def spread(figure: str) -> str:
    """Write a figure with gaps between thousands."""
    whole, point, digits = figure.partition(".")
    return f"{pieces(whole)}{point}{digits}"


def thousandth(value: int | None) -> str:
    """Write µW/cm² as mW/cm², µJ/cm² as mJ/cm², µm as mm or ms as s."""
    return "" if value is None else spread(written(int(value), 1000))


def counted(value: int, unit: str) -> str:
    """A figure for a table: bare for pieces, with its unit for grams and mm."""
    sign = SIGNS.get(unit)
    return f"{pieces(value)}{NARROW}{sign}" if sign else pieces(value)


def amount(value: int, unit: str) -> str:
    """A figure for a sentence: with its unit, or the word for what is counted."""
    if unit in SIGNS:
        return counted(value, unit)
    return f"{pieces(value)}\N{NO-BREAK SPACE}{WORDS[unit] % value}"


def unit_sign(unit: str) -> str:
    """The unit alone, as it stands behind "each": g, mm or piece."""
    return SIGNS.get(unit, str(_("piece")))


def seconds(value: int) -> str:
    """Write whole seconds as hours, minutes and seconds; what is 0 is left out."""
    hours, rest = divmod(int(value), 3600)
    minutes, left = divmod(rest, 60)
    parts = [(hours, "h"), (minutes, "min"), (left, "s")]
    return " ".join(f"{count} {unit}" for count, unit in parts if count) or "0 s"
