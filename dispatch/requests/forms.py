"""Forms of requests: what is asked for, and which requests a list shows."""

from __future__ import annotations

from typing import Any

from django import forms
from django.urls import reverse_lazy
from django.utils.translation import gettext_lazy as _

from dispatch.consignees.fields import ConsigneeField, PointField
from dispatch.domain.needs import LONGEST, MOST_SETS, Asked, RequestStage, Tier, Way
from dispatch.models import Consignee
from dispatch.requests.words import TIERS, WAYS
from kitting.models import Product
from kitting.web.fields import ReasonField
from kitting.web.forms import DayField, FilterForm, KeyedForm, SpokenForm
from kitting.web.shapes import WORDS

ALL = "all"


def _products() -> Any:
    return Product.objects.filter(sizes__active=True).distinct().order_by("name")


class MixForm(SpokenForm):
    """How many sets of what, while it is typed."""

    product = forms.ModelChoiceField(_products())
    sets = forms.IntegerField(min_value=1, max_value=MOST_SETS)


class AskedForm(KeyedForm):
    """What is asked for, and how it came in."""

    things = {
        "sets": _("how many sets"),
        "point": _("the delivery point or ward"),
        "way": _("how it was asked"),
        "caller": _("who asked"),
        "reference": _("the reference"),
        "note": _("the note"),
    }

    sets = forms.IntegerField(
        label=_("Sets"), min_value=1, max_value=MOST_SETS, widget=forms.NumberInput
    )
    tier = forms.TypedChoiceField(
        label=_("How much it is needed"),
        choices=[*TIERS.items()],
        coerce=int,
        initial=Tier.RUNS_OUT,
        widget=forms.RadioSelect,
    )
    needed_by = DayField(label=_("Needed by"), required=False)
    point = PointField()
    way = forms.ChoiceField(
        label=_("Asked"), choices=[*WAYS.items()], initial=Way.TELEPHONE
    )
    caller = forms.CharField(
        label=_("Who asked"), required=False, max_length=LONGEST["caller"]
    )
    reference = forms.CharField(
        label=_("Reference"),
        required=False,
        max_length=LONGEST["reference"],
        help_text=_("The consignee’s own number for what they asked for."),
    )
    note = ReasonField(label=_("Note"), required=False, rows=2)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["sets"].widget.attrs |= {
            "hx-get": reverse_lazy("dispatch:request-mix"),
            "hx-trigger": "input changed delay:200ms, change from:#id_product",
            "hx-include": "[name=product]",
            "hx-target": "#mix",
            "hx-swap": "innerHTML",
            "hx-sync": "this:replace",
            "autocomplete": "off",
        }

    @property
    def entries(self) -> dict[str, Any]:
        """The entries, those of what is asked for as one."""
        said = super().entries
        own = {name: said.pop(name) for name in Asked.__dataclass_fields__}
        return {**said, "asked": Asked(**own)}


class RequestForm(AskedForm):
    """A new request."""

    consignee = ConsigneeField()
    product = forms.ModelChoiceField(
        _products(), label=_("Product"), empty_label=_("Choose one")
    )

    field_order = ("op_key", "consignee", "product", "sets", "tier", "needed_by")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        products = list(_products()[:2])
        if len(products) == 1:
            self.fields["product"].initial = products[0].pk


class RequestChangeForm(AskedForm):
    """A request as it is to be from now on."""

    things = {**AskedForm.things, "seen": _("what was on record")}

    reason = ReasonField(rows=2)
    seen = forms.CharField(widget=forms.HiddenInput, required=False, max_length=64)


class RequestCancelForm(KeyedForm):
    """What is left of a request is cancelled."""

    things = {"seen": _("what was on record")}

    reason = ReasonField()
    seen = forms.CharField(widget=forms.HiddenInput, required=False, max_length=64)


class RequestFilterForm(FilterForm):
    """Which requests are shown; each may stay empty."""

    stage = forms.ChoiceField(
        label=_("that are"),
        required=False,
        choices=[
            ("", WORDS["open"]),
            *[(str(each), WORDS[each]) for each in RequestStage if each != "open"],
            (ALL, _("open or not")),
        ],
    )
    consignee = forms.ModelChoiceField(
        Consignee.objects.all(),
        label=_("by"),
        required=False,
        to_field_name="code",
        empty_label=_("any consignee"),
    )
    product = forms.ModelChoiceField(
        Product.objects.order_by("name"),
        label=_("for"),
        required=False,
        to_field_name="code",
        empty_label=_("any product"),
    )
