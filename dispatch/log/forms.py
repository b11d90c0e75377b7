"""A period, and the filters of the shipping log, as they stand in an address."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any
from urllib.parse import urlencode

from django import forms
from django.core.exceptions import ValidationError
from django.http import QueryDict
from django.utils.translation import gettext_lazy as _

from dispatch.log.queries import (
    ASKED_LONGEST,
    NAME_LONGEST,
    Filters,
    box_or_pallet,
    lot_named,
)
from dispatch.models import Consignee, Pallet
from kitting.domain.stages import GONE_SHIPMENTS
from kitting.ledger.clock import midnight
from kitting.models import Box, Product
from kitting.web.fields import KnownField
from kitting.web.forms import (
    DayField,
    KeyedForm,
    NamedField,
    ScanField,
    SpokenForm,
)
from kitting.web.shapes import WORDS


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
    """Words, days, consignee, product, stage, who took it, lot; each may stay empty.

    One field takes words as well as whatever names a box: a serial, an SSCC, a scan.
    """

    things = {
        "consignee": _("the consignee"),
        "product": _("the product"),
        "stage": _("the stage"),
        "taken": _("who took it"),
        "q": _("the words or number"),
        "lot": _("the lot"),
    }

    box: Box | None = None
    """The box that the words of a valid form name."""

    consignee = KnownField(
        Consignee.objects.only("code", "name"),
        label=_("for"),
        required=False,
        empty_label=_("any consignee"),
    )
    product = KnownField(
        Product.objects.order_by("name").only("code", "name"),
        label=_("of"),
        required=False,
        empty_label=_("any product"),
    )
    stage = forms.ChoiceField(
        label=_("now"),
        required=False,
        choices=[
            ("", _("sent or delivered")),
            *[(str(each), WORDS[each]) for each in GONE_SHIPMENTS],
        ],
    )
    taken = forms.CharField(label=_("taken by"), required=False, max_length=80)
    q = ScanField(label=_("with words, serial or SSCC"), required=False)
    lot = NamedField(lot_named, label=_("carrying lot"))

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["q"].widget.attrs["size"] = 22
        self.order_fields(["q"])

    def clean(self) -> dict[str, Any]:
        """Find the box or pallet that the words name, if it is one."""
        data = super().clean()
        words = data.get("q", "").strip()
        found = box_or_pallet(words) if words else None
        self.box = found if isinstance(found, Box) else None
        self.pallet = found if isinstance(found, Pallet) else None
        return data

    @property
    def asked(self) -> str:
        """What is asked, as it stands in the address; empty where nothing is."""
        said = {name: self.data.get(name, "").strip() for name in self.fields}
        return urlencode({name: text for name, text in said.items() if text})

    def filters(self) -> Filters:
        """What a valid form asks for."""
        data = self.cleaned_data
        return Filters(
            since=self.since,
            before=self.until,
            consignee_id=data["consignee"].pk if data["consignee"] else None,
            product=data["product"].code if data["product"] else "",
            stage=data["stage"],
            taken=data["taken"],
            words="" if self.box or self.pallet else data["q"],
            box_id=self.box.pk if self.box else None,
            pallet_id=self.pallet.pk if self.pallet else None,
            lot=data["lot"],
        )


class KeepViewForm(KeyedForm):
    """What the log is asked for gets a name."""

    things = {"asked": _("what is asked of the log")}

    name = forms.CharField(
        label=_("Name"),
        max_length=NAME_LONGEST,
        help_text=_("Your own view of that name is replaced."),
    )
    asked = forms.CharField(
        widget=forms.HiddenInput, max_length=ASKED_LONGEST, required=False
    )

    def clean_asked(self) -> str:
        """Take only what the log can read, as it reads it."""
        log = LogForm(QueryDict(self.cleaned_data["asked"]))
        if not log.is_valid() or not log.asked:
            words = _(
                "Nothing is asked of the log that it can read. Begin again there."
            )
            raise ValidationError(words, code="view_unreadable")
        return log.asked
