"""The forms of effectiveness checks: drawing one, and what a consignee says."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from dispatch.effectiveness.words import LEVELS
from dispatch.models.effectiveness import LONGEST_NOTE, LONGEST_SAID_BY
from kitting.web.fields import FigureField
from kitting.web.forms import KeyedForm


class DrawForm(KeyedForm):
    """Which share of the consignees is asked."""

    things = {"share": _("the share")}

    level = forms.ChoiceField(
        label=_("Level"), choices=list(LEVELS.items()), widget=forms.RadioSelect
    )
    share = FigureField(label=_("Share, for level B"), unit="%", by=1, required=False)


class YesField(forms.TypedChoiceField):
    """Yes or no, of which neither is chosen before somebody was asked."""

    def __init__(self, **options: Any) -> None:
        super().__init__(
            choices=[("yes", _("yes")), ("no", _("no"))],
            coerce=lambda said: said == "yes",
            widget=forms.RadioSelect,
            **options,
        )


class AnswerForm(KeyedForm):
    """What a consignee says that was drawn."""

    things = {"said_by": _("who said so")}

    got = YesField(label=_("Did they receive the notice?"))
    understood = YesField(label=_("Did they understand it?"))
    acted = YesField(label=_("Did they do what it says?"))
    said_by = forms.CharField(
        label=_("Who said so"),
        max_length=LONGEST_SAID_BY,
        help_text=_("The name and the place, as it was said."),
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    note = forms.CharField(label=_("Remark"), required=False, max_length=LONGEST_NOTE)
