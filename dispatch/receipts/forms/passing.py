"""The form of boxes that are passed on."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from dispatch.consignees.fields import ConsigneeField, PointField
from dispatch.domain.receipts import LONGEST
from kitting.models import Box
from kitting.web.fields import RowsField
from kitting.web.figures import amount
from kitting.web.forms import DayField, KeyedForm


class BoxesField(RowsField):
    """Boxes with what is in them, so that a ward knows by its size which one is meant."""

    def label_from_instance(self, obj: Any) -> str:
        """Say which box it is, of what, and how many sets it has."""
        sets = amount(obj.size.sets, "set")
        return f"{obj}, {obj.size.product.name}, {sets}"


class PassForm(KeyedForm):
    """Which boxes, to whom, and who said so."""

    things = {
        "boxes": _("the boxes"),
        "consignee": _("who has them now"),
        "point": _("the delivery point or ward"),
        "told_by": _("who said so"),
        "on": _("the day"),
    }

    boxes = BoxesField(
        label=_("Boxes"),
        queryset=Box.objects.none(),
        widget=forms.CheckboxSelectMultiple,
    )
    consignee = ConsigneeField(label=_("Who has them now"))
    point = PointField()
    told_by = forms.CharField(
        label=_("Who said so"),
        max_length=LONGEST["told_by"],
        help_text=_("The name and the place, as it was said."),
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    on = DayField(label=_("Day"))
    note = forms.CharField(
        label=_("Remark"), required=False, max_length=LONGEST["note"]
    )

    def __init__(self, *args: Any, of: Iterable[int] = (), **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        boxes = (
            Box.objects.filter(pk__in=of)
            .select_related("size__product")
            .order_by("serial")
        )
        self.fields["boxes"].queryset = boxes  # type: ignore[attr-defined]

    @property
    def entries(self) -> dict[str, Any]:
        """What is said, as its act takes it."""
        data = self.cleaned_data
        return {
            "box_ids": [box.pk for box in data["boxes"]],
            "consignee_id": data["consignee"].pk,
            **{name: data[name] for name in ("point", "told_by", "on", "note")},
        }
