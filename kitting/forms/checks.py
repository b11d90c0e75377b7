"""The form of a check."""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from kitting.forms.base import KeyedForm
from kitting.models.lots import Verdict


class CheckForm(KeyedForm):
    """How a lot was checked, what was found, and the verdict."""

    plan = forms.CharField(
        label=_("How it was checked"),
        max_length=80,
        help_text=_("Such as: 20 pieces of 800, edges and strap holes, by hand."),
    )
    found = forms.IntegerField(
        label=_("Defects found"), min_value=0, max_value=1_000_000, initial=0
    )
    verdict = forms.ChoiceField(
        label=_("Verdict"),
        choices=[
            (Verdict.ACCEPTED, _("Accept the lot")),
            (Verdict.REJECTED, _("Reject the lot")),
        ],
        widget=forms.RadioSelect,
    )
    reason = forms.CharField(
        label=_("Why"),
        required=False,
        max_length=200,
        help_text=_("Needed where the lot is rejected: whoever meets it reads this."),
        widget=forms.Textarea(attrs={"rows": 3}),
    )

    def clean(self) -> dict[str, Any]:
        """Ask for the reason of a rejection where it is to be written."""
        data = super().clean() or self.cleaned_data
        if data.get("verdict") == Verdict.REJECTED and not data.get("reason"):
            self.add_error(
                "reason",
                ValidationError(
                    _("Say why the lot is rejected."), code="reason_missing"
                ),
            )
        return data
