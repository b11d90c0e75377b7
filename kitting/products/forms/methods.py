"""Forms of methods: new settings, a correction, a release, and which are listed."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from kitting.domain.settings import VERSION_LONGEST
from kitting.ledger.coded import CODE_LONGEST, NAME_LONGEST
from kitting.models import Part
from kitting.models.catalogue import Unit
from kitting.printing.forms.stocks import capitals
from kitting.web.fields import CodeField, RowsField
from kitting.web.forms import FilterForm, KeyedForm, NamedForm


class SettingsForm(KeyedForm):
    """Machines, the version of their settings, and the parts that are made so."""

    things = {
        "machine_group": _("the machines"),
        "settings_version": _("the version of the settings"),
        "parts": _("the parts that are made so"),
    }

    settings_version = forms.CharField(
        label=_("Version of the settings"),
        max_length=VERSION_LONGEST,
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    machine_group = forms.CharField(
        label=_("Machines"),
        max_length=NAME_LONGEST,
        help_text=_("Those that work alike, such as Printers, row A."),
        widget=forms.TextInput(attrs={"list": "machines", "autocomplete": "off"}),
    )
    parts = RowsField(
        label=_("Parts that are made so"),
        queryset=Part.objects.filter(unit=Unit.PIECE),
        widget=forms.CheckboxSelectMultiple,
    )

    @property
    def entries(self) -> dict[str, Any]:
        """As of every form, but for the parts: their ids."""
        said = {**self.cleaned_data}
        del said["op_key"]
        if "parts" in said:
            said["part_ids"] = sorted(part.pk for part in said.pop("parts"))
        return said


class MethodForm(SettingsForm):
    """New settings."""

    code = CodeField(
        required=False,
        max_length=CODE_LONGEST,
        help_text=_(
            "Capitals, digits and hyphens; it stays. Empty: Lotward makes it from the"
            " one before, such as PRINT-S8 after PRINT-S7."
        ),
    )

    def clean_code(self) -> str:
        """The code in capitals."""
        return capitals(self.cleaned_data["code"])


class MethodChangeForm(SettingsForm):
    """A method as it is to be from now on.

    Args:
        *args: As for any form.
        fixed: Whether history rests on what it says.
        **kwargs: As for any form.
    """

    things = {"seen": _("what was on record")}

    seen = forms.CharField(widget=forms.HiddenInput, required=False, max_length=64)
    active = forms.BooleanField(
        label=_("In use"),
        required=False,
        help_text=_(
            "Without the tick no new lot is made with it. It keeps its history."
        ),
    )

    def __init__(self, *args: Any, fixed: bool = False, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if fixed:
            for name in ("settings_version", "machine_group", "parts"):
                del self.fields[name]


class MethodReleaseForm(NamedForm):
    """The release of a method, as it was read."""

    things = {"seen": _("what was on record")}

    seen = forms.CharField(widget=forms.HiddenInput, max_length=64)


class MethodFilterForm(FilterForm):
    """Of which part methods are listed, as it stands in the address."""

    part = forms.ModelChoiceField(
        label=_("Part"),
        queryset=Part.objects.filter(unit=Unit.PIECE),
        required=False,
        to_field_name="code",
        empty_label=_("any part"),
    )
