from __future__ import annotations

from django import forms
from django.utils.translation import gettext_lazy as _

from kitting.web.forms import KeyedForm


class WorkshopForm(KeyedForm):
    """Name, address, country, time zone and GS1 prefix of the workshop."""

    name = forms.CharField(label=_("Name"), max_length=80)
    address = forms.CharField(
        label=_("Address"),
        max_length=400,
        required=False,
        widget=forms.Textarea(attrs={"rows": 4}),
        help_text=_("It is printed on every label, line by line."),
    )
    country = forms.CharField(
        label=_("Country"),
        max_length=2,
        required=False,
        help_text=_(
            "By its two letters in ISO 3166-1, such as PT. A shipment inside it has no"
            " country on its labels."
        ),
    )
    time_zone = forms.CharField(
        label=_("Time zone"),
        max_length=40,
        help_text=_("By its name in the time zone database, such as Europe/Lisbon."),
    )
    gs1_prefix = forms.CharField(
        label=_("GS1 company prefix"),
        max_length=12,
        required=False,
        help_text=_(
            "As licensed to the workshop. Without one, labels carry plain numbers and"
            " claim nothing."
        ),
    )

    def clean_country(self) -> str:
        return str(self.cleaned_data["country"]).upper()
