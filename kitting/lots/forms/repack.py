"""The form for repacking pieces of a bag."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from kitting.domain.stages import BagStage
from kitting.lots.forms.counts import MOST, BagForm
from kitting.lots.forms.lots import unit_word
from kitting.lots.steps.repack import MOST_BAGS
from kitting.models.base import pairs
from kitting.models.lots import Container
from kitting.web.forms import ScanField


class RepackForm(BagForm):
    """How many pieces go into which bags."""

    things = {
        "pieces": _("how many go into each bag"),
        "bags": _("how many new bags there are"),
        "container": _("what the new bags are"),
        "into": _("the bag that they go into"),
    }

    pieces = forms.IntegerField(
        label=_("How many into each bag"), min_value=1, max_value=MOST
    )
    bags = forms.IntegerField(
        label=_("How many new bags"), min_value=1, max_value=MOST_BAGS, initial=1
    )
    container = forms.ChoiceField(
        label=_("What they are"), choices=pairs(Container), widget=forms.RadioSelect
    )
    into = ScanField(
        label=_("Into which bag"),
        required=False,
        help_text=_(
            "Scan a bag of the same lot to put the pieces to those in it, or a blank"
            " label for a new one. Left empty, new bags get the next numbers."
        ),
    )
    again = forms.BooleanField(
        label=_("These pieces are to be disinfected again"), required=False
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        bag = self.bag
        self.fields["pieces"].widget.attrs["data-unit"] = unit_word(bag.lot.part)
        self.initial.setdefault("container", bag.container)
        if bag.stage != BagStage.CLEARED or bag.cleared_run_id is None:
            del self.fields["again"]
