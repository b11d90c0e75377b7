"""Pages of meters."""

from __future__ import annotations

from functools import partial
from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from kitting.disinfection.forms.meters import CalibrationForm, FoundWrongForm, MeterForm
from kitting.disinfection.queries import meters as queries
from kitting.disinfection.services import meters
from kitting.ledger import clock
from kitting.models import Meter
from kitting.web.acting import act_page
from kitting.web.http import LotwardRequest, allowed, get_or_404
from kitting.web.tables import Column, file_response

COLUMNS: list[Column[queries.MeterLine]] = [
    Column("meter", "meter.serial"),
    Column("name", "meter.name"),
    Column("may be used", "state"),
    Column("calibrated", lambda row: getattr(row.newest, "on", None)),
    Column("due", lambda row: getattr(row.newest, "due", None)),
    Column("uncertainty ppm (k=2)", lambda row: getattr(row.newest, "rel_u_ppm", None)),
    Column("from nm", lambda row: getattr(row.newest, "low_nm", None)),
    Column("to nm", lambda row: getattr(row.newest, "high_nm", None)),
    Column("runs", "runs"),
]


@allowed("kitting.see_work")
def meter_list(request: LotwardRequest) -> HttpResponseBase:
    """Every meter, and until when it may be used."""
    lines = queries.meter_lines(clock.today())
    if file := file_response(request, "meters", COLUMNS, lines):
        return file
    context = {
        "lines": lines,
        "usable": sum(line.usable for line in lines),
        "stopped": [line for line in lines if not line.usable],
        "soon": [line for line in lines if line.state == "soon"],
    }
    return render(request, "kitting/disinfection/meters.html", context)


@allowed("kitting.keep_meters", "GET", "POST")
def meter_new(request: LotwardRequest) -> HttpResponse:
    """Add a meter."""
    return act_page(
        request,
        "kitting/disinfection/meter_new",
        MeterForm(request.POST or None),
        meters.add_meter,
        said=_("Meter %(meter)s is added. Enter its calibration."),
        to=lambda done: _address(done.meter),
        act=_("Add the meter"),
        back=reverse("kitting:meters"),
    )


def _address(serial: str) -> str:
    return reverse("kitting:meter-detail", args=[serial])


@allowed("kitting.see_work", "GET", "POST")
def meter_detail(request: LotwardRequest, serial: str) -> HttpResponse:
    """One meter: its calibrations and faults, and a new calibration."""
    meter = get_or_404(Meter, serial=serial)
    may_keep = request.user.has_perm("kitting.keep_meters")
    if request.method == "POST" and not may_keep:
        raise PermissionDenied

    def around() -> dict[str, Any]:
        lines = queries.meter_lines(clock.today())
        calibrations = meter.calibrations.select_related("operation")
        return {
            "line": next(row for row in lines if row.meter.pk == meter.pk),
            "calibrations": calibrations.order_by("-on", "-pk"),
            "faults": meter.faults.select_related("operation").order_by("-pk"),
        }

    return act_page(
        request,
        "kitting/disinfection/meter_detail",
        CalibrationForm(request.POST or None),
        lambda sign, u, **said: meters.record_calibration(
            meter_id=meter.pk, rel_u_ppm=u, sign=sign, **said
        ),
        said=_("The calibration of %(meter)s is recorded, due %(due)s."),
        to=_address(meter.serial),
        around=around,
        meter=meter,
        may_keep=may_keep,
        may_hold=request.user.has_perm("kitting.place_holds"),
        act=_("Record the calibration"),
        back="",
    )


@allowed("kitting.place_holds", "GET", "POST")
def meter_wrong(request: LotwardRequest, serial: str) -> HttpResponse:
    """Record that a meter was found to read wrong; every run it spoiled is held."""
    meter = get_or_404(Meter, serial=serial)
    known = meter.calibrations.order_by("-on", "-pk")
    return act_page(
        request,
        "kitting/disinfection/meter_wrong",
        FoundWrongForm(request.POST or None, calibrations=known),
        partial(meters.find_wrong, meter_id=meter.pk),
        said=_said_wrong,
        to=_address(meter.serial),
        level=messages.WARNING,
        meter=meter,
        act=_("Place a hold on every run since that calibration"),
        stop=True,
    )


def _said_wrong(done: meters.FoundWrong) -> str:
    words = ngettext(
        "%(runs)s run measured with %(meter)s is on hold. Bags with pieces that this"
        " stops: %(bags)s; boxes that are here: %(boxes_here)s, that have left:"
        " %(boxes_gone)s.",
        "%(runs)s runs measured with %(meter)s are on hold. Bags with pieces that this"
        " stops: %(bags)s; boxes that are here: %(boxes_here)s, that have left:"
        " %(boxes_gone)s.",
        done.runs,
    )
    return words % vars(done)
