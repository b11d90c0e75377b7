"""The form of numbers for blank labels."""

from __future__ import annotations

from django import forms
from django.utils.translation import gettext_lazy as _

from kitting.web.forms import KeyedForm


class BagNumbersForm(KeyedForm):
    """How many numbers for blank labels."""

    things = {"count": _("how many numbers")}

    count = forms.IntegerField(
        label=_("How many"),
        min_value=1,
        initial=24,
        widget=forms.NumberInput(attrs={"data-unit": _("numbers")}),
    )
