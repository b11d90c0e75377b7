"""The forms of holds: placing one, lifting it."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from dispatch.recall.queries import Target
from kitting.models.holds import TARGETS
from kitting.web.forms import KeyedForm, NamedForm


class HoldForm(KeyedForm):
    """Put a hold on one of the things that a page offers."""

    things = {
        "on": _("what the hold is placed on"),
    }

    on = forms.ChoiceField(label=_("Hold"), widget=forms.RadioSelect)
    reason = forms.CharField(
        label=_("Reason"),
        max_length=200,
        help_text=_("Everybody who is stopped by this hold reads it."),
    )

    def __init__(self, *args: Any, targets: list[Target], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.offer("on", [(target.value, target.words) for target in targets])
        if targets:
            self.fields["on"].initial = targets[0].value

    @property
    def entries(self) -> dict[str, Any]:
        """The kind of target, its id or the name of a source, and why."""
        kind, _sep, value = self.cleaned_data["on"].partition(":")
        assert kind in TARGETS  # noqa: S101
        return {
            "target": kind,
            "value": value if kind == "source" else int(value),
            "reason": self.cleaned_data["reason"],
        }


class LiftForm(NamedForm):
    """End one hold."""

    things = {
        "reason": _("why the hold may be lifted"),
    }

    reason = forms.CharField(label=_("Why it may be lifted"), max_length=200)
