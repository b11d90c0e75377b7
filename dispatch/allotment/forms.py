"""Forms of allotments: what is shared, who counts for more, what is moved, and why."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any, Final

from django import forms
from django.http import QueryDict
from django.utils.translation import gettext_lazy as _

from dispatch.allotment.queries.proposals import (
    LONGEST_WINDOW,
    USUAL_WINDOW,
    SizeThere,
)
from dispatch.domain.allotment import MOST_SETS
from dispatch.domain.proposal import USUAL_WEIGHT, Chosen, Move, Term
from kitting.ledger.needs import LONGEST_REASON
from kitting.models import Product
from kitting.packing.queries.plan import MOST
from kitting.web.fields import FigureField, ReasonField
from kitting.web.forms import FilterForm, KeyedForm, SpokenForm

_BETWEEN: Final = ":"
_OF_A_TERM: Final = 4
_OF_A_MOVE: Final = 4
LONGEST_FIGURE: Final = 9
"""Digits of a figure in the address that is read."""


class ShareForm(FilterForm):
    """What is shared, and since when what was received counts; stands in the address."""

    product = forms.ModelChoiceField(
        Product.objects.all(), required=False, to_field_name="code"
    )
    window = forms.IntegerField(
        label=_("Days"),
        required=False,
        min_value=0,
        max_value=LONGEST_WINDOW,
        widget=forms.NumberInput,
    )

    def product_of(self, products: Sequence[Product]) -> Product | None:
        """The product that is chosen, or the first; None where there is none.

        A chosen one stays chosen when nobody asks for it any more.
        """
        return self.chosen().get("product") or next(iter(products), None)

    @property
    def days(self) -> int:
        """The window in days."""
        self.is_valid()
        said = self.cleaned_data.get("window")
        return USUAL_WINDOW if said is None else int(said)


class PackingForm(FilterForm):
    """How many boxes that benches can still pack today are counted in.

    Args:
        *args: As for any form.
        sizes: What there is of each size.
        **kwargs: As for any form.
    """

    def __init__(self, *args: Any, sizes: Sequence[SizeThere], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for each in sizes:
            self.fields[f"pack_{each.size.sets}"] = forms.IntegerField(
                label=_("Boxes of %s to count in") % each.size.sets,
                required=False,
                min_value=0,
                max_value=MOST,
                widget=forms.NumberInput,
            )
        self.sizes = {each.size.sets: each.size.pk for each in sizes}

    @property
    def packing(self) -> dict[int, int]:
        """Boxes by the id of the size; those of which some are counted in."""
        said = self.chosen()
        named = ((pk, said.get(f"pack_{sets}", 0)) for sets, pk in self.sizes.items())
        return {pk: boxes for pk, boxes in named if boxes}


class TermForm(SpokenForm):
    """Who counts for more or less, or gets so much before anybody's share."""

    things = {
        "who": _("the consignee"),
        "weight": _("how many times it counts"),
        "why": _("why"),
    }

    who = forms.ChoiceField(label=_("Consignee"))
    weight = FigureField(
        label=_("Counts"), unit=_("times"), by=USUAL_WEIGHT, required=False
    )
    floor = forms.IntegerField(
        label=_("Sets first"),
        required=False,
        min_value=0,
        max_value=MOST_SETS,
        widget=forms.NumberInput,
    )
    why = forms.CharField(label=_("Why"), max_length=LONGEST_REASON)

    @property
    def term(self) -> Term:
        """What a valid form says."""
        said = self.cleaned_data
        weight = said["weight"]
        return Term(
            said["who"],
            USUAL_WEIGHT if weight is None else weight,
            said["floor"] or 0,
            said["why"],
        )


class MoveForm(SpokenForm):
    """Boxes that are moved by hand, from a request or from what stays."""

    things = {
        "boxes": _("how many boxes"),
        "size": _("the size"),
        "by": _("from where"),
        "to": _("to whom"),
    }

    boxes = forms.IntegerField(
        label=_("Boxes"),
        min_value=1,
        max_value=MOST,
        initial=1,
        widget=forms.NumberInput,
    )
    size = forms.TypedChoiceField(label=_("Size"), coerce=int)
    by = forms.ChoiceField(label=_("From"), required=False)
    to = forms.ChoiceField(label=_("To"), required=False)

    @property
    def move(self) -> Move:
        """What a valid form says."""
        said = self.cleaned_data
        return Move(said["boxes"], said["size"], said["by"], said["to"])


class AllotForm(KeyedForm):
    """The proposal as it was seen, and why it is another one now."""

    things = {"seen": _("what was on the page"), "beyond": _("what was on the page")}

    seen = forms.CharField(widget=forms.HiddenInput, max_length=100)
    beyond = forms.CharField(widget=forms.HiddenInput, required=False, max_length=1_000)
    reason = ReasonField(label=_("Why boxes are moved"), required=False, rows=2)

    @property
    def entries(self) -> dict[str, Any]:
        """What was seen, by the names under which the act takes it."""
        said = super().entries
        return {**said, "beyond": beyond_of(said["beyond"])}


class ReleaseForm(KeyedForm):
    """What is promised no more."""

    request = forms.CharField(widget=forms.HiddenInput, required=False, max_length=20)
    reason = ReasonField()


class AllotmentFilterForm(FilterForm):
    """Which allotments are shown."""

    product = forms.ModelChoiceField(
        Product.objects.order_by("name"),
        label=_("Product"),
        required=False,
        to_field_name="code",
        empty_label=_("any product"),
    )


# -- In the address ----------------------------------------------------------------------


def said_beyond(beyond: dict[int, int]) -> str:
    """Write how many boxes were free, by the id of the size."""
    return ".".join(f"{size}:{boxes}" for size, boxes in sorted(beyond.items()))


def beyond_of(text: str) -> dict[int, int]:
    """Read it again; what cannot be read is left out."""
    found = {}
    for each in text.split("."):
        size, _between, boxes = each.partition(_BETWEEN)
        with_sign = boxes.removeprefix("-")
        if size.isdecimal() and _figure(with_sign) is not None:
            sign = -1 if boxes.startswith("-") else 1
            found[int(size)] = sign * int(with_sign)
    return found


def terms_of(values: Iterable[str]) -> tuple[Term, ...]:
    """Read weights and floors; of several for one consignee the last counts."""
    found = {}
    for text in values:
        parts = text.split(_BETWEEN, _OF_A_TERM - 1)
        if len(parts) == _OF_A_TERM and text.isprintable():
            who, weight, floor = parts[0], _figure(parts[1]), _figure(parts[2])
            if weight and floor is not None:
                found[who] = Term(who, weight, floor, parts[3][:LONGEST_REASON])
    return tuple(found.values())


def moves_of(values: Iterable[str]) -> tuple[Move, ...]:
    """Read what is moved, in its order."""
    found = []
    for text in values:
        parts = text.split(_BETWEEN)
        if len(parts) == _OF_A_MOVE:
            boxes, size = _figure(parts[0]), _figure(parts[1])
            if boxes and size:
                found.append(Move(boxes, size, parts[2], parts[3]))
    return tuple(found)


def _figure(text: str) -> int | None:
    fits = text.isascii() and text.isdecimal() and len(text) <= LONGEST_FIGURE
    return int(text) if fits else None


def address_of(product: Product, chosen: Chosen, sets: dict[int, int]) -> str:
    """Write what was chosen, as it stands in the address.

    Args:
        product: The product.
        chosen: The rest.
        sets: Sets in a box, by the id of the size.

    Returns:
        The query.
    """
    query = QueryDict(mutable=True)
    query["product"] = product.code
    query["window"] = str(chosen.window)
    for size, boxes in chosen.packing.items():
        query[f"pack_{sets[size]}"] = str(boxes)
    query.setlist("term", [_written(*_term(term)) for term in chosen.terms])
    query.setlist("move", [_written(*_move(move)) for move in chosen.moves])
    return query.urlencode()


def _term(term: Term) -> tuple[object, ...]:
    return term.who, term.weight_tenths, term.floor, term.why


def _move(move: Move) -> tuple[object, ...]:
    return move.boxes, move.size, move.by, move.to


def _written(*parts: object) -> str:
    return _BETWEEN.join(map(str, parts))
