"""The form for cancelling a lot that was taken in by mistake."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from kitting.web.fields import ReasonField
from kitting.web.forms import KeyedForm


class CancelLotForm(KeyedForm):
    """Why a lot is cancelled, and what was shown to be in it."""

    things = {
        "reason": _("why the lot is cancelled"),
        "pieces": _("what was shown to be in the lot"),
    }

    pieces = forms.IntegerField(min_value=0, max_value=2**53, widget=forms.HiddenInput)
    reason = ReasonField(
        help_text=_("Such as: entered twice, of another part, with a wrong date.")
    )

    def __init__(self, *args: Any, pieces: int, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.initial.setdefault("pieces", pieces)
