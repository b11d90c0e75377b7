"""The form of a test: on which printer it comes out."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from kitting.models import Printer
from kitting.web.forms import KeyedForm


class TestForm(KeyedForm):
    """The printer of a test.

    Args:
        *args: As for any form.
        printers: Those that have stock for it.
        **kwargs: As for any form.
    """

    printer = forms.ModelChoiceField(
        Printer.objects.none(), label=_("Printer"), empty_label=None
    )

    def __init__(self, *args: Any, printers: Sequence[Printer], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        found = Printer.objects.filter(pk__in=[one.pk for one in printers])
        self.fields["printer"].queryset = found.order_by("code")  # type: ignore[attr-defined]
