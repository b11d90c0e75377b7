"""The forms of a run: its readings, opening it, scanning, the list."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.forms import BoundField
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from kitting.disinfection.queries.meters import MeterLine
from kitting.domain.entries import Belt
from kitting.domain.errors import LotwardError, Refused
from kitting.domain.figures import UW_CM2_IN, IrradianceUnit, doubtful, scaled, written
from kitting.domain.margins import MILLION
from kitting.domain.stages import RunStage
from kitting.web.fields import FigureField, FigureText
from kitting.web.forms import (
    DayField,
    FilterForm,
    KeyedForm,
    ScanField,
    SureForm,
    sure_field,
)
from kitting.web.http import add_refusal
from kitting.web.wording import UNSAID

Place = tuple[int, str]
"""Point and side of a reading."""

SIDE_WORDS = {"top": _("top"), "bottom": _("bottom")}
MOST_POINTS = 20
"""Points that the form of a run has room for."""


@dataclass(frozen=True)
class Cell:
    """One reading on the form."""

    field: BoundField
    before: int | None
    """What the same place showed before, in µW/cm²."""
    uw_cm2: int | None
    """What stands in the field, where it can be read."""


class ReadingsForm(KeyedForm):
    """Irradiance at several places; what looks like a swapped unit is asked about."""

    things = {"unit": _("the unit that the meter shows")}

    unit = forms.ChoiceField(
        label=_("The meter shows"),
        choices=[(str(unit), str(unit)) for unit in IrradianceUnit],
        initial=str(IrradianceUnit.MW_CM2),
        help_text=_("1 mW/cm² is 10 W/m² or 1000 µW/cm²."),
    )
    sure = forms.BooleanField(
        label=_("These are the figures and the unit that the meter shows"),
        required=False,
    )

    def __init__(
        self,
        *args: Any,
        places: Sequence[Place],
        before: Mapping[Place, int],
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        self.places, self.before = places, before
        self.read: dict[Place, int] = {}
        self.asks = False
        for point, side in places:
            label = gettext("Point %(point)s, %(side)s") % {
                "point": point,
                "side": SIDE_WORDS[side],
            }
            words = gettext("the reading at point %(point)s, %(side)s")
            named = {"point": point, "side": SIDE_WORDS[side]}
            self.things = {**self.things, _name(point, side): words % named}
            self.fields[_name(point, side)] = FigureText(label=label)

    def clean(self) -> dict[str, Any]:
        """Scale the readings to µW/cm² and ask about those that look out of unit."""
        data = super().clean() or self.cleaned_data
        if not self.places or "unit" not in data:
            return data
        by = UW_CM2_IN[IrradianceUnit(data["unit"])]
        for place in self.places:
            name = _name(*place)
            if name not in data:
                continue
            try:
                self.read[place] = scaled(data[name], by)
            except LotwardError as error:
                self.add_error(name, ValidationError(UNSAID, error.code))
        doubted = [
            place
            for place, uw_cm2 in self.read.items()
            if doubtful(uw_cm2, self.before.get(place))
        ]
        self.asks = bool(doubted)
        if doubted and not data.get("sure"):
            refusal = Refused("reading_doubted", **self._doubt(doubted[0]))
            add_refusal(self, refusal, field="sure")
        return data

    def _doubt(self, place: Place) -> dict[str, object]:
        expected = self.before.get(place)
        usual = gettext("0.1 to 100") if expected is None else written(expected, 1000)
        return {
            "point": place[0],
            "side": SIDE_WORDS[place[1]],
            "read": written(self.read[place], 1000),
            "usual": usual,
        }

    @property
    def values(self) -> list[tuple[int, str, int]]:
        """Point, side and µW/cm² of a valid form."""
        return [(point, side, uw) for (point, side), uw in self.read.items()]

    @property
    def sides(self) -> list[str]:
        """The sides that are read, in the order of the places."""
        return list(dict.fromkeys(str(SIDE_WORDS[side]) for _, side in self.places))

    @property
    def rows(self) -> list[tuple[int, list[Cell]]]:
        """Points, each with a cell for every side."""
        by_point: dict[int, list[Cell]] = {}
        for place in self.places:
            cell = Cell(
                field=self[_name(*place)],
                before=self.before.get(place),
                uw_cm2=self.read.get(place),
            )
            by_point.setdefault(place[0], []).append(cell)
        return sorted(by_point.items())


def _name(point: int, side: str) -> str:
    return f"r_{side}_{point}"


def meter_choices(meters: Sequence[MeterLine]) -> list[tuple[str, str]]:
    """Meters as the choices of a field, each with what its calibration says."""
    words = gettext("%(meter)s, calibration due %(due)s, uncertainty %(u)s %%")
    return [
        (
            str(each.meter.pk),
            words
            % {
                "meter": each.meter,
                "due": each.newest.due,
                "u": written(each.newest.rel_u_ppm, 10_000),
            },
        )
        for each in meters
        if each.newest is not None
    ]


class OpenRunForm(ReadingsForm, SureForm):
    """A run on a line: meter, belt or time, passes and the opening readings."""

    meter = forms.ChoiceField(label=_("Meter"))
    zone = FigureField(label=_("Length of the lit zone"), unit="mm")
    zone_u = FigureField(
        label=_("Uncertainty of that length"),
        unit="mm",
        up=True,
        required=False,
        help_text=_("Expanded (k = 2); empty if it is counted with the speed's."),
    )
    # A faster belt gives less: what is finer than 1 µm/s is rounded up.
    speed = FigureField(label=_("Speed of the belt"), unit="mm/s", up=True)
    time = FigureField(label=_("Time of one pass"), unit="s")
    passes = forms.IntegerField(
        label=_("Passes"), min_value=1, max_value=100, initial=1
    )
    through_u = FigureField(
        label=_("Uncertainty of the speed"),
        unit="%",
        by=10_000,
        up=True,
        help_text=_("Relative, expanded (k = 2); 0 only if there is none for certain."),
    )
    decline = FigureField(
        label=_("Decline of the lamps"),
        unit="%",
        by=10_000,
        up=True,
        help_text=_(
            "How much weaker the lamps may be in the run than in the readings."
        ),
    )
    anyway = sure_field(label=_("Why it is opened with these readings"))
    why = "anyway"

    def __init__(
        self, *args: Any, meters: Sequence[MeterLine], belt: bool, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.offer("meter", meter_choices(meters))
        if not belt:
            self.fields["through_u"].label = _("Uncertainty of the time")
        gone = ["time"] if belt else ["zone", "zone_u", "speed"]
        if not self.places:
            gone += ["unit", "sure"]
        for name in gone:
            del self.fields[name]

    @property
    def entries(self) -> dict[str, Any]:
        """Meter, belt, readings and a reason, for the act that opens a run."""
        data = self.cleaned_data
        zone, zone_u = data.get("zone"), data.get("zone_u") or 0
        return {
            "meter_id": int(data["meter"]),
            "belt": Belt(
                zone_um=zone,
                belt_um_s=data.get("speed"),
                exposure_ms=data.get("time"),
                passes=data["passes"],
                u_ppm=data["through_u"],
                zone_u_ppm=-(-zone_u * MILLION // zone) if zone else 0,
                decline_ppm=data["decline"],
            ),
            "readings": self.values,
            "by_dosimeter": not self.places,
            "sure": data["anyway"],
        }

    @property
    def first_fields(self) -> list[BoundField]:
        """The fields that come before the readings."""
        names = (
            *("meter", "zone", "zone_u", "speed", "time", "passes"),
            *("through_u", "decline", "unit"),
        )
        return [self[name] for name in names if name in self.fields]


class OpenHoldForm(KeyedForm):
    """A run by heat or liquid: what its values are measured with."""

    meter = forms.ChoiceField(
        label=_("Thermometer or test strip"),
        help_text=_("It must be in calibration, like every meter."),
    )

    def __init__(self, *args: Any, meters: Sequence[MeterLine], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.offer("meter", meter_choices(meters))

    @property
    def entries(self) -> dict[str, Any]:
        """The meter; nothing is read when such a run opens."""
        meter_id = int(self.cleaned_data["meter"])
        return {"meter_id": meter_id, "belt": Belt(), "readings": []}

    @property
    def first_fields(self) -> list[BoundField]:
        """Its one field."""
        return [self["meter"]]


class LineScanForm(KeyedForm):
    """One scan at the line: it puts a bag on, or takes it off."""

    things = {
        "read": _("the label of a bag"),
    }

    read = ScanField(
        label=_("Scan a bag"),
    )


class EarlyOffForm(KeyedForm):
    """A bag that comes off before its passes are over."""

    things = {
        "bag": _("the bag"),
    }

    bag = forms.CharField(max_length=20, widget=forms.HiddenInput)


class RunFilterForm(FilterForm):
    """The list of runs as a sentence with blanks."""

    things = {
        "line": _("the line"),
        "stage": _("the stage"),
    }

    line = forms.ChoiceField(label=_("on"), required=False)
    stage = forms.ChoiceField(
        label=_("that are"),
        required=False,
        choices=[("", _("open or closed")), *((str(s), str(s)) for s in RunStage)],
    )
    since = DayField(label=_("from"), required=False)
    until = DayField(label=_("to"), required=False)

    def __init__(self, *args: Any, lines: Iterable[tuple[str, str]], **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.offer("line", [("", _("any line")), *lines])
