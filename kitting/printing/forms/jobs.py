"""Forms for print jobs."""

from __future__ import annotations

from django import forms
from django.utils.translation import gettext_lazy as _

from kitting.printing.queries.jobs import FAILED, OVER, WAY
from kitting.web.forms import KeyedForm, SpokenForm


class SendAgainForm(KeyedForm):
    """A failed job is sent again; where labels may be out, somebody has looked."""

    nothing_out = forms.BooleanField(
        label=_("I have looked: none of its labels came out"), required=False
    )


class JobFilterForm(SpokenForm):
    """Which print jobs the page of labels shows."""

    jobs = forms.ChoiceField(
        label=_("Which jobs"),
        required=False,
        choices=[
            ("", _("all print jobs")),
            (WAY, _("those on their way")),
            (FAILED, _("those that failed and wait for somebody")),
            (OVER, _("those that are over")),
        ],
    )

    @property
    def chosen(self) -> str:
        """What is chosen; nothing for what cannot be read."""
        return str(self.cleaned_data.get("jobs", "")) if self.is_valid() else ""
