"""The form of a replacement: which boxes, and how much their sets are needed."""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from dispatch.domain.needs import LONGEST, Asked, Tier, Way
from dispatch.notices.queries.whom import Reached
from dispatch.requests.words import TIERS
from kitting.web.figures import amount
from kitting.web.forms import DayField, KeyedForm


class ReplaceForm(KeyedForm):
    """Which boxes a consignee sends back or destroys, and what it needs instead."""

    things = {
        "boxes": _("which boxes"),
        "tier": _("how much they are needed"),
        "caller": _("who asked"),
    }

    boxes = forms.MultipleChoiceField(
        label=_("Boxes that it sends back or destroys"),
        widget=forms.CheckboxSelectMultiple,
    )
    tier = forms.TypedChoiceField(
        label=_("How much it is needed"),
        choices=[*TIERS.items()],
        coerce=int,
        initial=Tier.RUNS_OUT,
        widget=forms.RadioSelect,
    )
    needed_by = DayField(label=_("Needed by"), required=False)
    caller = forms.CharField(
        label=_("Who asked"), required=False, max_length=LONGEST["caller"]
    )

    def __init__(self, *args: Any, of: Collection[Reached], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.offer("boxes", [(each.box.pk, _told(each)) for each in of])

    @property
    def entries(self) -> dict[str, Any]:
        """Which boxes, by their ids, and what is asked for as one."""
        data = self.cleaned_data
        asked = {name: data[name] for name in ("tier", "needed_by", "caller")}
        return {
            "box_ids": [int(pk) for pk in data["boxes"]],
            "asked": Asked(sets=0, way=Way.TELEPHONE, **asked),
        }


def _told(each: Reached) -> str:
    box = each.box
    return f"{box} {box.size.product.name}, {amount(box.size.sets, 'set')}"
