"""The form of logged values."""

from __future__ import annotations

from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from kitting.domain import holding
from kitting.domain.errors import CodeError, LotwardError
from kitting.domain.figures import scaled
from kitting.models import Run, Workshop
from kitting.models.runs import Process
from kitting.web.fields import FigureText
from kitting.web.forms import KeyedForm
from kitting.web.messages import sentence
from kitting.web.wording import UNSAID

MC = 1000
"""Thousandths in a degree Celsius."""


class ValuesForm(KeyedForm):
    """Logged values of a run by heat or liquid: one, or a pasted column."""

    value = FigureText(
        label=_("Value now"),
        required=False,
        help_text=_("Measured at this moment. For other times use the column below."),
    )
    column = forms.CharField(
        label=_("Column from a logger"),
        max_length=200_000,
        required=False,
        widget=forms.Textarea(attrs={"rows": 6, "spellcheck": "false"}),
        help_text=_("On each line a time and a value, such as 14:05 71.5."),
    )

    def __init__(self, *args: Any, run: Run, workshop: Workshop, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        heat = run.protocol.process == Process.HEAT
        self.by = MC if heat else 1
        self.fields["value"].widget.attrs["data-unit"] = "°C" if heat else "ppm"
        self.zone = ZoneInfo(workshop.time_zone)
        self.opened = run.opened_at.astimezone(self.zone).replace(tzinfo=None)
        self.values: list[tuple[datetime | None, int]] = []

    def clean(self) -> dict[str, Any]:
        """Read the value and the column as moments and whole numbers."""
        data = super().clean() or self.cleaned_data
        one, column = data.get("value", ""), data.get("column", "")
        if not one and not column:
            refusal = CodeError("values_missing")
            raise ValidationError(sentence(refusal), code=refusal.code)
        if one:
            try:
                self.values.append((None, scaled(one, self.by)))
            except LotwardError as error:
                self.add_error("value", ValidationError(UNSAID, error.code))
        if column:
            try:
                self.values += self._column(column)
            except LotwardError as error:
                words = gettext("Column from a logger: %(why)s")
                why = {"why": sentence(error)}
                self.add_error("column", ValidationError(words, error.code, why))
        return data

    @property
    def entries(self) -> dict[str, Any]:
        """The values that were read."""
        return {"values": self.values}

    def _column(self, text: str) -> list[tuple[datetime, int]]:
        lines = holding.read_column(text, opened=self.opened)
        return [
            (line.at.replace(tzinfo=self.zone), scaled(line.figure, self.by))
            for line in lines
        ]
