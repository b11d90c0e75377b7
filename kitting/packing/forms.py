"""Forms of the bench, and of boxes: filters of their table, voiding."""

from __future__ import annotations

from django import forms
from django.utils.translation import gettext_lazy as _

from kitting.domain.commands import TAKE_OFF
from kitting.domain.stages import BoxStage
from kitting.models import BoxSize
from kitting.models.base import pairs
from kitting.packing.queries.boxes import READY
from kitting.web.forms import DayField, FilterForm, KeyedForm, NamedForm


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


LONGEST_REASON = 200


class SizeField(forms.ModelChoiceField):  # type: ignore[type-arg]
    """A box size, named by its product."""

    def label_from_instance(self, obj: BoxSize) -> str:
        return f"{obj.product.name}, {obj.sets}"


class BoxFilterForm(FilterForm):
    """The sentence above the table of boxes; every field may stay empty."""

    stage = forms.ChoiceField(
        required=False,
        choices=lambda: [
            ("", _("any stage")),
            *pairs(BoxStage),
            (READY, _("ready to go")),
        ],
    )
    size = SizeField(
        required=False,
        empty_label=_("any product and size"),
        queryset=BoxSize.objects.select_related("product").order_by(
            "product__name", "sets"
        ),
    )
    since = DayField(required=False)
    until = DayField(required=False)
    batch = forms.CharField(
        required=False,
        max_length=20,
        widget=forms.TextInput(
            attrs={"placeholder": _("any kit batch"), "size": "16", "data-scan": ""}
        ),
    )

    def clean_batch(self) -> str:
        return str(self.cleaned_data["batch"]).strip().upper()


class VoidForm(NamedForm):
    """Voiding a box."""

    reason = forms.CharField(
        label=_("Why it is voided"),
        max_length=LONGEST_REASON,
        help_text=_("Its pieces are scrapped; none of them is used again."),
    )
