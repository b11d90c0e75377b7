"""Fields that several forms share: reasons, ids, codes, measured figures."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from django import forms
from django.core.exceptions import ValidationError
from django.forms.models import ModelChoiceIterator
from django.utils.functional import cached_property
from django.utils.translation import gettext_lazy as _

from kitting.domain.errors import LotwardError
from kitting.domain.figures import scaled
from kitting.models import Revision
from kitting.web.wording import UNSAID

if TYPE_CHECKING:
    from django.utils.functional import _StrOrPromise

LONGEST_ID = 18
"""Digits; what both databases hold has 19 at most."""


class ReasonField(forms.CharField):
    """A reason, or something else of a sentence or two."""

    def __init__(self, *, rows: int = 3, **options: Any) -> None:
        options = {"max_length": 200, "label": _("Why"), **options}
        attrs = {"rows": rows, "data-act": "REASON"}
        super().__init__(widget=forms.Textarea(attrs=attrs), **options)


class IdField(forms.IntegerField):
    """The id of a row that a page sends back; 0 where it showed none."""

    def __init__(self, **options: Any) -> None:
        most = {"min_value": 0, "max_value": 2**63 - 1}
        super().__init__(widget=forms.HiddenInput, **{**most, **options})


class _OfKnown(ModelChoiceIterator):  # type: ignore[type-arg]
    field: KnownField

    def __iter__(self) -> Iterator[tuple[Any, str]]:
        yield "", str(self.field.empty_label or "")
        yield from ((code, str(row)) for code, row in self.field.rows.items())


class KnownField(forms.ModelChoiceField):  # type: ignore[type-arg]
    """One of some rows, which are read once: to be offered and to be found by their code."""

    iterator = _OfKnown

    @cached_property
    def rows(self) -> dict[str, Any]:
        """The rows by their code."""
        return {row.code: row for row in self.queryset or ()}

    def to_python(self, value: Any) -> Any:
        """Find the row of a code; None where none is chosen."""
        if value in self.empty_values:
            return None
        if value not in self.rows:
            raise ValidationError(UNSAID, "invalid_choice")
        return self.rows[value]


class CodeField(forms.CharField):
    """A short name in capitals and digits that stands for something."""

    def __init__(self, **options: Any) -> None:
        attrs = {"class": "number", "autocomplete": "off"}
        options = {"label": _("Code"), **options}
        super().__init__(widget=forms.TextInput(attrs=attrs), **options)


class FigureText(forms.CharField):
    """A measured figure as it was typed, for a form that knows its unit only later."""

    kind = "figure"

    def __init__(self, *, unit: _StrOrPromise = "", **options: Any):
        attrs: dict[str, Any] = {"inputmode": "decimal", "autocomplete": "off"}
        if unit:
            attrs["data-unit"] = unit
        options.setdefault("widget", forms.TextInput(attrs=attrs))
        super().__init__(max_length=30, **options)


class FigureField(FigureText):
    """A measured figure with decimals, given as a whole number of a smaller unit."""

    def __init__(
        self, *, unit: _StrOrPromise, by: int = 1000, up: bool = False, **options: Any
    ):
        super().__init__(unit=unit, **options)
        self.by, self.up = by, up

    def clean(self, value: Any) -> int | None:
        """Read the figure; None where it may stay empty and does."""
        text = super().clean(value)
        if not text and not self.required:
            return None
        try:
            return scaled(text, self.by, up=self.up)
        except LotwardError as error:
            raise ValidationError(UNSAID, error.code) from None


class RevisionField(forms.ModelChoiceField):  # type: ignore[type-arg]
    """A revision, listed under its part, so that only pairs that exist can be chosen.

    Args:
        made_now: Whether only those are offered of which new lots are taken in.
        **options: As for any field of rows.
    """

    def __init__(self, *, made_now: bool = False, **options: Any) -> None:
        revisions = Revision.objects.select_related("part").order_by(
            "part__name", "code"
        )
        if made_now:
            revisions = revisions.filter(active=True)
        options.setdefault("queryset", revisions)
        super().__init__(**options)

    def label_from_instance(self, obj: Revision) -> str:
        return f"{obj.part.name}, revision {obj.code}"


class RowsField(forms.ModelMultipleChoiceField):  # type: ignore[type-arg]
    """Several rows; Django asks the database even for an id that none can hold."""

    def clean(self, value: Any) -> Any:
        """Read the rows that were chosen."""
        for pk in value or ():
            if len(str(pk)) > LONGEST_ID:
                words = self.error_messages["invalid_choice"]
                raise ValidationError(words, "invalid_choice", {"value": pk})
        return super().clean(value)
