"""Pages of meters and lamps."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_GET, require_http_methods

from kitting.disinfection.forms.meters import (
    CalibrationForm,
    FoundWrongForm,
    LampChangeForm,
    LampForm,
    LampHoursForm,
    MeterForm,
)
from kitting.disinfection.queries import meters as queries
from kitting.disinfection.services import lamps, meters
from kitting.ledger import clock
from kitting.models import Lamp, Meter, Place
from kitting.models.catalogue import PlaceKind
from kitting.web.acting import OK, attempt
from kitting.web.http import allowed, get_or_404, go, render_part
from kitting.web.tables import Column, file_response

if TYPE_CHECKING:
    from django.http import HttpResponse
    from django.http.response import HttpResponseBase

    from kitting.web.forms import KeyedForm
    from kitting.web.http import LotwardRequest

COLUMNS: list[Column[queries.MeterLine]] = [
    Column("meter", lambda row: row.meter.serial),
    Column("name", lambda row: row.meter.name),
    Column("may be used", lambda row: row.state),
    Column("calibrated", lambda row: getattr(row.newest, "on", None)),
    Column("due", lambda row: getattr(row.newest, "due", None)),
    Column("uncertainty ppm (k=2)", lambda row: getattr(row.newest, "rel_u_ppm", None)),
    Column("from nm", lambda row: getattr(row.newest, "low_nm", None)),
    Column("to nm", lambda row: getattr(row.newest, "high_nm", None)),
    Column("runs", lambda row: row.runs),
]


def _form_page(
    request: LotwardRequest, page: str, form: KeyedForm, status: int, **context: Any
) -> HttpResponse:
    return render_part(
        request,
        page=f"kitting/disinfection/{page}.html",
        part="_form.html",
        context={"form": form, "part": page.replace("_", "-"), **context},
        status=status,
    )


@allowed("kitting.see_work")
@require_GET
def meter_list(request: LotwardRequest) -> HttpResponseBase:
    """Every meter, and until when it may be used."""
    lines = queries.meter_lines(clock.today())
    file = file_response(request.GET.get("as", ""), "meters", COLUMNS, lines)
    if file is not None:
        return file
    context = {
        "lines": lines,
        "usable": sum(line.usable for line in lines),
        "stopped": [line for line in lines if not line.usable],
        "soon": [line for line in lines if line.state == "soon"],
        "may_keep": request.user.has_perm("kitting.keep_meters"),
        "here": "kitting:runs",
    }
    return render(request, "kitting/disinfection/meters.html", context)


@allowed("kitting.keep_meters")
@require_http_methods(["GET", "POST"])
def meter_new(request: LotwardRequest) -> HttpResponse:
    """Add a meter."""
    form = MeterForm(request.POST or None)
    status = OK
    if request.method == "POST":
        done, status = attempt(
            request,
            form,
            lambda sign: meters.add_meter(
                serial=form.cleaned_data["serial"],
                name=form.cleaned_data["name"],
                sign=sign,
            ),
        )
        if done is not None:
            words = _("Meter %(meter)s is added. Enter its calibration.")
            messages.success(request, words % {"meter": done.meter})
            return go(request, reverse("kitting:meter-detail", args=[done.meter]))
    return _form_page(
        request,
        "meter_new",
        form,
        status,
        act=_("Add the meter"),
        here="kitting:runs",
        back=reverse("kitting:meters"),
    )


@allowed("kitting.see_work")
@require_http_methods(["GET", "POST"])
def meter_detail(request: LotwardRequest, serial: str) -> HttpResponse:
    """One meter: its calibrations and faults, and a new calibration."""
    meter = get_or_404(Meter, serial=serial)
    may_keep = request.user.has_perm("kitting.keep_meters")
    form = CalibrationForm(request.POST or None)
    status = OK
    if request.method == "POST":
        done, status = _calibrate(request, meter, form)
        if done is not None:
            words = _("The calibration of %(meter)s is recorded, due %(due)s.")
            messages.success(request, words % {"meter": done.meter, "due": done.due})
            return go(request, reverse("kitting:meter-detail", args=[meter.serial]))
    line = next(
        row for row in queries.meter_lines(clock.today()) if row.meter.pk == meter.pk
    )
    return _form_page(
        request,
        "meter_detail",
        form,
        status,
        line=line,
        meter=meter,
        calibrations=meter.calibrations.select_related("operation").order_by(
            "-on", "-pk"
        ),
        faults=meter.faults.select_related("operation").order_by("-pk"),
        may_keep=may_keep,
        may_hold=request.user.has_perm("kitting.place_holds"),
        act=_("Record the calibration"),
        here="kitting:runs",
    )


def _calibrate(
    request: LotwardRequest, meter: Meter, form: CalibrationForm
) -> tuple[meters.Calibrated | None, int]:
    if not request.user.has_perm("kitting.keep_meters"):
        raise PermissionDenied
    return attempt(
        request,
        form,
        lambda sign: meters.record_calibration(
            meter_id=meter.pk,
            on=form.cleaned_data["on"],
            due=form.cleaned_data["due"],
            rel_u_ppm=form.cleaned_data["u"],
            low_nm=form.cleaned_data["low_nm"],
            high_nm=form.cleaned_data["high_nm"],
            sign=sign,
        ),
    )


@allowed("kitting.place_holds")
@require_http_methods(["GET", "POST"])
def meter_wrong(request: LotwardRequest, serial: str) -> HttpResponse:
    """Record that a meter was found to read wrong; every run it spoiled is held."""
    meter = get_or_404(Meter, serial=serial)
    form = FoundWrongForm(
        request.POST or None, calibrations=meter.calibrations.order_by("-on", "-pk")
    )
    status = OK
    if request.method == "POST":
        done, status = attempt(
            request,
            form,
            lambda sign: meters.find_wrong(
                meter_id=meter.pk,
                found_on=form.cleaned_data["found_on"],
                good_id=form.good_id,
                reason=form.cleaned_data["reason"],
                sign=sign,
            ),
        )
        if done is not None:
            messages.warning(request, _said_wrong(done))
            return go(request, reverse("kitting:meter-detail", args=[meter.serial]))
    return _form_page(
        request,
        "meter_wrong",
        form,
        status,
        meter=meter,
        act=_("Place a hold on every run since that calibration"),
        stop=True,
        back=reverse("kitting:meter-detail", args=[meter.serial]),
        here="kitting:runs",
    )


def _said_wrong(done: meters.FoundWrong) -> str:
    words = ngettext(
        "%(runs)s run measured with %(meter)s is on hold. This stops %(bags)s bags"
        " with pieces and %(here)s boxes that are here; %(gone)s boxes have left.",
        "%(runs)s runs measured with %(meter)s are on hold. This stops %(bags)s bags"
        " with pieces and %(here)s boxes that are here; %(gone)s boxes have left.",
        done.runs,
    )
    return words % {
        "runs": done.runs,
        "meter": done.meter,
        "bags": done.bags,
        "here": done.boxes_here,
        "gone": done.boxes_gone,
    }


# -- Lamps --------------------------------------------------------------------------


@allowed("kitting.see_work")
@require_GET
def lamp_list(request: LotwardRequest) -> HttpResponse:
    """Every lamp that burns, and those that were taken out."""
    found = queries.lamps(burning=False)
    burning = [row for row in found if row.lamp.taken_out_on is None]
    context = {
        "burning": burning,
        "gone": [row for row in found if row.lamp.taken_out_on is not None],
        "over": [row for row in burning if row.over],
        "soon": [row for row in burning if row.soon],
        "may_read": request.user.has_perm("kitting.run_line"),
        "may_keep": request.user.has_perm("kitting.keep_meters"),
        "here": "kitting:runs",
    }
    return render(request, "kitting/disinfection/lamps.html", context)


@allowed("kitting.keep_meters")
@require_http_methods(["GET", "POST"])
def lamp_fit(request: LotwardRequest) -> HttpResponse:
    """Record a lamp that was fitted to a line."""
    lines = Place.objects.filter(kind=PlaceKind.LINE).order_by("code")
    form = LampForm(request.POST or None, lines=lines, initial={"on": clock.today()})
    status = OK
    if request.method == "POST":
        done, status = attempt(
            request,
            form,
            lambda sign: lamps.fit_lamp(
                line_id=int(form.cleaned_data["line"]),
                name=form.cleaned_data["name"],
                on=form.cleaned_data["on"],
                rated_hours=form.cleaned_data["rated_hours"],
                sign=sign,
            ),
        )
        if done is not None:
            words = _("%(lamp)s is fitted to %(line)s.")
            return _to_lamps(request, words % {"lamp": done.lamp, "line": done.line})
    return _lamp_page(request, form, status, _("Record the lamp"))


def _to_lamps(request: LotwardRequest, said: str) -> HttpResponse:
    messages.success(request, said)
    return go(request, reverse("kitting:lamps"))


def _lamp_page(
    request: LotwardRequest,
    form: KeyedForm,
    status: int,
    act: str,
    lamp: Lamp | None = None,
) -> HttpResponse:
    return _form_page(
        request,
        "lamp_act",
        form,
        status,
        act=act,
        lamp=lamp,
        back=reverse("kitting:lamps"),
        here="kitting:runs",
    )


@allowed("kitting.run_line")
@require_http_methods(["GET", "POST"])
def lamp_hours(request: LotwardRequest, pk: int) -> HttpResponse:
    """Record the hours that a lamp has burnt."""
    lamp = get_or_404(Lamp.objects.select_related("line"), pk=pk)
    form = LampHoursForm(request.POST or None, initial={"on": clock.today()})
    status = OK
    if request.method == "POST":
        done, status = attempt(
            request,
            form,
            lambda sign: lamps.read_hours(
                lamp_id=lamp.pk,
                on=form.cleaned_data["on"],
                hours=form.cleaned_data["hours"],
                sign=sign,
            ),
        )
        if done is not None:
            words = _("%(lamp)s has %(hours)s h in use.")
            return _to_lamps(request, words % {"lamp": done.lamp, "hours": done.hours})
    return _lamp_page(request, form, status, _("Record the hours"), lamp)


@allowed("kitting.keep_meters")
@require_http_methods(["GET", "POST"])
def lamp_change(request: LotwardRequest, pk: int) -> HttpResponse:
    """Record that a lamp was changed."""
    lamp = get_or_404(Lamp.objects.select_related("line"), pk=pk)
    form = LampChangeForm(request.POST or None, initial={"on": clock.today()})
    status = OK
    if request.method == "POST":
        done, status = attempt(
            request,
            form,
            lambda sign: lamps.change_lamp(
                lamp_id=lamp.pk,
                on=form.cleaned_data["on"],
                rated_hours=form.cleaned_data["rated_hours"],
                sign=sign,
            ),
        )
        if done is not None:
            words = _("%(lamp)s on %(line)s is changed.")
            return _to_lamps(request, words % {"lamp": done.lamp, "line": done.line})
    return _lamp_page(request, form, status, _("Record the change"), lamp)
