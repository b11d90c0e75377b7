"""Forms of what materials give at most."""

from __future__ import annotations

from django import forms
from django.utils.translation import gettext_lazy as _

from kitting.models import Part
from kitting.models.catalogue import Unit
from kitting.web.forms import KeyedForm


class YieldForm(KeyedForm):
    """What an amount of a material gives at most."""

    things = {
        "pieces": _("how many pieces it gives at most"),
        "amount": _("the amount of the material"),
        "material": _("the material"),
    }

    part = forms.ModelChoiceField(
        label=_("Part that is made"),
        queryset=Part.objects.filter(unit=Unit.PIECE),
        empty_label=_("Choose a part"),
    )
    pieces = forms.IntegerField(
        label=_("At most"),
        min_value=1,
        widget=forms.NumberInput(attrs={"data-unit": _("pieces")}),
    )
    amount = forms.IntegerField(
        label=_("From"),
        min_value=1,
        help_text=_("In the unit that the material is counted in: pieces, g or mm."),
    )
    material = forms.ModelChoiceField(
        label=_("Of"),
        queryset=Part.objects.all(),
        empty_label=_("Choose the material"),
    )


class DropYieldForm(KeyedForm):
    """A yield that is taken out."""

    things = {
        "which": _("the yield"),
    }

    which = forms.IntegerField(widget=forms.HiddenInput)
