"""Forms that build and break up a pallet."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from kitting.web.fields import IdField
from kitting.web.forms import KeyedForm, ScanField


class BeginForm(KeyedForm):
    """Begin a pallet; nothing is asked."""


class BoxScanForm(KeyedForm):
    """One scan; whatever it holds, the lookup answers with a sentence."""

    things = {
        "scan": _("a box"),
    }

    scan = ScanField(label=_("Scan a box"), required=False, max_length=None)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["scan"].validators = []  # a control character is answered as well


class TakeOffForm(KeyedForm):
    """Take one box off."""

    box = IdField(min_value=1)


class BreakUpForm(KeyedForm):
    """Break a pallet up."""

    reason = forms.CharField(label=_("Reason"), max_length=200)
