"""Forms of calls: what came of one, and why one is undone."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from dispatch.domain.notices import LONGEST, Heard
from dispatch.notices.words import OUTCOMES
from dispatch.recall.forms import WhenForm
from kitting.web.fields import ReasonField
from kitting.web.forms import KeyedForm


class CallForm(WhenForm):
    """What came of a call, in a few touches."""

    things = {
        "outcome": _("what came of the call"),
        "spoke_to": _("who was reached"),
        "said": _("what they said"),
    }

    outcome = forms.ChoiceField(
        label=_("What came of the call"),
        choices=[*OUTCOMES.items()],
        widget=forms.RadioSelect,
    )
    spoke_to = forms.CharField(
        label=_("Who was reached"),
        required=False,
        max_length=LONGEST["spoke_to"],
        help_text=_("Empty only where nobody was."),
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    stopped = forms.BooleanField(
        label=_("Nobody uses the boxes or passes them on any more"), required=False
    )
    set_aside = forms.BooleanField(
        label=_("The boxes are in quarantine there"), required=False
    )
    told_on = forms.BooleanField(
        label=_("They told everybody to whom they passed boxes on"), required=False
    )
    said = ReasonField(
        label=_("What they said"), required=False, rows=2, max_length=LONGEST["said"]
    )

    field_order = ("outcome", "spoke_to", "stopped", "set_aside", "told_on", "said")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        vars(self.fields["spoke_to"])["at_times"] = True

    @property
    def entries(self) -> dict[str, Any]:
        """What came of it, as one, and when it was."""
        return {"heard": Heard(**super().entries), "when": self.when}


class UndoCallForm(KeyedForm):
    """Why a call is undone."""

    reason = ReasonField(label=_("What is wrong with the note?"))
