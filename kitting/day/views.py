"""The day, in sentences."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext

from kitting.day.pictures import picture_of
from kitting.day.queries.attention import guessed_lately, late_backup, to_see_to
from kitting.day.queries.pieces import SHOWN, Boxes, Told, the_day
from kitting.day.services import confirm_clock
from kitting.domain.errors import LotwardError, Refused
from kitting.domain.numbers import Kind, looks_like
from kitting.ledger import clock
from kitting.ledger.failing import low_disk
from kitting.ledger.reach import standing_reach
from kitting.models import Place, Workshop
from kitting.web import scans
from kitting.web.acting import act_page, say_and_go
from kitting.web.forms import KeyedForm
from kitting.web.http import LotwardRequest, allowed, open_to
from kitting.web.messages import sentence

LISTS = {
    Told.PACKED: ("kitting:boxes", "?since={today}&until={today}"),
    Told.OPEN: ("kitting:boxes", "?stage=open"),
    Told.CLOSED: ("kitting:boxes", "?stage=closed"),
    Told.READY: ("kitting:boxes", "?stage=ready"),
    Told.LOADED: ("kitting:boxes", "?stage=loaded"),
    Told.SENT: ("dispatch:log", ""),
}
"""Where the boxes of a sentence are listed."""


@dataclass(frozen=True)
class Line:
    """One sentence of boxes, and the address of their list for who may see it."""

    told: Told
    of: Boxes
    to: str


@allowed("kitting.see_work", by_badge=True)
def find(request: LotwardRequest) -> HttpResponse:
    """Lead to the page of whatever a scan, a typed number or a name names."""
    try:
        found = scans.read(request.GET.get("q", ""))
    except LotwardError as error:
        if page := scans.named(request.GET.get("q", "")):
            return redirect(page)
        to = reverse("kitting:day")
        return say_and_go(request, sentence(error), to, level=messages.WARNING)
    if found.row is None:
        kind = looks_like(found.text) or Kind.SHIPMENT
        return redirect(f"dispatch:{kind.name.lower()}-detail", found.text)
    number = found.row.code if isinstance(found.row, Place) else str(found.row)
    return redirect(f"kitting:{found.kind}-detail", number)


@allowed("kitting.see_work")
def day(request: LotwardRequest) -> HttpResponse:
    """How the day stands."""
    today = clock.today()
    since = clock.midnight(today)
    reach = standing_reach()
    figures = the_day(today, since, reach)
    manages = request.user.has_perm("kitting.set_up")
    backup = late_backup(request.workshop, clock.now()) if manages else None
    disk = low_disk() if manages else None
    guessed = guessed_lately(request.workshop, clock.now()) if manages else None
    doubt = _doubt(request.workshop)
    context = {
        "day": figures,
        "stages": SHOWN,
        "packing": _lines(request, figures.packing, today),
        "going_out": _lines(request, figures.going_out, today),
        "picture": picture_of(figures.parts),
        "see_to": to_see_to(today, reach, backup, disk, guessed),
        "clock_doubt": sentence(doubt) if doubt else "",
    }
    return render(request, "kitting/day/day.html", context)


def _doubt(workshop: Workshop) -> Refused | None:
    return clock.doubt(workshop, workshop.newest_at)


@allowed("kitting.set_up", "GET", "POST")
def clock_page(request: LotwardRequest) -> HttpResponse:
    """Say that date and time are right."""
    doubt = _doubt(request.workshop)
    return act_page(
        request,
        "kitting/day/clock",
        KeyedForm(request.POST or None),
        confirm_clock,
        said=gettext("Date and time are right: acts go on."),
        to=reverse("kitting:day"),
        act=gettext("Date and time are right"),
        now=clock.now(),
        newest=request.workshop.newest_at,
        why=sentence(doubt) if doubt else "",
    )


def _lines(
    request: LotwardRequest, told: Iterable[tuple[Told, Boxes]], today: date
) -> list[Line]:
    return [Line(what, of, _list_of(request, what, today)) for what, of in told]


def _list_of(request: LotwardRequest, told: Told, today: date) -> str:
    page, query = LISTS.get(told, ("", ""))
    address = open_to(request.user, page) if page else ""
    return address and address + query.format(today=today)
