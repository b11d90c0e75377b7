"""Forms of what is measured otherwise than by readings: dosimeters and logged values."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from django import forms
from django.core.exceptions import ValidationError
from django.forms import BoundField
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from kitting.domain import holding
from kitting.domain.errors import CodeError, LotwardError
from kitting.domain.figures import scaled
from kitting.models import Run, Workshop
from kitting.models.runs import Process
from kitting.web.fields import FigureField, FigureText
from kitting.web.forms import KeyedForm
from kitting.web.messages import sentence
from kitting.web.wording import UNSAID

ROWS = 4
"""Dosimeters that the form has room for."""
MC = 1000
"""Thousandths in a degree Celsius."""


@dataclass(frozen=True)
class DosimeterRow:
    """The fields of one dosimeter."""

    nth: int
    side: BoundField
    dose: BoundField
    u: BoundField

    @property
    def errors(self) -> list[BoundField]:
        """Those of its fields that are wrong."""
        return [field for field in (self.side, self.dose, self.u) if field.errors]


class DosimetersForm(KeyedForm):
    """Dosimeters that went through a run; every row may stay empty."""

    def __init__(self, *args: Any, sides: list[tuple[str, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.dosed: list[tuple[str, int, int]] = []
        for nth in range(1, ROWS + 1):
            of = {"nth": nth}
            self.things = {
                **self.things,
                f"d_side_{nth}": gettext("the side of dosimeter %(nth)s") % of,
                f"d_dose_{nth}": gettext("the dose of dosimeter %(nth)s") % of,
                f"d_u_{nth}": gettext("the uncertainty of dosimeter %(nth)s") % of,
            }
            self.fields[f"d_side_{nth}"] = forms.ChoiceField(
                label=gettext("Dosimeter %(nth)s, side") % of,
                choices=sides,
                required=False,
            )
            self.fields[f"d_dose_{nth}"] = FigureField(
                label=gettext("Dosimeter %(nth)s, dose") % of,
                unit="mJ/cm²",
                required=False,
            )
            self.fields[f"d_u_{nth}"] = FigureField(
                label=gettext("Dosimeter %(nth)s, its uncertainty") % of,
                unit="%",
                by=10_000,
                up=True,
                required=False,
            )

    def clean(self) -> dict[str, Any]:
        """Take the rows that are filled in; half a row is refused."""
        data = super().clean() or self.cleaned_data
        for nth in range(1, ROWS + 1):
            names = [f"d_dose_{nth}", f"d_u_{nth}"]
            given = [name for name in names if data.get(name) is not None]
            if not given or any(name in self.errors for name in names):
                continue
            for name in names:
                if name not in given:
                    self.ask_for(name, "dosimeter_half_given")
            if len(given) == len(names) and data.get(f"d_side_{nth}"):
                row = data[f"d_side_{nth}"], data[names[0]], data[names[1]]
                self.dosed.append(row)
        return data

    @property
    def dosimeter_rows(self) -> list[DosimeterRow]:
        """The rows, with their fields."""
        return [
            DosimeterRow(
                nth, self[f"d_side_{nth}"], self[f"d_dose_{nth}"], self[f"d_u_{nth}"]
            )
            for nth in range(1, ROWS + 1)
        ]

    @property
    def any_dosimeter(self) -> bool:
        """Whether a row was filled in or is wrong, so that it must be seen."""
        return bool(self.dosed) or any(row.errors for row in self.dosimeter_rows)


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
