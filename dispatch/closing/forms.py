"""The forms by which a case is closed and reopened."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from dispatch.closing.queries.closings import Group
from dispatch.models.closings import LONGEST_DECISION
from kitting.domain.shown import spaced
from kitting.web.figures import pieces
from kitting.web.forms import KeyedForm, NamedForm


def _decision(label: Any, help_text: Any) -> forms.CharField:
    widget = forms.Textarea(attrs={"rows": 3})
    return forms.CharField(
        label=label, max_length=LONGEST_DECISION, widget=widget, help_text=help_text
    )


class CloseForm(NamedForm):
    """Say what was decided, and why each box without an end may be."""

    things = {
        "cause": gettext_lazy("what was wrong, and how it came about"),
        "done": gettext_lazy("what was done"),
        "prevention": gettext_lazy("what keeps it from happening again"),
    }

    seen = forms.CharField(max_length=40, widget=forms.HiddenInput)
    cause = _decision(
        gettext_lazy("Cause"), gettext_lazy("What was wrong, and how it came about.")
    )
    done = _decision(
        gettext_lazy("What was done"),
        gettext_lazy("With the boxes, and with whoever had them."),
    )
    prevention = _decision(
        gettext_lazy("What keeps it from happening again"),
        gettext_lazy("Such as another method, check or limit, and since when."),
    )

    def __init__(self, *args: Any, groups: list[Group], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._groups = groups
        password = self.fields.pop("password")
        for group in groups:
            self.fields[f"all-{group.key}"] = forms.CharField(
                label=_of_group(group), max_length=200, required=False
            )
            for each in group.boxes if len(group.boxes) > 1 else ():
                self.fields[f"box-{each.box.box}"] = forms.CharField(
                    label=_("Box %(box)s") % {"box": spaced(each.box.serial)},
                    max_length=200,
                    required=False,
                )
        self.fields["password"] = password

    @property
    def first_fields(self) -> list[forms.BoundField]:
        """The fields of the decision."""
        return [self[name] for name in ("cause", "done", "prevention")]

    @property
    def reasons(self) -> list[tuple[forms.BoundField, list[forms.BoundField]]]:
        """By group the field for all of its boxes, and those for each."""
        return [
            (
                self[f"all-{group.key}"],
                [
                    self[f"box-{each.box.box}"]
                    for each in group.boxes
                    if len(group.boxes) > 1
                ],
            )
            for group in self._groups
        ]

    @property
    def entries(self) -> dict[str, Any]:
        """The decision, and of each box its own reason or that of its group."""
        said = self.cleaned_data
        reasons = [
            (box, said.get(f"box-{box}") or said[f"all-{group.key}"])
            for group in self._groups
            for box in (each.box.box for each in group.boxes)
        ]
        kept = {name: said[name] for name in ("seen", "cause", "done", "prevention")}
        return {**kept, "reasons": [each for each in reasons if each[1]]}


def _of_group(group: Group) -> str:
    words = ngettext(
        "%(who)s: %(boxes)s box not accounted for",
        "%(who)s: %(boxes)s boxes not accounted for",
        len(group.boxes),
    )
    who = group.name or _("Here, not in quarantine")
    return words % {"who": who, "boxes": pieces(len(group.boxes))}


class ReopenForm(KeyedForm):
    """Open a closed case again."""

    reason = forms.CharField(label=gettext_lazy("Reason"), max_length=200)
