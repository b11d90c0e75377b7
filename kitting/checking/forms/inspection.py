"""Forms of inspection: filters, a plan's curve, how parts are checked, defects."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from kitting.checking.queries.switching import SWITCHED
from kitting.domain.sampling import AQLS, LEVELS
from kitting.models import DefectKind, Part
from kitting.web.fields import CodeField, ReasonField
from kitting.web.forms import DayField, FilterForm, KeyedForm, SpokenForm

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


class ReduceForm(KeyedForm):
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
