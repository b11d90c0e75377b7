"""The form for scrapping pieces of a bag."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from kitting.lots.forms.counts import MOST, BagForm
from kitting.lots.forms.lots import unit_word
from kitting.lots.steps.scrap import LONGEST_NOTE
from kitting.web.forms import SpokenForm


class ScrapReasonForm(SpokenForm):
    """A reason of the workshop's list, and what else is to be said."""

    things = {
        "reason": _("why they are scrapped"),
        "note": _("what else is to be said"),
    }

    reason = forms.ChoiceField(
        label=_("Why"),
        widget=forms.RadioSelect,
        help_text=_("A manager keeps this list on the page Set-up."),
    )
    note = forms.CharField(
        label=_("What else is to be said"), required=False, max_length=LONGEST_NOTE
    )

    def __init__(self, *args: Any, reasons: Sequence[str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.offer("reason", [(each, each) for each in reasons])


class ScrapForm(ScrapReasonForm, BagForm):
    """How many pieces of a bag are scrapped, and why."""

    things = {"pieces": _("how many are scrapped")}

    pieces = forms.IntegerField(label=_("How many"), min_value=1, max_value=MOST)
    field_order = ("op_key", "moves", "pieces", "reason", "note")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["pieces"].widget.attrs["data-unit"] = unit_word(self.bag.lot.part)
