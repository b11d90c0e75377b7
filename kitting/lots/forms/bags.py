"""The form for one more bag of an open lot."""

from __future__ import annotations

from typing import Any

from django import forms
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from kitting.lots.forms.lots import (
    IN_A_BAG,
    SureForm,
    sure_field,
    unit_word,
    ways_to_have_counted,
)
from kitting.models import Lot, Method, Place, Revision
from kitting.models.base import pairs
from kitting.models.catalogue import PlaceKind
from kitting.models.lots import Container
from kitting.web.forms import ScanField


class NewBagForm(SureForm):
    """One more bag of an open lot."""

    things = {
        "pieces": _("how many pieces are in it"),
        "counted_by": _("how they were counted"),
        "sure": _("why this is right"),
    }

    number = ScanField(
        label=_("Bag number"),
        required=False,
        help_text=_("Scan the blank label on the bag. Empty: Lotward gives a number."),
    )
    pieces = forms.IntegerField(label=_("How many"), min_value=1)
    counted_by = forms.ChoiceField(
        label=_("Counted"), choices=ways_to_have_counted, required=False
    )
    container = forms.ChoiceField(label=_("Container"), choices=pairs(Container))
    place = forms.ModelChoiceField(
        label=_("Place"),
        queryset=Place.objects.filter(active=True).exclude(kind=PlaceKind.QUARANTINE),
        required=False,
        empty_label=_("No place yet"),
    )
    revision = forms.ModelChoiceField(
        label=_("Revision"), queryset=Revision.objects.none()
    )
    method = forms.ModelChoiceField(
        label=_("Method"),
        queryset=Method.objects.none(),
        required=False,
        empty_label=_("Not known, or none"),
        help_text=_(
            "As they are now. If one of them has changed, choose the new one: Lotward"
            " will ask for a new lot."
        ),
    )
    sure = sure_field()

    def __init__(self, *args: Any, lot: Lot, **kwargs: Any) -> None:
        last = lot.bags.last()
        kwargs["initial"] = {
            "container": last.container if last else Container.TOTE,
            "place": last.place_id if last else None,
            "revision": lot.revision_id,
            "method": lot.method_id,
            **(kwargs.get("initial") or {}),
        }
        super().__init__(*args, **kwargs)
        method = self.fields["method"]
        method.queryset = Method.objects.filter(Q(active=True) | Q(pk=lot.method_id))  # type: ignore[attr-defined]
        revision = self.fields["revision"]
        revision.queryset = Revision.objects.filter(part=lot.part_id)  # type: ignore[attr-defined]
        self.fields["pieces"].widget.attrs["data-unit"] = unit_word(lot.part)
        self.fields["number"].widget.attrs["autofocus"] = True

    @property
    def entries(self) -> dict[str, Any]:
        """As of every form, but for the one bag: what it is."""
        said = super().entries
        bag = {name: said.pop(name) for name in ("number", "pieces", *IN_A_BAG)}
        return {**said, "bags": [bag]}
