"""Forms of checks: bad pieces by kind, the verdict, sorting, and ends of rejected lots."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.forms import BoundField
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from kitting.domain.shown import spaced
from kitting.models import Bag, DefectKind
from kitting.models.lots import Verdict
from kitting.web.fields import ReasonField
from kitting.web.forms import KeyedForm

MOST_COUNTED = 1_000_000


class CountField(forms.IntegerField):
    """Bad pieces; an empty field is none."""

    def __init__(self, **options: Any) -> None:
        widget = forms.NumberInput(attrs={"inputmode": "numeric", "class": "tally"})
        super().__init__(
            required=False,
            min_value=0,
            max_value=MOST_COUNTED,
            initial=0,
            widget=widget,
            **options,
        )


class CountingForm(KeyedForm):
    """Bad pieces by kind of defect; each piece once, under its gravest."""

    things = {
        "found": _("how many pieces have another defect"),
        "shown": _("what was on record of the lot"),
    }

    def __init__(
        self, *args: Any, kinds: Sequence[DefectKind] = (), **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.kinds = list(kinds)
        before = {kind: CountField(label=kind.name) for kind in self.kinds}
        fields = {f"kind_{kind.pk}": field for kind, field in before.items()}
        self.fields = {**fields, **self.fields}
        words = gettext("how many pieces have the defect “%(kind)s”")
        names = {f"kind_{kind.pk}": words % {"kind": kind.name} for kind in self.kinds}
        self.things = {**self.things, **names}

    found = CountField(label=_("Another defect"))

    @property
    def tallies(self) -> list[tuple[DefectKind | None, BoundField]]:
        """Each kind with its field, in the order of the list; None for any other."""
        named: list[tuple[DefectKind | None, BoundField]] = [
            (kind, self[f"kind_{kind.pk}"]) for kind in self.kinds
        ]
        return [*named, (None, self["found"])]

    @property
    def entries(self) -> dict[str, Any]:
        """Beside the others: id of each kind found and bad pieces of it."""
        kinds = {f"kind_{kind.pk}": kind.pk for kind in self.kinds}
        said = super().entries
        defects = [(pk, said.pop(name) or 0) for name, pk in kinds.items()]
        found = said.pop("found") or 0
        return {
            "found": found,
            "defects": [each for each in defects if each[1]],
            **said,
        }


class CheckForm(CountingForm):
    """What was found in a lot, and the verdict that its plan gives."""

    shown = forms.CharField(widget=forms.HiddenInput, required=False)
    verdict = forms.ChoiceField(
        label=_("Verdict by the plan"),
        choices=[
            (Verdict.ACCEPTED, _("Accept the lot")),
            (Verdict.REJECTED, _("Reject the lot")),
        ],
        widget=forms.RadioSelect,
    )
    reason = ReasonField(
        required=False,
        help_text=_(
            "Needed if the lot is rejected. Everybody who looks the lot up reads this."
        ),
    )

    def clean(self) -> dict[str, Any]:
        """Ask for the reason of a rejection where it is to be written."""
        data = super().clean() or self.cleaned_data
        if data.get("verdict") == Verdict.REJECTED and not data.get("reason"):
            self.add_error(
                "reason",
                ValidationError(
                    _("Say why the lot is rejected."), code="reason_missing"
                ),
            )
        return data

    @property
    def entries(self) -> dict[str, Any]:
        """Beside the others: whether the lot is accepted."""
        said = super().entries
        return {"accept": said.pop("verdict") == Verdict.ACCEPTED, **said}


class RejectForm(CountingForm):
    """What was found in a lot, and why it is rejected whatever the plan says."""

    shown = forms.CharField(widget=forms.HiddenInput, required=False)
    reason = ReasonField(help_text=_("Everybody who looks the lot up reads this."))


class SortForm(CountingForm):
    """How many pieces of a bag are good, and what was wrong with the others."""

    good = forms.IntegerField(
        label=_("Good pieces"), min_value=0, max_value=MOST_COUNTED
    )
    reason = ReasonField(
        required=False,
        help_text=_("Needed where a defect is not on the list."),
    )
    field_order = ("op_key", "good")

    @property
    def entries(self) -> dict[str, Any]:
        """As of every form that counts, by the name that sorting has for the rest."""
        said = super().entries
        return {"unlisted": said.pop("found"), **said}


class BagsField(forms.MultipleChoiceField):
    """Bags of a lot; those that are decided about are taken, for a form sent again."""

    decided: frozenset[str] = frozenset()

    def valid_value(self, value: Any) -> bool:
        """Take what was offered, now or when the page was shown."""
        return str(value) in self.decided or super().valid_value(value)


class BagsForm(KeyedForm):
    """Which rejected bags, and why."""

    bags = BagsField(label=_("Bags"), widget=forms.CheckboxSelectMultiple)
    reason = ReasonField()

    def __init__(
        self,
        *args: Any,
        waiting: Sequence[Bag],
        decided: Sequence[int] = (),
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["bags"]
        field.decided = frozenset(map(str, decided))  # type: ignore[attr-defined]
        choices = [
            (str(bag.pk), _("%(bag)s, %(pieces)s in it") % self._said(bag))
            for bag in waiting
        ]
        self.offer("bags", choices)
        field.initial = [pk for pk, _words in choices]

    @staticmethod
    def _said(bag: Bag) -> dict[str, object]:
        return {"bag": spaced(bag.number), "pieces": bag.pieces}

    @property
    def entries(self) -> dict[str, Any]:
        """The bags by their ids, and why."""
        return {
            "bag_ids": [int(pk) for pk in self.cleaned_data["bags"]],
            "reason": self.cleaned_data["reason"],
        }
