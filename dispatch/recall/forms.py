"""The forms of holds and cases: placing a hold, lifting it, opening a case, widening it."""

from __future__ import annotations

from datetime import datetime
from typing import Any, Final

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from dispatch.models.cases import LONGEST_CLASS, LONGEST_HAZARD
from dispatch.recall.queries.recall import Target
from dispatch.receipts.forms.deliveries import TimeField
from kitting.models.holds import TARGETS
from kitting.web.forms import LONGEST_SCAN, DayField, KeyedForm, NamedForm, ScanField

_HALF: Final = _("Write the day and the time, or neither: then it was now.")


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


class WidenForm(KeyedForm):
    """Bring some of the things that a page offers into the scope of a case."""

    things = {
        "scope": _("what the case is about"),
    }

    scope = forms.MultipleChoiceField(
        label=_("What it is about"),
        widget=forms.CheckboxSelectMultiple,
        help_text=_("Each is held at once, with all that was made from it."),
    )
    reason = forms.CharField(
        label=_("Reason"),
        max_length=200,
        help_text=_("Such as who called, and what they saw."),
    )

    def __init__(self, *args: Any, targets: list[Target], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.offer("scope", [(target.value, target.words) for target in targets])
        self._lots = {target.value: target.lots for target in targets}
        self.fields["scope"].initial = [target.value for target in targets[:1]]

    @property
    def entries(self) -> dict[str, Any]:
        """What comes into the scope, of lots that are alike each, and the rest."""
        scope: list[tuple[str, int | str]] = []
        for chosen in self.cleaned_data["scope"]:
            kind, _sep, value = chosen.partition(":")
            if kind in TARGETS:
                scope.append((kind, value if kind == "source" else int(value)))
            else:
                scope += [("lot", lot) for lot in self._lots[chosen]]
        return {**super().entries, "scope": scope}


class CaseForm(WidenForm):
    """Open a case on some of the things that a page offers."""

    things = {
        "hazard": _("what can happen to whom"),
    }

    hazard = forms.CharField(
        label=_("What can happen to whom"),
        max_length=LONGEST_HAZARD,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text=_(
            "Whoever meets its holds at a bench or a shipment reads how it begins."
        ),
    )
    rated = forms.CharField(
        label=_("Class of the recall"),
        max_length=LONGEST_CLASS,
        required=False,
        help_text=_(
            "As you decide it under the law of your country. Lotward computes none: the"
            " law and its authority decide."
        ),
    )

    field_order = ("scope", "hazard", "rated", "reason")


class BringForm(KeyedForm):
    """One scan, and the quarantine to which things go."""

    things = {
        "read": _("a bag, a box or a place for quarantine"),
        "to": _("the quarantine"),
    }

    read = ScanField(label=_("Scan"))
    to = forms.CharField(
        required=False, max_length=LONGEST_SCAN, widget=forms.HiddenInput
    )


class NotFoundForm(KeyedForm):
    """Say that something is not where the record says."""

    things = {
        "reason": _("where it was looked for"),
    }

    reason = forms.CharField(
        label=_("Where it was looked for"),
        max_length=200,
        help_text=_("It stays on the list: once it is found, a scan brings it in."),
    )


class LiftForm(NamedForm):
    """End one hold."""

    things = {
        "reason": _("why the hold may be lifted"),
    }

    reason = forms.CharField(label=_("Why it may be lifted"), max_length=200)


class WhenForm(KeyedForm):
    """What was said, and when, where it was not said just now."""

    things = {
        "on": _("the day when it was"),
        "at": _("the time when it was"),
    }

    on = DayField(label=_("Day, if it was not now"), required=False)
    at = TimeField(
        label=_("Time, if it was not now"),
        required=False,
        help_text=_("In the zone of the workshop. Empty for now."),
    )

    def clean(self) -> dict[str, Any]:
        """Refuse a day without a time, and the other way: neither is guessed."""
        data = super().clean() or self.cleaned_data
        for one, other in (("on", "at"), ("at", "on")):
            if data.get(one) and not data.get(other) and not self.has_error(other):
                self.add_error(other, ValidationError(_HALF, "half_a_moment"))
        return data

    @property
    def entries(self) -> dict[str, Any]:
        """What was said; when is told apart."""
        said = super().entries
        return {name: said[name] for name in said if name not in ("on", "at")}

    @property
    def when(self) -> datetime | None:
        """The moment; None for now."""
        day, time = self.cleaned_data["on"], self.cleaned_data["at"]
        if not (day and time):
            return None
        return datetime.combine(day, time, timezone.get_current_timezone())
