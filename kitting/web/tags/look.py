"""Tags and filters of the look: marks of stage, numbers, days, the row of words.

A mark is a shape with its word beside it. Shapes differ in outline, so that they can
be told apart without colour and in a bad print. All drawing is SVG with classes only:
the content security policy allows no inline style.
"""

from __future__ import annotations

from collections.abc import Container, Iterable
from datetime import date, datetime
from functools import lru_cache
from html import escape
from typing import Any, Final
from urllib.parse import quote, urlencode

from django import template
from django.forms import BaseForm, BoundField, CheckboxInput
from django.http import HttpRequest
from django.template import Context
from django.template.loader import render_to_string
from django.utils import timezone
from django.utils.html import conditional_escape, format_html
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import get_language

from kitting.domain.numbers import IN_A_SENTENCE
from kitting.domain.shown import fours
from kitting.web.figures import pieces
from kitting.web.http import open_to
from kitting.web.parts import of_page
from kitting.web.shapes import BARS, BARS_BESIDE, SHAPES, WORDS

register = template.Library()
register.filter(pieces)

DASH = SafeString('<span class="soft">–</span>')


@register.simple_tag
def mark(stage: str, of: str = "", *, held: bool = False) -> SafeString:
    """Draw the mark of a stage with its word: ``{% mark bag.stage held=bag.held %}``.

    Args:
        stage: A stage of a bag, box, run or shipment, or "held" alone.
        of: "bag", "box", "run", "request", "shipment", "lot" or "job"; needed where two kinds share
            the word of a stage ("open", "sent"); a box is meant when it is missing.
        held: Whether a hold stands on it: the mark then stands between
            two upright bars.
    """
    return _drawn(str(stage), of, held=bool(held), language=get_language())


@lru_cache(maxsize=256)
def _drawn(stage: str, of: str, *, held: bool, language: str | None) -> SafeString:
    """Draw a mark, once for all rows and pages: there are few, and each is long."""
    if stage == "held":
        return _mark(BARS, "held", str(WORDS["held"]))
    shape = _shape(stage, of)
    word = str(WORDS.get(stage, stage))
    if not held:
        return _mark(shape, stage, word)
    both = format_html('{}, <span class="held">{}</span>', word, WORDS["held"])
    return _mark(shape + BARS_BESIDE, stage, both, held=True)


def _shape(stage: str, of: str) -> str:
    kinds = [of] if of else ["bag", "box", "run", "shipment"]
    return next((SHAPES[kind][stage] for kind in kinds if stage in SHAPES[kind]), "")


def _mark(shape: str, stage: str, word: str, *, held: bool = False) -> SafeString:
    return format_html(
        '<span class="mark mark-{}"><svg class="mark-shape{}" viewBox="{} 0 {} 20" '
        'width="{}" height="20" aria-hidden="true" focusable="false">{}</svg>'
        '<span class="mark-word">{}</span></span>',
        stage.replace("_", "-"),
        " mark-shape-held" if held else "",
        *((-6, 32, 32) if held else (0, 20, 20)),
        mark_safe(shape),  # noqa: S308 -- constants of shapes.py only
        word,
    )


@register.filter
def number(value: object) -> SafeString | str:
    """Set an identifier in the monospace, in groups of four; copying gives it plain.

    The gaps are margins between spans. A page may have a thousand: one string each.
    """
    return "" if value is None or value == "" else _in_fours(str(value))


@lru_cache(maxsize=4096)
def _in_fours(identifier: str) -> SafeString:
    inner = '</span><span class="four">'.join(map(escape, fours(identifier)))
    return SafeString(f'<span class="number"><span class="four">{inner}</span></span>')


@register.filter
def numbers(things: Iterable[object], look_up: str = "") -> SafeString:
    """List identifiers, or things that have one: ``{{ row.lots|numbers:recall }}``.

    Each is a link where there is a page that looks it up.
    """
    plain = [str(getattr(thing, "number", thing)) for thing in things]
    shown = [
        format_html('<a href="{}?q={}">{}</a>', look_up, quote(each), number(each))
        if look_up
        else number(each)
        for each in plain
    ]
    return SafeString(", ".join(shown))


@register.filter
def or_dash(shown: object) -> object:
    """Give what is to be shown, or a dash where that is nothing."""
    return shown or DASH


@register.simple_tag
def fact(title: str, said: object) -> SafeString | str:
    """Write one of the facts of a thing under its title, or nothing of what is empty."""
    return format_html("<dt>{}</dt><dd>{}</dd>", title, said) if said else ""


@register.filter
def among(value: object, these: Container[object]) -> bool:
    """Tell whether something is one of these: ``held=bag.pk|among:held``."""
    return value in these


@register.filter
def grouped(sentence: object) -> SafeString:
    """Set the numbers that a sentence names as they are set everywhere."""
    told = conditional_escape(sentence)  # type: ignore[arg-type]  # a message is any object
    return SafeString(IN_A_SENTENCE.sub(lambda found: str(number(found[0])), told))


def _local(value: datetime) -> datetime:
    """Turn a moment into the time zone in force, which is the workshop's."""
    return timezone.localtime(value) if timezone.is_aware(value) else value


@register.filter
def day(value: object) -> SafeString | str:
    """Write a date, or the day of a moment at the workshop, as YYYY-MM-DD.

    It is a ``time`` element, so not for the inside of an attribute.
    """
    if isinstance(value, datetime):
        value = _local(value).date()
    if not isinstance(value, date):
        return str(value or "")
    return SafeString(f'<time datetime="{value}">{value}</time>')


@register.filter
def moment(value: object) -> SafeString | str:
    """Write a moment in the workshop's time zone as YYYY-MM-DD HH:MM."""
    if not isinstance(value, datetime):
        return day(value)
    there = _local(value)
    exact, shown = there.isoformat(timespec="seconds"), f"{there:%Y-%m-%d %H:%M}"
    return SafeString(f'<time datetime="{exact}">{shown}</time>')


@register.filter
def unit(field: BoundField) -> str:
    """Give the unit of a field, set as ``attrs={"data-unit": "mm"}`` on its widget."""
    return str(field.field.widget.attrs.get("data-unit", ""))


@register.filter
def is_tick(field: BoundField) -> bool:
    """Tell whether a field is one box to tick; its label stands beside it."""
    return isinstance(field.field.widget, CheckboxInput)


@register.filter
def wrongs(form: BaseForm) -> list[tuple[str, str, str]]:
    """What is wrong with a form: the id to go to, the field's label, the sentence.

    What belongs to no field, or to one that nobody sees, has neither id nor label.
    """
    hidden = [error for field in form.hidden_fields() for error in field.errors]
    found = [("", "", str(error)) for error in [*form.non_field_errors(), *hidden]]
    for field in form.visible_fields():
        grouped = field.field.widget.use_fieldset
        at = f"{field.auto_id}_field" if grouped else str(field.id_for_label)
        found += [(at, str(field.label), str(error)) for error in field.errors]
    return found


@register.simple_tag(takes_context=True)
def may_see(context: Context, to: str, *args: object) -> str:
    """Give the address of a page, or nothing if it is not there or not for this person."""
    return open_to(context.get("user"), to, *args)


@register.simple_tag(takes_context=True)
def act_link(
    context: Context,
    words: str,
    to: str,
    *args: object,
    when: object = True,
    kind: str = "",
    **asked: object,
) -> SafeString | str:
    """Write the button that leads to the page of an act, if this person may do it.

    A command label that names the page presses it: ``ACT-LOT-CHECK``.

    ``{% act_link _("Trace the bag") "dispatch:recall" q=bag.number when=bag.pieces %}``

    Args:
        context: The template's.
        words: The act and its object.
        to: The name of its page.
        args: What the page's address needs.
        when: Whether the thing lets it be done now.
        kind: "main" for the one filled act of the page, "stop" for one that ends
            something, "plain" for a link.
        asked: What is asked of the page.
    """
    address = may_see(context, to, *args) if when else ""
    if not address:
        return ""
    if asked:
        address += "?" + urlencode(asked, safe="/", quote_via=quote)
    if kind == "plain":
        return format_html('<a href="{}">{}</a>', address, words)
    look = f"button {kind}".strip()
    act = to.partition(":")[2].removesuffix("-detail").upper()
    link = '<a class="{}" href="{}" data-act="{}">{}</a>'
    return format_html(link, look, address, act, words)


@register.simple_tag(takes_context=True)
def added(context: Context, page: str, thing: object = None) -> SafeString:
    """Write the parts that later rooms add to a page: ``{% added "shipment" shipment %}``.

    Args:
        context: The template's.
        page: The name under which they were added.
        thing: What the page is about.
    """
    return parts_written(context, of_page(page, thing))


@register.simple_tag(takes_context=True)
def parts_written(
    context: Context, parts: Iterable[tuple[str, dict[str, Any]]]
) -> SafeString:
    """Write such parts where the view has read them: ``{% parts_written parts %}``."""
    around: dict[str, Any] = context.flatten()  # type: ignore[assignment]
    written = [render_to_string(name, {**around, **shown}) for name, shown in parts]
    return SafeString("".join(written))


@register.simple_tag(takes_context=True)
def word_link(context: Context, to: str, word: str) -> SafeString | str:
    """Write one word of the row on top, if this person may see its page."""
    address = may_see(context, to)
    if not address:
        return ""
    current = (
        mark_safe(' aria-current="page"') if _is_here(context, to, address) else ""
    )
    return format_html('<li><a href="{}"{}>{}</a></li>', address, current, word)


_BESIDE: Final = {
    **dict.fromkeys(("bags", "samples", "bag-numbers", "inspection"), "kitting:lots"),
    **dict.fromkeys(("protocols", "meters", "lamps"), "kitting:runs"),
    **dict.fromkeys(("consignees", "pallets"), "dispatch:shipments"),
    "figures": "dispatch:log",
    "complaints": "dispatch:recall",
    "journal": "dispatch:recall",
    **dict.fromkeys(("methods", "parts", "products"), "kitting:lots"),
}
"""Words of pages whose addresses do not begin with that of their word."""


def _is_here(context: Context, to: str, address: str) -> bool:
    """Tell whether the page stands under a word; it may name another in ``here``."""
    request: HttpRequest | None = context.get("request")
    first = request.path_info.split("/")[1] if request else ""
    here = context.get("here") or _BESIDE.get(first)
    if here or request is None:
        return bool(here == to)
    inside = address != "/" and request.path.startswith(address)
    return inside or request.path == address
