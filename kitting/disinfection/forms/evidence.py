"""Forms of evidence, and of the largest dose that a part may take."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from kitting.domain.figures import written
from kitting.models import Part
from kitting.web.fields import CodeField, FigureField, ReasonField
from kitting.web.forms import DayField, KeyedForm


class EvidenceForm(KeyedForm):
    """A report that protocols may stand on."""

    code = CodeField(
        max_length=20,
        help_text=_("A short name of your own for it, by which protocols name it."),
    )
    laboratory = forms.CharField(label=_("Laboratory"), max_length=80)
    surface = forms.CharField(
        label=_("Surface"),
        max_length=80,
        help_text=_("What was exposed. A result says nothing about another surface."),
    )
    container = forms.CharField(label=_("Container"), required=False, max_length=60)
    measured = forms.CharField(label=_("Organism or measurement"), max_length=120)
    result = ReasonField(label=_("Result"))
    document = forms.CharField(
        label=_("Document"), max_length=120, help_text=_("Number, version and page.")
    )
    on = DayField(label=_("Date of the report"))


class DoseForm(KeyedForm):
    """The largest cumulative dose that a part may take in its life."""

    dose = FigureField(
        label=_("Largest dose in its life"),
        unit="mJ/cm²",
        by=1000,
        up=True,
        required=False,
    )

    def __init__(self, *args: Any, part: Part, **kwargs: Any) -> None:
        known = part.max_dose_uj_cm2
        shown = "" if known is None else written(known, 1000)
        super().__init__(*args, **kwargs)
        self.initial.setdefault("dose", shown)
        self.fields["dose"].help_text = _("Empty where no limit is known.")
