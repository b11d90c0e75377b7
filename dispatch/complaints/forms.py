"""The forms of complaints: taking one down, a note, a decision, a case, a filter."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from dispatch.complaints.queries.complaints import ALL, About, about_of
from dispatch.complaints.words import DECISIONS, SEVERITIES
from dispatch.consignees.fields import ConsigneeField, PointField
from dispatch.domain.complaints import Decision
from dispatch.models import Case
from dispatch.models.complaints import LONGEST
from dispatch.recall.queries.cases import is_closed
from kitting.models import Part
from kitting.models.catalogue import Unit
from kitting.web.fields import ReasonField
from kitting.web.forms import DayField, FilterForm, KeyedForm, NamedField


class ComplaintForm(KeyedForm):
    """What somebody says at the telephone: three answers are enough."""

    things = {
        "what": _("what happened"),
        "severity": _("how bad it is"),
        "said_by": _("who says so"),
        "about": _("the number"),
        "point": _("the delivery point or ward"),
        "happened_on": _("the day on which it happened"),
        "received_on": _("the day on which it was received"),
    }

    what = ReasonField(
        label=_("What happened"),
        max_length=LONGEST["what"],
        help_text=_("In their words."),
    )
    severity = forms.ChoiceField(
        label=_("How bad it is"),
        choices=list(SEVERITIES.items()),
        widget=forms.RadioSelect,
    )
    said_by = forms.CharField(
        label=_("Who says so"),
        max_length=LONGEST["said_by"],
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    about = NamedField(
        about_of,
        label=_("Number"),
        help_text=_(
            "The serial on the box or on the slip of the set, or the lot on a part."
            " Where it is not found, leave it empty and write down what they read."
        ),
    )
    contact = forms.CharField(
        label=_("Where they can be reached"),
        required=False,
        max_length=LONGEST["contact"],
        help_text=_("A telephone number or an address."),
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    consignee = ConsigneeField(required=False, empty_label=_("none on record"))
    point = PointField(max_length=LONGEST["point"])
    part = forms.ModelChoiceField(
        Part.objects.filter(unit=Unit.PIECE).order_by("name"),
        label=_("Part at fault"),
        required=False,
        empty_label=_("not known"),
    )
    happened_on = DayField(label=_("Happened on"), required=False)
    received_on = DayField(label=_("Received on"))

    @property
    def entries(self) -> dict[str, Any]:
        """What was said, the number as it is on record."""
        named = self.cleaned_data["about"] or About()
        return {**super().entries, "about": named.number}


class NoteForm(KeyedForm):
    """What is added, or was taken down wrong."""

    things = {"text": _("the note")}

    text = ReasonField(label=_("Note"), max_length=LONGEST["text"])


class DecisionForm(KeyedForm):
    """What is decided of a complaint."""

    things = {
        "decision": _("what is decided"),
        "text": _("why, or what was found"),
        "case": _("the case that it is followed in"),
    }

    decision = forms.ChoiceField(
        label=_("Decision"), choices=list(DECISIONS.items()), widget=forms.RadioSelect
    )
    case = forms.ModelChoiceField(
        Case.objects.exclude(is_closed("pk")).order_by("-pk"),
        label=_("Case"),
        required=False,
        to_field_name="number",
        empty_label=_("none"),
        help_text=_("Where it is followed in one that is open."),
    )
    text = ReasonField(label=_("Why, or what was found"), max_length=LONGEST["text"])
    reply = ReasonField(
        label=_("What they were answered"),
        required=False,
        rows=2,
        max_length=LONGEST["text"],
    )

    @property
    def entries(self) -> dict[str, Any]:
        """The decision, with the number of its case."""
        case = self.cleaned_data["case"]
        said = {name: self.cleaned_data[name] for name in ("decision", "text", "reply")}
        return {**said, "case": case.number if case else ""}

    def clean(self) -> dict[str, Any]:
        """Ask for the case where it is followed in one."""
        data = super().clean() or {}
        if data.get("decision") == Decision.CASE and not data.get("case"):
            self.ask_for("case", "complaint_case")
        return data


class ComplaintFilterForm(FilterForm):
    """Which complaints are shown; each may stay empty."""

    which = forms.ChoiceField(
        label=_("that"),
        required=False,
        choices=[("", _("wait for a decision")), (ALL, _("are on record"))],
    )
    severity = forms.ChoiceField(
        label=_("of the kind"),
        required=False,
        choices=[("", _("any")), *SEVERITIES.items()],
    )
