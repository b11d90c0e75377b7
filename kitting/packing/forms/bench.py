"""The one form of the bench: a scan of any text, and what it is for."""

from __future__ import annotations

from django import forms
from django.utils.translation import gettext_lazy as _

from kitting.domain.commands import TAKE_OFF
from kitting.web.forms import KeyedForm


class ScanForm(KeyedForm):
    """A scan, or a button that sends what its command label would.

    Any text at all is valid here: what it means is for ``take_scan`` to say, and a
    plain ``Field`` neither strips it nor refuses what no number can hold.
    """

    things = {"box": _("the box"), "purpose": _("what it is for")}

    scan = forms.Field(required=False)
    box = forms.CharField(required=False, max_length=20, widget=forms.HiddenInput)
    purpose = forms.ChoiceField(
        choices=[("", ""), (TAKE_OFF, TAKE_OFF)],
        required=False,
        widget=forms.HiddenInput,
    )
