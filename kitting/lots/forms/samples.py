"""Forms of samples: pieces for a test, and what came back."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from kitting.lots.forms.counts import MOST
from kitting.lots.forms.lots import unit_word
from kitting.models import Bag
from kitting.web.fields import ReasonField
from kitting.web.forms import KeyedForm


class SampleForm(KeyedForm):
    """Pieces that leave a bag for a test."""

    things = {
        "pieces": _("how many pieces leave the bag"),
        "what_for": _("what the test is for"),
        "sent_to": _("who gets them"),
    }

    pieces = forms.IntegerField(label=_("How many"), min_value=1, max_value=MOST)
    what_for = forms.CharField(
        label=_("What for"),
        max_length=120,
        help_text=_("Such as: swabs after the run, fit on a head, tear of the band."),
    )
    sent_to = forms.CharField(label=_("To whom"), max_length=80)

    def __init__(self, *args: Any, bag: Bag, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["pieces"].widget.attrs["data-unit"] = unit_word(bag.lot.part)


class ResultForm(KeyedForm):
    """What came back for a sample."""

    result = ReasonField(label=_("What was found"))
    document = forms.CharField(
        label=_("Where the result is written"),
        required=False,
        max_length=120,
        help_text=_("Number and date of the report."),
    )
