"""A period, and the filters of the shipping log, as they stand in an address."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from dispatch.log.queries import Filters, lot_named
from dispatch.models import Consignee
from kitting.ledger.clock import midnight
from kitting.web.forms import DayField, NamedField, SpokenForm


class PeriodForm(SpokenForm):
    """From one day to another; each may stay empty."""

    to = DayField(label=_("to"), required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        first = DayField(label=_("from"), required=False)
        self.fields["from"] = first  # no name that a class body could give
        self.order_fields(["from", "to"])

    def clean(self) -> dict[str, Any]:
        """Refuse a period that ends before it begins."""
        first, last = self.cleaned_data.get("from"), self.cleaned_data.get("to")
        if first and last and first > last:
            words = _("The last day is before the first. Exchange the two.")
            raise ValidationError(words, code="days_reversed")
        return self.cleaned_data

    @property
    def since(self) -> datetime | None:
        """The first moment of a valid form."""
        day = self.cleaned_data["from"]
        return midnight(day) if day else None

    @property
    def until(self) -> datetime | None:
        """The first moment that is too late."""
        day = self.cleaned_data["to"]
        return midnight(day + timedelta(days=1)) if day else None


class LogForm(PeriodForm):
    """From, to, consignee, words and lot; each may stay empty."""

    things = {
        "consignee": _("the consignee"),
        "q": _("the words"),
        "lot": _("the lot"),
    }

    consignee = forms.ModelChoiceField(
        Consignee.objects.all(),
        label=_("for"),
        required=False,
        to_field_name="code",
        empty_label=_("any consignee"),
    )
    q = forms.CharField(label=_("with the words"), required=False, max_length=100)
    lot = NamedField(lot_named, label=_("carrying lot"))

    def filters(self) -> Filters:
        """What a valid form asks for."""
        data = self.cleaned_data
        return Filters(
            since=self.since,
            before=self.until,
            consignee_id=data["consignee"].pk if data["consignee"] else None,
            words=data["q"],
            lot_id=data["lot"].pk if data["lot"] else None,
        )
