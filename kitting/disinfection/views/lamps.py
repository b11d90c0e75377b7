"""Pages of lamps."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _

from kitting.disinfection.forms.lamps import LampChangeForm, LampForm, LampHoursForm
from kitting.disinfection.queries import lamps as queries
from kitting.disinfection.services import lamps
from kitting.ledger import clock
from kitting.models import Lamp, Place
from kitting.models.catalogue import PlaceKind
from kitting.web.acting import act_page
from kitting.web.forms import KeyedForm
from kitting.web.http import LotwardRequest, allowed, get_or_404


@allowed("kitting.see_work")
def lamp_list(request: LotwardRequest) -> HttpResponse:
    """Every lamp that burns, and those that were taken out."""
    found = queries.lamps(burning=False)
    burning = [row for row in found if row.lamp.taken_out_on is None]
    context = {
        "burning": burning,
        "gone": [row for row in found if row.lamp.taken_out_on is not None],
        "over": [row for row in burning if row.over],
        "soon": [row for row in burning if row.soon],
    }
    return render(request, "kitting/disinfection/lamps.html", context)


@allowed("kitting.keep_meters", "GET", "POST")
def lamp_fit(request: LotwardRequest) -> HttpResponse:
    """Record a lamp that was fitted to a line."""
    lines = Place.objects.filter(kind=PlaceKind.LINE, active=True).order_by("code")
    return _lamp_page(
        request,
        LampForm(request.POST or None, lines=lines, initial={"on": clock.today()}),
        lambda sign, line, **said: lamps.fit_lamp(line_id=int(line), sign=sign, **said),
        said=_("%(lamp)s is fitted to %(line)s."),
        act=_("Record the lamp"),
    )


def _lamp_page(
    request: LotwardRequest,
    form: KeyedForm,
    act: Callable[..., lamps.Fitted | lamps.HoursRead],
    /,
    lamp: Lamp | None = None,
    **said: Any,
) -> HttpResponse:
    page, to = "kitting/disinfection/lamp_act", reverse("kitting:lamps")
    return act_page(request, page, form, act, to=to, lamp=lamp, **said)


def _lamp(pk: int) -> Lamp:
    return get_or_404(Lamp.objects.select_related("line"), pk=pk)


@allowed("kitting.run_line", "GET", "POST")
def lamp_hours(request: LotwardRequest, pk: int) -> HttpResponse:
    """Record the hours that a lamp has burnt."""
    return _lamp_page(
        request,
        LampHoursForm(request.POST or None, initial={"on": clock.today()}),
        partial(lamps.read_hours, lamp_id=pk),
        lamp=_lamp(pk),
        said=_("%(lamp)s has %(hours)s h in use."),
        act=_("Record the hours"),
    )


@allowed("kitting.keep_meters", "GET", "POST")
def lamp_change(request: LotwardRequest, pk: int) -> HttpResponse:
    """Record that a lamp was changed."""
    return _lamp_page(
        request,
        LampChangeForm(request.POST or None, initial={"on": clock.today()}),
        partial(lamps.change_lamp, lamp_id=pk),
        lamp=_lamp(pk),
        said=_("%(lamp)s on %(line)s is changed."),
        act=_("Record the change"),
    )
