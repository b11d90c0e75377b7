"""The forms with which a run ends, with its dosimeters; and of a line that stops."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django import forms
from django.forms import BoundField
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from kitting.disinfection.forms.runs import ReadingsForm
from kitting.web.fields import FigureField, ReasonField
from kitting.web.forms import KeyedForm, NamedForm

ROWS = 4
"""Dosimeters that the form has room for."""


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


class CloseRunForm(ReadingsForm, DosimetersForm, NamedForm):
    """The closing readings of a run, at the opening's places, and its dosimeters."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if not self.places:
            del self.fields["unit"], self.fields["sure"]

    @property
    def entries(self) -> dict[str, Any]:
        """Readings and doses."""
        return {"readings": self.values, "dosimeters": self.dosed}

    @property
    def first_fields(self) -> list[BoundField]:
        """The fields that come before the readings."""
        return [self["unit"]] if "unit" in self.fields else []


class StopForm(KeyedForm):
    """Why the line stopped."""

    things = {
        "reason": _("what happened"),
    }

    reason = ReasonField(
        label=_("What happened"),
        max_length=150,
        help_text=_(
            "Such as: the belt jammed. Every bag on the line keeps these words."
        ),
    )


class GiveUpForm(KeyedForm):
    """Why a run cannot be closed with readings."""

    reason = ReasonField(
        max_length=150,
        help_text=_(
            "Such as: lamp 3 went out. Every bag of the run keeps these words."
        ),
    )
