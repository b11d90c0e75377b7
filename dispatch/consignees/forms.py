"""Forms of consignees."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from dispatch.consignees.queries import LONGEST, NAME_LONGEST, in_use
from kitting.ledger.coded import CONSIGNEE_CODE_LONGEST
from kitting.printing.forms.stocks import capitals
from kitting.printing.queries.label_words import to_choose
from kitting.web.fields import CodeField, ReasonField
from kitting.web.forms import KeyedForm, SureForm, sure_field


class ConsigneeForm(KeyedForm):
    """A consignee's name and address, in parts."""

    things = {
        "points": _("the delivery points"),
        "contact": _("whom to ask there by day"),
        "night_contact": _("whom to ask there at night"),
        "email": _("its e-mail address"),
        "opening": _("when it takes deliveries"),
        "gln": _("the GLN"),
    }

    name = forms.CharField(label=_("Name"), max_length=NAME_LONGEST)
    street = forms.CharField(
        label=_("Street"),
        max_length=LONGEST["street"],
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text=_("With the entrance, a line for each, as it is written there."),
    )
    postcode = forms.CharField(
        label=_("Postcode"), max_length=LONGEST["postcode"], required=False
    )
    city = forms.CharField(label=_("City"), max_length=LONGEST["city"])
    region = forms.CharField(
        label=_("Region"), max_length=LONGEST["region"], required=False
    )
    country = forms.CharField(
        label=_("Country"),
        max_length=2,
        help_text=_("By its two letters in ISO 3166-1, such as PT."),
    )
    points = forms.CharField(
        label=_("Delivery points and wards"),
        max_length=LONGEST["points"],
        required=False,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text=_("A line for each, where there are several."),
    )
    contact = forms.CharField(
        label=_("Whom to ask there by day"),
        max_length=LONGEST["contact"],
        required=False,
    )
    night_contact = forms.CharField(
        label=_("Whom to ask there at night"),
        max_length=LONGEST["night_contact"],
        required=False,
    )
    email = forms.CharField(
        label=_("E-mail"),
        max_length=LONGEST["email"],
        required=False,
        help_text=_("Letters about a recall go there, if you send them so."),
        widget=forms.TextInput(attrs={"inputmode": "email", "autocomplete": "off"}),
    )
    opening = forms.CharField(
        label=_("When it takes deliveries"),
        max_length=LONGEST["opening"],
        required=False,
    )
    gln = forms.CharField(
        label=_("GLN"),
        max_length=20,
        required=False,
        help_text=_("Its number in the system of GS1, if it has one."),
    )
    language = forms.ChoiceField(label=_("Language of its packing lists"))

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.offer("language", to_choose())  # asked once for the whole page

    def clean_country(self) -> str:
        """The country in capitals."""
        return capitals(self.cleaned_data["country"])


class ConsigneeMergeForm(KeyedForm):
    """The consignee that stays, and how it is known that the two are one."""

    things = {"into": _("the one that stays")}

    into = forms.ModelChoiceField(
        in_use(),
        label=_("Which one stays"),
        to_field_name="code",
        empty_label=_("Choose one"),
    )
    reason = ReasonField(label=_("How is it known that they are one?"))


class ConsigneeNewForm(ConsigneeForm):
    """A new consignee."""

    code = CodeField(
        max_length=CONSIGNEE_CODE_LONGEST,
        help_text=_("Capitals, digits and hyphens. It stays."),
    )

    field_order = ("op_key", "code")

    def clean_code(self) -> str:
        """The code in capitals."""
        return capitals(self.cleaned_data["code"])


class ConsigneeChangeForm(ConsigneeForm, SureForm):
    """A consignee as it is to be from now on."""

    things = {
        **ConsigneeForm.things,
        "seen": _("what was on record"),
        "sure": _("why it is closed"),
    }

    active = forms.BooleanField(
        label=_("Something can be asked for and sent there"), required=False
    )
    seen = forms.CharField(widget=forms.HiddenInput, required=False, max_length=64)
    sure = sure_field(label=_("Why it is closed anyway"))
