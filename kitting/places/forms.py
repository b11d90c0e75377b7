"""Forms for putting away, for what stands at a place, for places and carriers."""

from __future__ import annotations

from typing import Any, Final

from django import forms
from django.utils.translation import gettext_lazy as _

from kitting.domain.stages import BagStage, BoxStage
from kitting.ledger.coded import NAME_LONGEST, PLACE_CODE_LONGEST
from kitting.models import Part
from kitting.models.catalogue import PlaceKind
from kitting.printing.forms.stocks import capitals
from kitting.web.fields import ReasonField
from kitting.web.forms import LONGEST_SCAN, FilterForm, KeyedForm, ScanField


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
        max_length=NAME_LONGEST,
        help_text=_("Such as Blue trolley. Lotward gives the number to scan."),
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )


KINDS: Final[list[tuple[str, Any]]] = [
    (PlaceKind.SHELF, _("shelf")),
    (PlaceKind.RACK, _("rack")),
    (PlaceKind.BENCH, _("bench: boxes are packed there")),
    (PlaceKind.LINE, _("line: runs are opened there")),
    (PlaceKind.READY, _("boxes ready: what is packed and labelled waits there")),
    (PlaceKind.DOCK, _("dock: what is sent out is kept there")),
    (PlaceKind.QUARANTINE, _("quarantine: only what is held or rejected")),
]


class PlaceForm(KeyedForm):
    """A new place.

    Args:
        *args: As for any form.
        **kwargs: As for any form.
    """

    code = forms.CharField(
        label=_("Code"),
        max_length=PLACE_CODE_LONGEST,
        help_text=_(
            "On its label, to be scanned: capitals, digits and hyphens. It stays."
        ),
    )
    name = forms.CharField(label=_("Name"), max_length=NAME_LONGEST)
    kind = forms.ChoiceField(label=_("Kind of place"), choices=KINDS)

    def clean_code(self) -> str:
        """The code in capitals."""
        return capitals(self.cleaned_data["code"])


class PlaceChangeForm(KeyedForm):
    """A place as it is to be from now on.

    Args:
        *args: As for any form.
        fixed: Whether something rests on what kind of place it is.
        **kwargs: As for any form.
    """

    things = {"seen": _("what was on record")}

    seen = forms.CharField(widget=forms.HiddenInput, required=False, max_length=64)
    name = forms.CharField(label=_("Name"), max_length=NAME_LONGEST)
    kind = forms.ChoiceField(label=_("Kind of place"), choices=KINDS)
    active = forms.BooleanField(
        label=_("In use"),
        required=False,
        help_text=_("Without the tick it is closed: it keeps its history."),
    )

    def __init__(self, *args: Any, fixed: bool = False, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if fixed:
            del self.fields["kind"]


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
