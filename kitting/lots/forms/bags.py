"""The form for one more bag of an open lot."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from django import forms
from django.core.exceptions import ValidationError
from django.db.models import Q
from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from kitting.lots.forms.lots import (
    IN_A_BAG,
    unit_word,
    ways_to_have_counted,
)
from kitting.lots.queries.usual import LastBag
from kitting.models import Lot, Method, Place, Revision
from kitting.models.base import pairs
from kitting.models.catalogue import PlaceKind
from kitting.models.lots import Container, CountedBy
from kitting.web.forms import ScanField, SureForm, sure_field


class NewBagForm(SureForm):
    """One more bag of an open lot; what its last bag was is filled in.

    Args:
        *args: As for any form.
        lot: The lot.
        last: What its last bag was as it came in; see ``queries.usual``.
        **kwargs: As for any form.
    """

    things = {
        "stacks": _("how many full stacks there are"),
        "stack_pieces": _("how many pieces are in each stack"),
        "loose": _("how many pieces are beside the stacks"),
        "pieces": _("how many pieces are in it"),
        "counted_by": _("how they were counted"),
        "sure": _("why this is right"),
    }

    number = ScanField(
        label=_("Bag number"),
        required=False,
        help_text=_("Scan the blank label on the bag. Empty: Lotward gives a number."),
    )
    pieces = forms.IntegerField(label=_("How many"), min_value=1, required=False)
    counted_by = forms.ChoiceField(
        label=_("Counted"), choices=ways_to_have_counted, required=False
    )
    stacks = forms.IntegerField(label=_("Stacks"), min_value=1, required=False)
    stack_pieces = forms.IntegerField(label=_("In each"), min_value=1, required=False)
    loose = forms.IntegerField(label=_("Beside them"), min_value=0, required=False)
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

    def __init__(self, *args: Any, lot: Lot, last: LastBag, **kwargs: Any) -> None:
        kwargs["initial"] = {
            **last.values,
            "revision": lot.revision_id,
            "method": lot.method_id,
            **(kwargs.get("initial") or {}),
        }
        if any(kwargs["initial"].get(name) for name in self.in_stacks):
            kwargs["initial"]["pieces"] = None
        super().__init__(*args, **kwargs)
        self.lot = lot
        method = self.fields["method"]
        method.queryset = Method.objects.filter(Q(active=True) | Q(pk=lot.method_id))  # type: ignore[attr-defined]
        revision = self.fields["revision"]
        of_part = Revision.objects.filter(part=lot.part_id)
        revision.queryset = of_part.filter(Q(active=True) | Q(pk=lot.revision_id))  # type: ignore[attr-defined]
        self.fields["pieces"].widget.attrs["data-unit"] = unit_word(lot.part)
        self.fields["number"].widget.attrs |= {
            "autofocus": True,
            "enterkeyhint": "done",
            "data-harvest": "",
        }

    in_stacks = ("stacks", "stack_pieces", "loose")

    @property
    def are_stacked(self) -> bool:
        """Whether stacks were entered, or are filled in."""
        return any(self[name].errors or self[name].value() for name in self.in_stacks)

    @property
    def another(self) -> str:
        """The address of a new lot with what was refused in this one, filled in."""
        if not self.has_error("__all__", "conditions_changed"):
            return ""
        said = self.cleaned_data
        bags = {"bag_count": 1, "pieces_each": said["pieces"]}
        if said["number"].strip():  # its number is scanned into the new lot
            bags = {"bag_count": 0}
        rows = {name: said[name] for name in ("revision", "method", "place")}
        filled = {name: row.pk for name, row in rows.items() if row is not None}
        filled |= {"container": said["container"], "counted_by": said["counted_by"]}
        like = {"like": self.lot.number, "method": "", **filled, **bags}
        return f"{reverse('kitting:lot-new')}?{urlencode(like)}"

    @property
    def is_elsewhere(self) -> bool:
        """Whether something is wrong with what stays as it was."""
        unseen = ("container", "place", "revision", "method")
        return any(self[name].errors for name in unseen)

    def clean(self) -> dict[str, Any]:
        """Ask for the pieces, or for stacks and the pieces in each."""
        data = super().clean() or self.cleaned_data
        stacks, each = data.get("stacks"), data.get("stack_pieces")
        if self.errors:
            return data
        if data.get("pieces") and (stacks or each):
            words = _("The pieces are counted in two ways. Empty one of the two.")
            self.add_error("pieces", ValidationError(words, "quantity_twice"))
        elif stacks and each:
            data["pieces"] = stacks * each + (data.get("loose") or 0)
            data["counted_by"] = CountedBy.STACK
        elif stacks or each or data.get("loose"):
            self.ask_for("stack_pieces" if stacks else "stacks", "quantity_missing")
        elif not data.get("pieces"):
            self.ask_for("pieces", "required")
        return data

    @property
    def kept(self) -> dict[str, int]:
        """The stacks, which the next bag has again."""
        return {n: v for n in self.in_stacks if (v := self.cleaned_data.get(n))}

    @property
    def entries(self) -> dict[str, Any]:
        """As of every form, but for the one bag: what it is."""
        said = super().entries
        for name in self.in_stacks:
            del said[name]
        bag = {name: said.pop(name) for name in ("number", "pieces", *IN_A_BAG)}
        return {**said, "bags": [bag]}
