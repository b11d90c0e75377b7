"""The form of the print log."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from kitting.ledger.clock import midnight
from kitting.models import Printer
from kitting.printing.queries.labels import LABELLED, label_words
from kitting.web.forms import DayField, FilterForm


class PrintLogForm(FilterForm):
    """The sentence above the print log; every field may stay empty."""

    kind = forms.ChoiceField(required=False)
    number = forms.CharField(
        required=False,
        max_length=40,
        widget=forms.TextInput(
            attrs={"placeholder": _("anything"), "size": "16", "data-scan": ""}
        ),
    )
    since = DayField(required=False)
    until = DayField(required=False)
    printer = forms.ChoiceField(required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        kinds = ((name, label_words(name, 2)) for name in (*LABELLED, "test"))
        self.offer("kind", [("", _("labels of any kind")), *kinds])
        printers = Printer.objects.order_by("code").values_list("code", "name")
        pdf = ("pdf", _("as a PDF"))
        self.offer("printer", [("", _("anywhere")), *printers, pdf])

    def clean_number(self) -> str:
        return str(self.cleaned_data["number"]).strip().upper()

    def chosen(self) -> dict[str, Any]:
        """What is set and can be read, its days as moments."""
        data = super().chosen()
        if "since" in data:
            data["since"] = midnight(data["since"])
        if "until" in data:
            data["before"] = midnight(data.pop("until") + timedelta(days=1))
        return data
