"""The form of what comes back."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from kitting.places.queries import quarantines
from kitting.web.fields import ReasonField
from kitting.web.forms import KeyedForm, ScanField

UNOPENED, OPENED = "unopened", "opened"
MOST_SETS = 100_000


class ReturnForm(KeyedForm):
    """A box that came back, or loose sets of one."""

    things = {
        "scan": _("the box"),
        "sets": _("how many sets came back"),
        "how": _("whether it was opened"),
        "place": _("the quarantine"),
        "note": _("why it came back"),
    }

    scan = ScanField(
        label=_("Scan the box"),
        help_text=_("Its label, or the slip of a loose set: the number of its box."),
    )
    how = forms.ChoiceField(
        label=_("How it came back"),
        choices=[
            ("", _("Choose")),
            (UNOPENED, _("the whole box, unopened")),
            (OPENED, _("opened, or loose sets")),
        ],
    )
    sets = forms.IntegerField(
        label=_("Sets that came back"),
        min_value=1,
        max_value=MOST_SETS,
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )
    place = forms.ChoiceField(label=_("Where it is now"))
    note = ReasonField(label=_("Why it came back, and in what state"))

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        there = [(str(place.pk), place.name) for place in quarantines()]
        self.offer("place", [("", _("Choose a quarantine")), *there])

    @property
    def entries(self) -> dict[str, Any]:
        """What came back, as its act takes it; the box by what was scanned."""
        data = self.cleaned_data
        return {
            "scan": data["scan"],
            "sets": data["sets"],
            "opened": data["how"] == OPENED,
            "place_id": int(data["place"]),
            "note": data["note"],
        }


class UndoReturnForm(KeyedForm):
    """How it is known that a box did not come back."""

    reason = ReasonField(label=_("How is it known that it was another box?"))
