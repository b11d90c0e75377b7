"""The form of a test: on which printer it comes out."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from kitting.labels.kinds import Kind
from kitting.models import Printer
from kitting.printing.queries.printers import printers_for
from kitting.web.forms import KeyedForm


class TestForm(KeyedForm):
    """The printer of a test.

    Args:
        *args: As for any form.
        kind: What is printed.
        **kwargs: As for any form.
    """

    printer = forms.ModelChoiceField(
        Printer.objects.none(), label=_("Printer"), empty_label=None
    )

    def __init__(self, *args: Any, kind: Kind[Any], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.printers = printers_for(kind)
        found = Printer.objects.filter(pk__in=[one.pk for one in self.printers])
        self.fields["printer"].queryset = found.order_by("code")  # type: ignore[attr-defined]
