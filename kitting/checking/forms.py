"""Forms of checks: bad pieces by kind, verdicts, rejected lots; how parts are checked."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.forms import BoundField
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from kitting.checking.queries.checks import CheckPlan
from kitting.checking.queries.switching import SWITCHED
from kitting.domain.sampling import AQLS, LEVELS
from kitting.domain.shown import spaced
from kitting.lots.forms.counts import BagForm
from kitting.lots.forms.scrap import ScrapReasonForm
from kitting.models import Bag, DefectKind, Part
from kitting.models.lots import Verdict
from kitting.web.fields import CodeField, ReasonField
from kitting.web.figures import pieces
from kitting.web.forms import (
    DayField,
    FilterForm,
    KeyedForm,
    NamedForm,
    SpokenForm,
    TwoStepForm,
)

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
    """Bad pieces by kind of defect; each piece once, under its worst."""

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
    """What was found in a lot, and the verdict that its plan gives.

    Args:
        *args: As for any form.
        plan: The plan; None where there is nothing to check.
        **kwargs: As for any form.
    """

    things = {"looked": _("that all was looked at")}

    shown = forms.CharField(widget=forms.HiddenInput, required=False)
    looked = forms.BooleanField(
        required=False, widget=forms.CheckboxInput(attrs={"data-act": "LOOKED"})
    )
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

    def __init__(self, *args: Any, plan: CheckPlan | None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        words = _(
            "I looked at all %(all)s for critical defects and at the %(drawn)s drawn for"
            " the others. What is not counted above was not there."
        )
        if plan is None or not plan.sampled:
            words = _(
                "I looked at all %(all)s. What is not counted above was not there."
            )
        if plan is not None:
            drawn = plan.sample_size
            figures = {"all": pieces(plan.lot_pieces), "drawn": pieces(drawn)}
            self.fields["looked"].label = words % figures

    def clean(self) -> dict[str, Any]:
        """Ask for the reason of a rejection, and for what an acceptance rests on."""
        data = super().clean() or self.cleaned_data
        if data.get("verdict") == Verdict.ACCEPTED and not data.get("looked"):
            self.ask_for("looked", "looked_unsaid")
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

    def __init__(self, *args: Any, plan: CheckPlan | None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)

    shown = forms.CharField(widget=forms.HiddenInput, required=False)
    reason = ReasonField(help_text=_("Everybody who looks the lot up reads this."))


class AcceptAgainForm(BagForm):
    """That a bag was looked at once more, as it was open for too long."""

    reason = ReasonField(
        label=_("What was looked at"),
        help_text=_("Everybody who looks the bag up reads this."),
    )


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


ALL = "all"
"""What is ticked where all bags are meant."""


class BagsForm(TwoStepForm):
    """Which rejected bags; none of them is ticked beforehand."""

    things = {"bags": _("at least one bag")}

    bags = BagsField(label=_("Bags"), widget=forms.CheckboxSelectMultiple)

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
        if len(choices) > 1:
            whole = {"bags": len(waiting), "pieces": sum(bag.pieces for bag in waiting)}
            all_of_them = _("All %(bags)s bags, %(pieces)s in them") % whole
            choices.insert(0, (ALL, all_of_them))
        self.waiting = waiting
        self.offer("bags", choices)

    @staticmethod
    def _said(bag: Bag) -> dict[str, object]:
        return {"bag": spaced(bag.number), "pieces": bag.pieces}

    @property
    def chosen(self) -> set[int]:
        """Ids of the bags."""
        ticked = self.cleaned_data.get("bags", [])  # none where they cannot be read
        if ALL in ticked:
            return {bag.pk for bag in self.waiting}
        return {int(pk) for pk in ticked}

    def ask(self, pieces: int) -> None:
        """Let the bags themselves go along, whatever stood for them."""
        super().ask(pieces)
        self.data.setlist("bags", [str(pk) for pk in sorted(self.chosen)])  # type: ignore[attr-defined]

    @property
    def entries(self) -> dict[str, Any]:
        """As of every form, the bags by their ids."""
        said = super().entries
        del said["bags"]
        return {**said, "bag_ids": sorted(self.chosen)}


class SendBackForm(BagsForm):
    """Which rejected bags are sent back, and why."""

    reason = ReasonField()


class ScrapBagsForm(ScrapReasonForm, BagsForm):
    """Which rejected bags are scrapped, and why."""

    field_order = ("op_key", "pieces", "bags", "reason", "note")


class ConcessionForm(SendBackForm, NamedForm):
    """Which rejected bags go on all the same, and why."""


AQL_CHOICES = [(str(int(aql * 1_000)), f"{aql} %") for aql in AQLS]
LEVEL_CHOICES = [(level, level) for level in LEVELS]
CLASS_CHOICES = [
    ("critical", _("critical: looked for in all pieces, none may be there")),
    ("major", _("major")),
    ("minor", _("minor")),
]
WAYS = [
    ("none", _("Not at all")),
    ("all", _("All pieces, none may be bad")),
    ("sample", _("By sample")),
]


class SourceFilterForm(FilterForm):
    """Which part from which source, and lots made when; stands in the address."""

    part = forms.ModelChoiceField(queryset=Part.objects.all(), to_field_name="code")
    source = forms.CharField(max_length=60)
    since = DayField(required=False)
    until = DayField(required=False)


class ClassForm(SourceFilterForm):
    """One class of a part from a source; stands in the address."""

    grade = forms.ChoiceField(choices=[(each, each) for each in SWITCHED])


class CurveForm(SpokenForm):
    """A plan, as it stands in the address."""

    pieces = forms.IntegerField(
        label=_("Pieces in the lot"), min_value=1, max_value=1_000_000, initial=1_000
    )
    level = forms.ChoiceField(label=_("Level"), choices=LEVEL_CHOICES, initial="II")
    aql = forms.ChoiceField(label=_("AQL"), choices=AQL_CHOICES, initial="1000")
    severity = forms.ChoiceField(
        label=_("Inspection"),
        choices=[
            ("normal", _("normal")),
            ("tightened", _("tightened")),
            ("reduced", _("reduced")),
        ],
        initial="normal",
    )


class CheckPlanForm(KeyedForm):
    """How a part is checked."""

    way = forms.ChoiceField(
        label=_("How it is checked"), choices=WAYS, widget=forms.RadioSelect
    )
    level = forms.ChoiceField(
        label=_("Inspection level"),
        choices=LEVEL_CHOICES,
        help_text=_(
            "II unless there is a reason; S-1 to S-4 where a test destroys the piece or"
            " takes long."
        ),
    )
    aql_major = forms.TypedChoiceField(
        label=_("AQL of major defects"),
        coerce=int,
        choices=AQL_CHOICES,
        help_text=_("Bad pieces in a hundred at which lots are still mostly accepted."),
    )
    aql_minor = forms.TypedChoiceField(
        label=_("AQL of minor defects"), coerce=int, choices=AQL_CHOICES
    )


class KindForm(KeyedForm):
    """A kind of defect."""

    code = CodeField(max_length=12)
    name = forms.CharField(
        label=_("What the checkers call it"),
        max_length=40,
        help_text=_("Such as: scratched, cracked, rough edge, wrong length, stain."),
    )
    grade = forms.ChoiceField(
        label=_("Class"), choices=CLASS_CHOICES, widget=forms.RadioSelect
    )
    part = forms.ModelChoiceField(
        label=_("Part"),
        queryset=Part.objects.all(),
        required=False,
        empty_label=_("Looked for in all parts"),
    )
    in_use = forms.BooleanField(
        label=_("On the list of checkers"), required=False, initial=True
    )

    def __init__(
        self, *args: Any, kind: DefectKind | None = None, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        if kind is not None:
            del self.fields["code"]


class ResumeForm(KeyedForm):
    """Why a stopped source may begin again."""

    things = {
        "reason": _("what the source has corrected"),
    }

    reason = ReasonField(
        label=_("What the source has corrected"),
        help_text=_("Its next lots are inspected on tightened plans."),
    )


class ReduceForm(NamedForm):
    """Why a class may go to reduced inspection."""

    steady = forms.BooleanField(
        label=_("Production is at a steady rate"), required=False
    )
    reason = ReasonField(
        label=_("Why reduced inspection is wanted"),
        help_text=_(
            "From the next lot on, this class is looked for in about two fifths of"
            " the pieces."
        ),
    )


class RestoreForm(KeyedForm):
    """Why reduced inspection ends."""

    things = {
        "reason": _("what calls for normal inspection"),
    }

    reason = ReasonField(
        label=_("Why normal inspection is needed again"),
        help_text=_("Such as: production became irregular or was delayed."),
    )
