"""What forms say of an entry that is missing or wrong: sentences that name the thing.

A field says by a code what is wrong, its form says it in words. What the framework
would say of an entry ("This field is required.") names nothing and is never shown.
"""

from __future__ import annotations

import inspect
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any, Final

from django import forms
from django.contrib.auth import forms as auth_forms
from django.core import validators
from django.core.exceptions import ValidationError
from django.forms import fields as form_fields
from django.forms import formsets, models
from django.forms.utils import pretty_name
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from kitting.domain.shown import shown

if TYPE_CHECKING:
    from django.utils.functional import _StrOrPromise

UNSAID: Final = ""
"""The text of an error that a field leaves to its form."""

_SENTENCES: Final[dict[str, dict[str, _StrOrPromise]]] = {
    "text": {
        "required": _("Enter %(thing)s."),
        "invalid": _("“%(read)s” cannot be read. Enter %(thing)s again."),
        "max_length": _(
            "Enter %(thing)s in at most %(limit_value)s characters, not %(show_value)s."
        ),
        "min_value": _("Enter %(thing)s: %(limit_value)s or more, not %(read)s."),
        "max_value": _("Enter %(thing)s: at most %(limit_value)s, not %(read)s."),
        "null_characters_not_allowed": _(
            "“%(read)s” holds a character that cannot be kept. Enter %(thing)s again."
        ),
    },
    "whole": {
        "invalid": _(
            "“%(read)s” is not a whole number. Enter %(thing)s in figures, such as 24."
        ),
    },
    "figure": {
        "figure_missing": _("Enter %(thing)s."),
        "figure_negative": _("“%(read)s” is below 0. Enter %(thing)s: 0 or more."),
        "figure_unreadable": _(
            "“%(read)s” is not a figure. Enter %(thing)s in digits, with at most one"
            " decimal point or comma, such as 4.12."
        ),
        "length_too_fine": _(
            "“%(read)s” is finer than a thousandth of a millimetre. Enter %(thing)s"
            " with at most three decimals."
        ),
    },
    "day": {
        "required": _("Enter %(thing)s, such as 2026-03-01."),
        "invalid": _(
            "“%(read)s” is not a day. Enter %(thing)s as year, month and day, such as"
            " 2026-03-01."
        ),
        "out_of_range": _("Enter %(thing)s from 2000 to 2999, not %(read)s."),
    },
    "scan": {"required": _("Nothing was read. Scan %(thing)s.")},
    "choice": {
        "required": _("Choose %(thing)s."),
        "invalid": _("“%(read)s” is not on the list. Choose %(thing)s."),
    },
    "tick": {"required": _("Tick %(thing)s.")},
    "file": {
        "required": _("Choose %(thing)s."),
        "invalid": _("No file came with the form. Choose %(thing)s again."),
        "empty": _("There is nothing in the file. Choose %(thing)s again."),
        "max_length": _(
            "The name of the file is longer than %(max)s characters. Choose %(thing)s"
            " under a shorter name."
        ),
    },
}
"""By kind of field and code; a kind that has no sentence for a code says what text says,
and a code that has none says ``invalid``."""

_NOT_TYPED: Final = _("The form came back without %(thing)s. Load the page again.")
"""Of what the page itself sends, whatever is wrong with it."""

_ASKING: Final = ("how ", "what ", "where ", "which ", "why ", "to whom")
"""How labels begin that are no names of things and take no article."""


def _framework() -> Iterator[int]:
    """Every text that Django's fields, forms and validators have of their own."""
    for module in (form_fields, models, formsets, validators, auth_forms):
        for _name, each in inspect.getmembers(module, inspect.isclass):
            yield from map(id, getattr(each, "default_error_messages", {}).values())
            yield id(getattr(each, "message", None))


_FRAMEWORK: Final = frozenset(_framework())


def kind_of(field: forms.Field) -> str:
    """Tell which sentences a field takes; a field of ours names its kind."""
    if field.widget.is_hidden:
        return "hidden"
    own = getattr(field, "kind", None)
    if own is not None:
        return str(own)
    kinds: tuple[tuple[type[forms.Field], str], ...] = (
        (forms.ChoiceField, "choice"),
        (forms.ModelChoiceField, "choice"),
        (forms.FileField, "file"),
        (forms.BooleanField, "tick"),
        (forms.IntegerField, "whole"),
    )
    return next((kind for of, kind in kinds if isinstance(field, of)), "text")


def name_of(field: forms.Field, name: str) -> str:
    """Give the words for what goes into a field, as they stand inside a sentence."""
    label = str(field.label or pretty_name(name))
    if kind_of(field) == "day":
        return gettext("the day at “%(label)s”") % {"label": label}
    if not label[1:2].isupper() and not label[1:2].isdigit():
        label = label[:1].lower() + label[1:]
    if label.startswith(_ASKING):
        return label
    return gettext("the %(thing)s") % {"thing": label}


def is_unsaid(error: ValidationError) -> bool:
    """Tell whether an error has no sentence of ours yet."""
    return error.message == UNSAID or id(error.message) in _FRAMEWORK


def in_words(
    error: ValidationError, field: forms.Field, thing: str, read: Any
) -> ValidationError:
    """Say an error of a field in a sentence of ours.

    Args:
        error: One error that ``is_unsaid``.
        field: The field.
        thing: What goes into it, as in ``name_of``.
        read: What came in, as the field's widget gives it.

    Returns:
        The error with the same code.
    """
    code, kind = str(error.code), kind_of(field)
    said = {**_SENTENCES["text"], **_SENTENCES.get(kind, {})}
    words = _NOT_TYPED if kind == "hidden" else said.get(code, said["invalid"])
    several = isinstance(read, list | tuple)
    params = {
        **(error.params or {}),
        "thing": thing,
        "read": shown(", ".join(map(str, read)) if several else str(read or "")),
    }
    return ValidationError(words, code=code, params=params)
