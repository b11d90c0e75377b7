"""The form of planning a lamp."""

from __future__ import annotations

from django.utils.translation import gettext_lazy as _

from kitting.web.fields import FigureField
from kitting.web.forms import SpokenForm


class PlanningForm(SpokenForm):
    """A tubular lamp to compute with, before anything is built."""

    power = FigureField(
        label=_("UV-C output of the lamp"),
        unit="W",
        help_text=_("Not its electrical power: the maker states both."),
    )
    length = FigureField(label=_("Length of its arc"), unit="mm")
    distance = FigureField(label=_("Distance from its axis"), unit="mm")
