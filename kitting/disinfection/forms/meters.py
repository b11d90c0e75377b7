"""The forms of meters."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django import forms
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from kitting.models import Calibration
from kitting.web.fields import FigureField, ReasonField
from kitting.web.forms import DayField, KeyedForm

NM = forms.NumberInput(attrs={"data-unit": "nm"})


class MeterForm(KeyedForm):
    """A meter that is new here."""

    name = forms.CharField(
        label=_("Name"),
        max_length=60,
        help_text=_("Such as: radiometer, dosimeter, oven thermometer, test strip."),
    )
    serial = forms.CharField(label=_("Serial number"), max_length=30)


class CalibrationForm(KeyedForm):
    """What a meter's calibration certificate says."""

    things = {
        "low_nm": _("where the spectral range begins"),
        "high_nm": _("where the spectral range ends"),
    }

    on = DayField(label=_("Calibrated on"))
    due = DayField(label=_("Due on"), help_text=_("The last day on which it counts."))
    u = FigureField(
        label=_("Relative expanded uncertainty, k = 2"), unit="%", by=10_000, up=True
    )
    low_nm = forms.IntegerField(
        label=_("Spectral range from"), required=False, min_value=1, widget=NM
    )
    high_nm = forms.IntegerField(
        label=_("Spectral range to"),
        required=False,
        min_value=1,
        widget=NM,
        help_text=_("Leave both empty for a thermometer or a test strip."),
    )


class FoundWrongForm(KeyedForm):
    """A meter that was found to read wrong."""

    things = {
        "reason": _("what is wrong with it"),
    }

    found_on = DayField(label=_("Found on"))
    good = forms.ChoiceField(
        label=_("Last calibration that can be trusted"),
        help_text=_("A hold is placed on every run since that day."),
    )
    reason = ReasonField(label=_("What is wrong with it"), max_length=120)

    def __init__(
        self, *args: Any, calibrations: Iterable[Calibration], **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        words = gettext("of %(on)s, due %(due)s")
        known = [
            (str(row.pk), words % {"on": row.on, "due": row.due})
            for row in calibrations
        ]
        none = ("none", gettext("none: every run it was ever used for"))
        self.offer("good", [*known, none])

    @property
    def entries(self) -> dict[str, Any]:
        """As of every form, but for the id of the calibration that was chosen."""
        said = super().entries
        good = said.pop("good")
        return {"good_id": None if good == "none" else int(good), **said}
