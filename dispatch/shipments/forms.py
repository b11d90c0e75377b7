"""Forms that make up, send and cancel a shipment."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from dispatch.consignees.fields import ConsigneeField, PointField
from kitting.web.forms import KeyedForm, ScanField

LARGEST_ID = 2**63 - 1


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

    box = forms.IntegerField(
        min_value=1, max_value=LARGEST_ID, widget=forms.HiddenInput
    )


class SendForm(KeyedForm):
    """Send all that is on, as the page showed it."""

    things = {
        "seen": _("what was on the page"),
        "unlabelled": _("why it goes without labels"),
    }

    seen = forms.IntegerField(
        min_value=0, max_value=LARGEST_ID, widget=forms.HiddenInput
    )
    unlabelled = forms.CharField(
        label=_("Why it goes without these labels"), required=False, max_length=200
    )


class CancelForm(KeyedForm):
    """Call a shipment off."""

    reason = forms.CharField(label=_("Reason"), max_length=200)
