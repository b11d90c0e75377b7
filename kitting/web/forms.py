"""What the forms share: the operation key, fields for scans, and a day."""

from __future__ import annotations

import re
from datetime import date
from typing import TYPE_CHECKING, Any

from django import forms
from django.core.validators import MaxValueValidator, MinValueValidator
from django.utils.translation import gettext_lazy as _

from kitting.domain.errors import Refused
from kitting.web.http import new_op_key
from kitting.web.messages import sentence

if TYPE_CHECKING:
    from uuid import UUID

LONGEST_SCAN = 200
"""Characters that a scan field takes; no symbol of ours holds half as many."""


class KeyedForm(forms.Form):
    """A form that writes: it carries the key of its act, made when it was shown."""

    op_key = forms.UUIDField(widget=forms.HiddenInput, initial=new_op_key)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        unreadable = sentence(Refused("op_key_unreadable"))
        self.fields["op_key"].error_messages = {
            "required": unreadable,
            "invalid": unreadable,
        }

    @property
    def key(self) -> UUID:
        """The operation key of a valid form."""
        key: UUID = self.cleaned_data["op_key"]
        return key


class ScanField(forms.CharField):
    """One scanned or typed code; a separator (0x1D) at its ends is not stripped."""

    def __init__(self, **options: Any) -> None:
        attrs = {
            "data-scan": "",
            "autocomplete": "off",
            "spellcheck": "false",
            "autocapitalize": "characters",
        }
        options = {"max_length": LONGEST_SCAN, "strip": False, **options}
        options.setdefault("widget", forms.TextInput(attrs=attrs))
        super().__init__(**options)


_YEARS = _("Enter a day from 2000 to 2999.")
_WITHIN = [
    MinValueValidator(date(2000, 1, 1), message=_YEARS),
    MaxValueValidator(date(2999, 12, 31), message=_YEARS),
]


_DAY = re.compile(
    "([0-9]{4})(?:([0-9]{2})([0-9]{2})|[-/. ]([0-9]{1,2})[-/. ]([0-9]{1,2}))"
)


class DayField(forms.DateField):
    """A day as year, month, day: YYYY-MM-DD, or its eight digits alone.

    A browser's own field for days shows them in the order of the browser's language,
    so that one day reads as another beside it. This is a field for text, alike
    everywhere; the keys for figures that a telephone shows may have no hyphen.

    Days near the ends of the calendar are refused: the day after them, or their
    midnight in the workshop's zone, may not exist.
    """

    def __init__(self, **options: Any) -> None:
        options["validators"] = [*_WITHIN, *options.get("validators", ())]
        attrs = {
            "data-day": "",
            "inputmode": "numeric",
            "autocomplete": "off",
            "placeholder": _("YYYY-MM-DD"),
            "size": 10,
        }
        options.setdefault("widget", forms.DateInput(format="%Y-%m-%d", attrs=attrs))
        options.setdefault("input_formats", ["%Y-%m-%d"])
        messages = {"invalid": _("This is no day. Write it as 2026-03-01.")}
        options.setdefault("error_messages", messages)
        super().__init__(**options)

    def to_python(self, value: Any) -> date | None:
        """Read the day, with whatever stands between year, month and day."""
        if isinstance(value, str) and (value := value.strip()):
            found = _DAY.fullmatch(value)
            # What is no day in this order is none: 01.03.2026 is not guessed at.
            parts = [part for part in found.groups() if part] if found else []
            value = "-".join(parts) or "no day"
        return super().to_python(value)
