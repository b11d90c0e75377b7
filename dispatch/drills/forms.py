"""The forms of drills: beginning one, a call, the end."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from dispatch.effectiveness.forms import YesField
from dispatch.models.drills import LONGEST
from kitting.web.fields import ReasonField
from kitting.web.forms import KeyedForm


class DrillForm(KeyedForm):
    """Whether the consignees are called as well."""

    calling = forms.BooleanField(
        label=_("Call the consignees as well, and note when each answers"),
        required=False,
    )


class DrillCallForm(KeyedForm):
    """What came of a call."""

    things = {"said_by": _("who answered"), "answered": _("whether anybody answered")}

    answered = YesField(label=_("Did anybody answer?"))
    said_by = forms.CharField(
        label=_("Who answered"),
        required=False,
        max_length=LONGEST["said_by"],
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )

    def clean(self) -> dict[str, Any]:
        """Ask who it was, where somebody answered."""
        data = super().clean() or {}
        if data.get("answered") and not data.get("said_by"):
            self.ask_for("said_by", "entry_missing")
        return data


class DrillEndForm(KeyedForm):
    """What is to be better next time."""

    things = {"remarks": _("the remarks")}

    remarks = ReasonField(
        label=_("What went well, and what is to be better next time"),
        max_length=LONGEST["remarks"],
    )
