"""Forms for putting away, for what stands at a place, for carriers and yields."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from kitting.domain.stages import BagStage, BoxStage
from kitting.models import Part
from kitting.web.fields import ReasonField
from kitting.web.forms import LONGEST_SCAN, FilterForm, KeyedForm, ScanField

LONGEST_NAME = 60
"""Characters that a carrier's name takes."""


class PutAwayForm(KeyedForm):
    """One scan, and what is in hand."""

    things = {
        "read": _("a bag, a box, a carrier or a place"),
        "hand": _("what is in hand"),
        "why": _("why it goes into quarantine"),
    }

    read = ScanField(label=_("Scan"))
    hand = forms.CharField(
        required=False,
        max_length=LONGEST_SCAN,
        strip=False,
        widget=forms.HiddenInput,
    )
    why = ReasonField(label=_("Why it goes into quarantine"), required=False, rows=2)


class CarrierForm(KeyedForm):
    """A carrier's name; Lotward gives its number."""

    name = forms.CharField(
        label=_("What people call it"),
        max_length=LONGEST_NAME,
        help_text=_("Such as Blue trolley. Lotward gives the number to scan."),
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )


def _stages() -> list[tuple[str, Any]]:
    here = [BagStage.USED_UP, *BoxStage]
    stages = [stage for stage in BagStage if stage not in here]
    boxes = (
        BoxStage.OPEN,
        BoxStage.CLOSED,
        BoxStage.LABELLED,
        BoxStage.LOADED,
        BoxStage.RETURNED,
    )
    words = [(str(each), str(each).replace("_", " ")) for each in (*stages, *boxes)]
    return [("", _("any stage")), *words]


class PlaceFilterForm(FilterForm):
    """The filters of what stands at a place, as they stand in the address."""

    things = {
        "what": _("what is listed"),
    }

    what = forms.ChoiceField(
        required=False,
        choices=[
            ("", _("bags and boxes")),
            ("bags", _("bags")),
            ("boxes", _("boxes")),
        ],
    )
    part = forms.ModelChoiceField(
        queryset=Part.objects.all(),
        required=False,
        to_field_name="code",
        empty_label=_("any part"),
    )
    stage = forms.ChoiceField(required=False, choices=_stages)
