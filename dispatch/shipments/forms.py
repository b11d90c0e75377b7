"""Forms that make up, send and cancel a shipment."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

from django import forms
from django.core.exceptions import NON_FIELD_ERRORS
from django.http import QueryDict
from django.utils.translation import gettext_lazy as _

from dispatch.consignees.fields import ConsigneeField, PointField
from dispatch.models import Shipment
from kitting.web.fields import IdField
from kitting.web.forms import DayField, KeyedForm, SpokenForm


class BeginForm(KeyedForm):
    """Begin a shipment."""

    things = {"point": _("the delivery point or ward")}

    consignee = ConsigneeField()
    point = PointField()
    reference = forms.CharField(
        label=_("Reference"),
        required=False,
        max_length=40,
        help_text=_("The consignee’s own number for what they asked for."),
    )


class PalletOffForm(KeyedForm):
    """Take a whole pallet off."""

    pallet = forms.CharField(max_length=20)


def _suggesting(words: str) -> forms.TextInput:
    """A field that suggests what was entered before, from a list of the page."""
    return forms.TextInput(attrs={"list": words, "autocomplete": "off"})


class SendForm(KeyedForm):
    """Send all that is on, as the page showed it."""

    things = {
        "seen": _("what was on the page"),
        "unlabelled": _("why it goes without labels"),
    }

    haulier = forms.CharField(
        label=_("Haulier"),
        required=False,
        max_length=80,
        help_text=_("The firm or service whose vehicle takes it."),
        widget=_suggesting("hauliers"),
    )
    driver = forms.CharField(
        label=_("Driver"),
        required=False,
        max_length=80,
        help_text=_("One of haulier and driver must be named."),
        widget=_suggesting("drivers"),
    )
    vehicle = forms.CharField(
        label=_("Vehicle"),
        required=False,
        max_length=40,
        help_text=_("Its number plate, or what it is called."),
        widget=_suggesting("vehicles"),
    )
    seal = forms.CharField(
        label=_("Seal number"),
        required=False,
        max_length=40,
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    reference = forms.CharField(
        label=_("Reference"),
        required=False,
        max_length=40,
        help_text=_("The consignee’s own number for what they asked for."),
    )
    seen = IdField()
    unlabelled = forms.CharField(
        label=_("Why it goes without these labels"), required=False, max_length=200
    )

    @property
    def written(self) -> dict[str, str]:
        """What was written into the fields, to stand there again when they are shown."""
        names = ("haulier", "driver", "vehicle", "seal", "reference", "unlabelled")
        return {name: str(self.data.get(name, ""))[:200] for name in names}

    def show(self, seen: int) -> None:
        """Note what the page shows now, whatever was sent."""
        self.initial["seen"] = seen
        if self.is_bound:
            sent: QueryDict = self.data.copy()  # type: ignore[attr-defined]
            sent["seen"] = str(seen)
            self.data = sent

    @property
    def asks_why(self) -> bool:
        """Whether it was refused for labels that lack."""
        return self.has_error(NON_FIELD_ERRORS, "labels_lacking")


class RoundForm(SpokenForm):
    """A day, and which shipments are a driver's stops in which order.

    Args:
        *args: As for any form.
        rows: The shipments that may be stops; each has a field for its place in the order.
        **kwargs: As for any form.
    """

    things = {"on": _("the day")}

    on = DayField(label=_("Day"), required=False)

    def __init__(
        self, *args: Any, rows: Sequence[Shipment] = (), **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.rows = rows
        for row in rows:
            label = _("Stop of %(number)s") % {"number": row.number}
            self.fields[f"stop-{row.number}"] = forms.IntegerField(
                label=label,
                widget=forms.NumberInput(attrs={"aria-label": label}),
                required=False,
                min_value=1,
                max_value=999,
            )

    @property
    def day(self) -> date | None:
        """The day that is asked for, if one can be read."""
        self.is_valid()
        day: date | None = self.cleaned_data.get("on")
        return day

    def lines(self) -> list[tuple[Shipment, forms.BoundField]]:
        """Each shipment with its field."""
        return [(row, self[f"stop-{row.number}"]) for row in self.rows]

    def stops(self) -> list[Shipment]:
        """The shipments that have a place in the order, in that order."""
        at = {row.pk: self.cleaned_data[f"stop-{row.number}"] for row in self.rows}
        chosen = [row for row in self.rows if at[row.pk]]
        return sorted(chosen, key=lambda row: (at[row.pk], row.pk))


class CancelForm(KeyedForm):
    """Call a shipment off."""

    reason = forms.CharField(label=_("Reason"), max_length=200)
