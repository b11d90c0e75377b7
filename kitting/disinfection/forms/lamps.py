"""The forms of lamps."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from kitting.models import Place
from kitting.web.forms import DayField, KeyedForm

HOURS = forms.NumberInput(attrs={"data-unit": "h"})


class LampForm(KeyedForm):
    """A lamp that was fitted to a line."""

    things = {
        "rated_hours": _("the hours that it is rated for"),
    }

    line = forms.ChoiceField(label=_("Line"))
    name = forms.CharField(
        label=_("Lamp"), max_length=60, help_text=_("Such as: top 3.")
    )
    on = DayField(label=_("Fitted on"))
    rated_hours = forms.IntegerField(
        label=_("Rated for"), required=False, min_value=1, widget=HOURS
    )

    def __init__(self, *args: Any, lines: Iterable[Place], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.offer("line", [(str(line.pk), line.name) for line in lines])


class LampHoursForm(KeyedForm):
    """The counter of a lamp, as read."""

    on = DayField(label=_("Read on"))
    hours = forms.IntegerField(label=_("Hours in use"), min_value=0, widget=HOURS)


class LampChangeForm(KeyedForm):
    """A lamp that was taken out, and a new one in its place."""

    things = {
        "rated_hours": _("the hours that the new one is rated for"),
    }

    on = DayField(label=_("Changed on"))
    rated_hours = forms.IntegerField(
        label=_("The new one is rated for"),
        required=False,
        min_value=1,
        widget=HOURS,
    )
