"""Forms for lots: taking in, more bags, closing, filters."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from kitting.models import Lot, Method, Part, Place
from kitting.models.base import pairs
from kitting.models.catalogue import PlaceKind
from kitting.models.lots import Container, CountedBy
from kitting.web.fields import CodeField, RevisionField
from kitting.web.forms import DayField, FilterForm, SureForm, sure_field

MOST_COUNTS = 500
"""Bags that the form takes at once; more come in a file."""
WAYS = {
    CountedBy.HAND: _("by hand"),
    CountedBy.MACHINE: _("by machine"),
    CountedBy.WEIGHT: _("by weight"),
    CountedBy.STACK: _("in stacks"),
}
IN_A_BAG = ("container", "place_id", "counted_by")
"""What is entered of bags beside their number and pieces."""


def ways_to_have_counted() -> list[tuple[str, Any]]:
    """Ways of counting what comes in, with that nobody said."""
    return [("", _("not recorded")), *WAYS.items()]


class LikeForm(FilterForm):
    """What a new lot begins like, as it stands in the address."""

    like = forms.CharField(required=False, max_length=40)
    revision = RevisionField(required=False)


class NewLotForm(SureForm):
    """A lot with its first bags.

    Args:
        *args: As for any form.
        cut: Whether lots of this part are made from material.
        **kwargs: As for any form.
    """

    first = (
        "revision",
        "method",
        "made_on",
        "source",
        "bag_count",
        "pieces_each",
        "container",
        "place",
    )
    """What is filled in of every lot; the rest stays out of the way."""
    of_material = ("made_from", "waste")
    linked = ("revision", "method", "bag_count", "pieces_each", "container", "place")
    """What a link to a lot like another may fill in besides."""

    things = {
        "source_number": _("its number at the source"),
        "bag_count": _("how many bags there are"),
        "pieces_each": _("how many pieces are in each bag"),
        "counts": _("the count of every bag"),
        "counted_by": _("how they were counted"),
        "made_from": _("what it was made from"),
        "waste": _("how much of that was cut off"),
        "sure": _("why this is right"),
    }

    revision = RevisionField(
        made_now=True,
        label=_("Part and revision"),
        empty_label=_("Choose what was made"),
    )
    number = CodeField(
        label=_("Lot number"),
        required=False,
        max_length=40,
        help_text=_(
            "At most 20 of A to Z, 0 to 9, hyphen, slash and full stop. Empty:"
            " Lotward gives one."
        ),
    )
    method = forms.ModelChoiceField(
        label=_("Method"),
        queryset=Method.objects.filter(active=True),
        required=False,
        empty_label=_("Not known, or none"),
        help_text=_("Machines and settings. Other settings make another lot."),
    )
    made_on = DayField(label=_("Made on"))
    source = forms.CharField(
        label=_("Source"),
        max_length=60,
        help_text=_("The bench or supplier that it is from, written as before."),
        widget=forms.TextInput(attrs={"list": "sources", "autocomplete": "off"}),
    )
    source_number = forms.CharField(
        label=_("Its number at the source"), required=False, max_length=40
    )
    use_by = DayField(label=_("Use by"), required=False)
    bag_count = forms.IntegerField(
        label=_("Bags"),
        required=False,
        min_value=0,
        max_value=MOST_COUNTS,
        help_text=_("0 if they come later."),
    )
    pieces_each = forms.IntegerField(
        label=_("In each bag"), required=False, min_value=1
    )
    counts = forms.CharField(
        label=_("Or the count of every bag"),
        required=False,
        max_length=4000,
        help_text=_("Such as 100 100 80, where bags differ."),
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )
    counted_by = forms.ChoiceField(
        label=_("Counted"), choices=ways_to_have_counted, required=False
    )
    container = forms.ChoiceField(
        label=_("Container"), choices=pairs(Container), initial=Container.TOTE
    )
    place = forms.ModelChoiceField(
        label=_("Place"),
        queryset=Place.objects.filter(active=True).exclude(kind=PlaceKind.QUARANTINE),
        required=False,
        empty_label=_("No place yet"),
    )
    made_from = forms.CharField(
        label=_("Made from"),
        required=False,
        max_length=2000,
        help_text=_(
            "One line for each lot of material: its number and how much of it was"
            " used, such as PETG-17 300."
        ),
        widget=forms.Textarea(attrs={"rows": 2, "class": "number"}),
    )
    waste = forms.CharField(
        label=_("Of that, cutting waste"),
        required=False,
        max_length=2000,
        help_text=_(
            "It is scrapped. Of one lot of material the amount alone; of several such as"
            " PETG-17 20; PETG-18 5."
        ),
        widget=forms.TextInput(attrs={"class": "number", "autocomplete": "off"}),
    )
    close = forms.BooleanField(
        label=_("Close the lot: there will be no more bags"), required=False
    )
    sure = sure_field()

    def __init__(self, *args: Any, cut: bool = False, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.shown = (*self.first, *(self.of_material if cut else ()), "sure")
        self.fields["revision"].widget.attrs |= {
            "hx-get": reverse("kitting:lot-new"),
            "hx-sync": "this:replace",
            "hx-target": "#lot-new",
            "hx-swap": "outerHTML",
        }
        if self.initial.get("source"):
            self.fields["bag_count"].widget.attrs["autofocus"] = True

    @property
    def of_its_material(self) -> list[forms.BoundField]:
        """The fields of what it was made from, where lots of its part are."""
        return [self[name] for name in self.of_material if name in self.shown]

    @property
    def rest(self) -> list[forms.BoundField]:
        """The fields that are seldom needed."""
        return [each for each in self.visible_fields() if each.name not in self.shown]

    @property
    def rest_is_open(self) -> bool:
        """Whether something is in them, or wrong with them."""
        asked = (each for each in self.rest if each.name != "counted_by")
        return any(each.errors or each.value() for each in asked)

    def clean_counts(self) -> tuple[int, ...]:
        """Read the counts of bags, separated by blanks, commas, semicolons or plus."""
        words = [w for w in re.split(r"[\s,;+]+", self.cleaned_data["counts"]) if w]
        if len(words) > MOST_COUNTS:
            raise ValidationError(
                _(
                    "The count of every bag is entered for at most %(most)s bags. Take"
                    " more of them in from a file."
                ),
                code="too_many_bags",
                params={"most": MOST_COUNTS},
            )
        for word in words:
            if not re.fullmatch(r"0*[1-9][0-9]{0,8}", word, re.ASCII):
                raise ValidationError(
                    _(
                        "“%(read)s” is no count of pieces. Enter the count of every bag"
                        " as whole numbers above 0 with blanks between them."
                    ),
                    code="count_unreadable",
                    params={"read": word[:20]},
                )
        return tuple(int(word) for word in words)

    def clean_made_from(self) -> tuple[tuple[int, int], ...]:
        """Read lots of material with the amounts used."""
        return _amounts(self.cleaned_data["made_from"])

    def clean_waste(self) -> tuple[tuple[int, int], ...]:
        """Read how much of the material was cut off: of one lot the amount alone."""
        text = self.cleaned_data["waste"].strip()
        used = self.cleaned_data.get("made_from", ())
        if len(used) == 1 and re.fullmatch("0*[1-9][0-9]{0,8}", text, re.ASCII):
            return ((used[0][0], int(text)),)
        return _amounts(text)

    def clean(self) -> dict[str, Any]:
        """Ask for one way of counting, and only one."""
        data = super().clean() or self.cleaned_data
        count, each = data.get("bag_count"), data.get("pieces_each")
        if data.get("counts") and count:
            self.add_error(
                "counts",
                ValidationError(
                    _(
                        "The bags are counted in two ways. Enter the count of every bag,"
                        " or how many there are and the pieces in each, but not both."
                    ),
                    code="quantity_twice",
                ),
            )
        elif data.get("counts") or self.errors:
            pass  # What a bag usually holds is filled in already.
        elif count and not each:
            self.ask_for("pieces_each", "quantity_missing")
        elif each and count is None:
            self.ask_for("bag_count", "quantity_missing")
        return data

    @property
    def pieces(self) -> tuple[int, ...]:
        """The pieces of every bag."""
        data = self.cleaned_data
        if data["counts"]:
            counts: tuple[int, ...] = data["counts"]
            return counts
        return (data["pieces_each"],) * data["bag_count"] if data["bag_count"] else ()

    @property
    def entries(self) -> dict[str, Any]:
        """As of every form, but for the bags: what each of them is."""
        said = super().entries
        for name in ("bag_count", "pieces_each", "counts"):
            del said[name]
        alike = {name: said.pop(name) for name in IN_A_BAG if name in said}
        said["part_id"] = self.cleaned_data["revision"].part_id
        return {**said, "bags": [{**alike, "pieces": pieces} for pieces in self.pieces]}


def _amounts(text: str) -> tuple[tuple[int, int], ...]:
    """Read lots with amounts, one in a line, as the ids of lots with them."""
    pairs: list[tuple[str, int]] = []
    for line in re.split("[;\n\r]", text):
        if not line.strip():
            continue
        found = re.fullmatch(r"\s*(\S+?)[\s:=]+0*([1-9][0-9]{0,8})\s*", line, re.ASCII)
        if found is None:
            raise ValidationError(
                _(
                    "“%(read)s” is not a lot number and an amount. Write them in"
                    " one line, such as PETG-17 300."
                ),
                code="material_unreadable",
                params={"read": line.strip()[:60]},
            )
        pairs.append((found[1].upper(), int(found[2])))
    named = Lot.objects.filter(number__in=[number for number, _ in pairs])
    ids = dict(named.values_list("number", "pk"))
    for number, _amount in pairs:
        if number not in ids:
            raise ValidationError(
                _("There is no lot “%(read)s”. Take the material in first."),
                code="material_unknown",
                params={"read": number[:40]},
            )
    return tuple((ids[number], amount) for number, amount in pairs)


class LotFilterForm(FilterForm):
    """The filters of the table of lots, as they stand in the address."""

    things = {
        "q": _("the number or source"),
    }

    part = forms.ModelChoiceField(
        queryset=Part.objects.all(),
        required=False,
        to_field_name="code",
        empty_label=_("any part"),
    )
    stage = forms.ChoiceField(
        required=False,
        choices=[
            ("", _("open or closed")),
            ("open", _("open")),
            ("closed", _("closed")),
        ],
    )
    verdict = forms.ChoiceField(
        required=False,
        choices=[
            ("", _("checked or not")),
            ("waiting", _("waiting for a check")),
            ("accepted", _("accepted")),
            ("rejected", _("rejected")),
            ("held", _("on hold")),
        ],
    )
    q = forms.CharField(
        required=False,
        max_length=60,
        widget=forms.TextInput(
            attrs={"placeholder": _("any number or source"), "size": 22}
        ),
    )


def unit_word(part: Part) -> str:
    """The word for a part's unit beside a field."""
    return {"piece": _("pieces"), "gram": _("g"), "mm": _("mm")}[part.unit]  # type: ignore[return-value]


def source_names() -> Iterable[str]:
    """Sources of earlier lots, so that one source is spelt one way."""
    return (
        Lot.objects.order_by("source").values_list("source", flat=True).distinct()[:200]
    )
