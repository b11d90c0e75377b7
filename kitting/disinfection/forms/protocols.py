"""Forms of protocols. No figure has a default, an example or a hint."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from kitting.domain.entries import Load, Terms
from kitting.domain.errors import Refused
from kitting.domain.figures import written
from kitting.models import Evidence
from kitting.models.base import pairs
from kitting.models.lots import Container
from kitting.models.runs import Process
from kitting.web.fields import CodeField, FigureField, ReasonField, RevisionField
from kitting.web.forms import DayField, LineForm, LinesForm, NamedForm
from kitting.web.http import add_refusal

PROCESSES = {
    Process.UVC_BELT: _("UV-C conveyor"),
    Process.UVC_CABINET: _("UV-C cabinet"),
    Process.LIQUID: _("liquid, by contact time and concentration"),
    Process.HEAT: _("dry heat, by temperature and time"),
}


def _whole(label: Any, unit: str, **options: Any) -> forms.IntegerField:
    return forms.IntegerField(
        label=label,
        required=False,
        min_value=1,
        max_value=2_000_000_000,
        widget=forms.NumberInput(attrs={"data-unit": unit}),
        **options,
    )


def _figure(label: Any, unit: str) -> FigureField:
    # What is required is rounded up: never asked for less than was written.
    return FigureField(label=label, unit=unit, by=1000, up=True, required=False)


class LoadForm(LineForm):
    """One line of what a protocol covers."""

    asked = ("revision", "container", "max_pieces")
    begun_by = ("orientation",)

    things = {
        "max_pieces": _("how many pieces one holds at most"),
    }

    revision = RevisionField(
        label=_("Part and revision"), required=False, empty_label=_("nothing")
    )
    container = forms.ChoiceField(
        label=_("Container"),
        required=False,
        choices=lambda: [("", "–"), *pairs(Container)],
    )
    max_pieces = forms.IntegerField(
        label=_("Pieces in one, at most"),
        required=False,
        min_value=1,
        max_value=10_000_000,
    )
    orientation = forms.CharField(
        label=_("How the parts are arranged"), required=False, max_length=80
    )

    @property
    def load(self) -> Load | None:
        """The line of a valid form, or None for an empty one."""
        data = self.cleaned_data
        if not data.get("revision"):
            return None
        return Load(
            revision_id=data["revision"].pk,
            container=data["container"],
            max_pieces=data["max_pieces"],
            orientation=data["orientation"],
        )


class ProtocolForm(LinesForm):
    """All that a draft says.

    Args:
        *args: As for any form.
        terms: What is on record of it; None for a new protocol.
        **kwargs: As for any form.
    """

    line_form = LoadForm
    lines_label = _("What it covers")
    lines_help = _(
        "One line for each revision and container. To remove a line, choose “nothing”"
        " and empty the rest of it."
    )

    things = {
        "required_top": _("the required dose of the top side"),
        "required_bottom": _("the required dose of the bottom side"),
        "low_nm": _("where the spectrum begins"),
        "high_nm": _("where the spectrum ends"),
        "max_passes": _("how many passes a bag may have"),
        "hold_s": _("the time without a break"),
        "min_temperature": _("the lowest temperature"),
        "min_ppm": _("the lowest concentration"),
    }

    name = forms.CharField(label=_("Name"), max_length=80)
    process = forms.ChoiceField(
        label=_("Process"), choices=[("", _("Choose a process")), *PROCESSES.items()]
    )
    required_top = _figure(_("UV-C: required dose, top side"), "mJ/cm²")
    required_bottom = _figure(_("UV-C: required dose, bottom side"), "mJ/cm²")
    turned = forms.BooleanField(
        label=_("UV-C: the pieces are turned between passes"), required=False
    )
    low_nm = _whole(_("UV-C: spectrum from"), "nm")
    high_nm = _whole(_("UV-C: spectrum to"), "nm")
    max_passes = _whole(_("Passes of one bag in its life, at most"), "")
    hold_s = _whole(_("Heat or liquid: time without a break"), "s")
    min_temperature = _figure(_("Heat: lowest temperature"), "°C")
    min_ppm = _whole(_("Liquid: lowest concentration"), "ppm")
    in_force_from = DayField(label=_("In force from"))
    in_force_until = DayField(label=_("In force until"), required=False)
    label_words = forms.CharField(
        label=_("Words on labels"),
        required=False,
        max_length=60,
        help_text=_("What the evidence allows to be said of what was disinfected."),
    )
    evidence = forms.MultipleChoiceField(
        label=_("Evidence"),
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text=_("At least one record, before the protocol is signed."),
    )

    def __init__(self, *args: Any, terms: Terms | None = None, **kwargs: Any) -> None:
        if terms is not None:
            shown = [
                vars(load) | {"revision": load.revision_id} for load in terms.loads
            ]
            kwargs = {"initial": _initial(terms), "shown": shown, **kwargs}
        super().__init__(*args, **kwargs)
        records = Evidence.objects.order_by("code")
        words = (
            (row.code, f"{row.code}: {row.measured}, {row.surface}") for row in records
        )
        self.offer("evidence", words)

    def clean(self) -> dict[str, Any]:
        """Refuse a temperature and a concentration at once."""
        data = super().clean() or self.cleaned_data
        if data.get("min_temperature") is not None and data.get("min_ppm") is not None:
            error = Refused("protocol_other_terms", process=data.get("process", ""))
            add_refusal(self, error)
        return data

    @property
    def entries(self) -> dict[str, Any]:
        """The terms, with what they cover; of a first version its code as well."""
        said = super().entries
        temperature, ppm = said.pop("min_temperature"), said.pop("min_ppm")
        named = {"code": said.pop("code")} if "code" in said else {}
        terms = Terms(
            required_top_uj_cm2=said.pop("required_top") or 0,
            required_bottom_uj_cm2=said.pop("required_bottom") or 0,
            min_value=self._minimum(said["process"], temperature, ppm),
            loads=tuple(line.load for line in self.lines if line.load is not None),
            evidence=tuple(said.pop("evidence")),
            **said,
        )
        return {**named, "terms": terms}

    @staticmethod
    def _minimum(process: str, temperature: int | None, ppm: int | None) -> int | None:
        if process == Process.HEAT:
            return temperature
        if process == Process.LIQUID:
            return ppm
        return temperature if temperature is not None else ppm


def _initial(terms: Terms) -> dict[str, Any]:
    """What a form shows of what a draft says; nothing where it says nothing."""
    values = {
        name: getattr(terms, name)
        for name in (
            *("name", "process", "turned", "hold_s", "low_nm", "high_nm"),
            *("max_passes", "in_force_from", "in_force_until", "label_words"),
        )
    }
    for side in ("top", "bottom"):
        dose = getattr(terms, f"required_{side}_uj_cm2")
        values[f"required_{side}"] = written(dose, 1000) if dose else ""
    if terms.min_value is not None:
        heat = terms.process == Process.HEAT
        name = "min_temperature" if heat else "min_ppm"
        values[name] = written(terms.min_value, 1000) if heat else terms.min_value
    return {**values, "evidence": list(terms.evidence)}


class NewProtocolForm(ProtocolForm):
    """The draft of a protocol's first version."""

    code = CodeField(
        max_length=12, help_text=_("At most 12 of A to Z, 0 to 9 and hyphen.")
    )
    field_order = ("op_key", "code")


class SignForm(NamedForm):
    """A signature under what was read: its mark comes with the page."""

    things = {
        "mark": _("the mark of what you read"),
    }

    meaning = forms.CharField(
        label=_("What your signature means"),
        max_length=80,
        initial=_("Approved for use"),
    )
    mark = forms.CharField(max_length=64, widget=forms.HiddenInput)


class RetireForm(NamedForm):
    """Why a version ends."""

    reason = ReasonField(rows=2)
