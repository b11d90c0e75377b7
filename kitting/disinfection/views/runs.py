"""Pages of disinfection: the list of runs, opening one."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from typing import Any

from django.core.paginator import Paginator
from django.db.models import Sum
from django.http import HttpResponse
from django.http.response import HttpResponseBase
from django.urls import reverse
from django.utils.translation import gettext as _

from kitting.disinfection.forms.runs import (
    MOST_POINTS,
    OpenHoldForm,
    OpenRunForm,
    RunFilterForm,
)
from kitting.disinfection.queries import meters as gauges
from kitting.disinfection.queries import runs as queries
from kitting.disinfection.queries.doses import told_mj
from kitting.disinfection.queries.lamps import lamps
from kitting.disinfection.services import runs
from kitting.domain.figures import written
from kitting.domain.margins import MILLION
from kitting.ledger import clock
from kitting.models import Place, Protocol, Run
from kitting.models.runs import UVC, Moment, Process
from kitting.web.acting import OK, attempt, say_and_go
from kitting.web.http import LotwardRequest, allowed, render_part
from kitting.web.tables import Column, file_response

ROWS_A_PAGE = 50
POINTS_AT_FIRST = 3


def _low(run: Run) -> str:
    side = queries.weakest(run)
    return "" if side is None else f"{told_mj(run, side, side.low_uj_cm2):f}"


def _required(run: Run) -> str:
    side = queries.weakest(run)
    return "" if side is None else written(side.required_uj_cm2, 1000)


COLUMNS: list[Column[Run]] = [
    Column("run", "number"),
    Column("stage", "stage"),
    Column("line", "line.name"),
    Column("protocol", lambda run: str(run.protocol)),
    Column("meter", "meter.serial"),
    Column("bags", "bags"),
    Column("lower bound mJ/cm2", _low),
    Column("required mJ/cm2", _required),
    Column("opened", "opened_at"),
    Column("closed", "closed_at"),
]


def run_address(run: Run | str) -> str:
    """The address of a run's page."""
    return reverse("kitting:run-detail", args=[str(run)])


@allowed("kitting.see_work")
def run_list(request: LotwardRequest) -> HttpResponseBase:
    """The lines, what waits, and every run with its dose."""
    lines = queries.lines()
    form = RunFilterForm(
        request.GET, lines=[(each.place.code, each.place.name) for each in lines]
    )
    filters = queries.Filters(**form.chosen())
    found = queries.runs_shown(filters)
    if file := file_response(request, "runs", COLUMNS, found):
        return file
    page = Paginator(found, ROWS_A_PAGE).get_page(request.GET.get("page"))
    for run in page.object_list:
        run.weakest = queries.weakest(run)  # type: ignore[attr-defined]
    waiting = queries.waiting_bags()
    context = {
        "form": form,
        "page": page,
        "lines": lines,
        "running": [each for each in lines if each.run],
        "free": [each for each in lines if not each.run],
        "waiting": waiting,
        "waiting_bags": sum(each.bags for each in waiting),
        "filtered": filters != queries.Filters(),
        "may_run": request.user.has_perm("kitting.run_line"),
        "to_see_to": gauges.meters_to_see_to(clock.today()),
        "total_bags": found.aggregate(all=Sum("bags"))["all"] or 0,
    }
    return render_part(request, "kitting/disinfection/runs", "_run_table", context)


@dataclass(frozen=True)
class Choice:
    """What was chosen before a run's form can be shown."""

    line: Place | None
    protocol: Protocol | None
    points: int
    last: Run | None
    """The line's last run, for what is filled in."""
    by_dosimeter: bool = False
    """A dosimeter will go through instead of readings."""

    @property
    def address(self) -> str:
        """Where just this is chosen, also once the line has a run."""
        said = {
            "line": self.line.code if self.line else "",
            "protocol": self.protocol.pk if self.protocol else "",
            "points": self.points,
            **({"by": "dosimeter"} if self.by_dosimeter else {}),
        }
        return reverse("kitting:run-open", query=said)

    @property
    def by_light(self) -> bool:
        """Whether the protocol works by UV-C."""
        return self.protocol is not None and self.protocol.process in UVC


def _choice(
    request: LotwardRequest, lines: list[queries.Line], protocols: list[Protocol]
) -> Choice:
    asked = request.GET.get("line", "")
    free = [each.place for each in lines if each.run is None]
    named = [each.place for each in lines if each.place.code == asked]
    line = next(iter(named or free), None)
    last = queries.last_run(line.pk) if line else None
    by_pk = {str(protocol.pk): protocol for protocol in protocols}
    protocol = by_pk.get(request.GET.get("protocol", ""))
    if protocol is None and last is not None:
        protocol = by_pk.get(str(last.protocol_id))
    if protocol is None:
        protocol = next(iter(protocols), None)
    points = request.GET.get("points", "")
    if points.isascii() and points.isdecimal() and len(points) < 4:
        count = int(points)
    elif last is not None:
        count = len({row.point for row in last.readings.all()})
    else:
        count = POINTS_AT_FIRST
    instead = request.GET.get("by", "") == "dosimeter"
    return Choice(line, protocol, min(max(count, 1), MOST_POINTS), last, instead)


def _open_form(
    request: LotwardRequest, choice: Choice, meters: list[gauges.MeterLine]
) -> OpenRunForm | OpenHoldForm:
    assert choice.protocol is not None  # noqa: S101 -- asked for before
    last = choice.last
    initial: dict[str, object] = {}
    before: dict[tuple[int, str], int] = {}
    if last is not None:
        initial = _filled_in(last)
        opening = last.readings.filter(moment=Moment.OPENING)
        before = {(row.point, row.side): row.uw_cm2 for row in opening}
    if not choice.by_light:
        return OpenHoldForm(request.POST or None, initial=initial, meters=meters)
    points = 0 if choice.by_dosimeter else choice.points
    return OpenRunForm(
        request.POST or None,
        initial=initial,
        meters=meters,
        belt=choice.protocol.process == Process.UVC_BELT,
        places=[
            (point, side)
            for point in range(1, points + 1)
            for side in choice.protocol.required()
        ],
        before=before,
    )


def _filled_in(last: Run) -> dict[str, object]:
    """What a new run has in common with the line's last one, but for its readings."""
    if last.protocol.process not in UVC:
        return {"meter": str(last.meter_id)}
    initial: dict[str, object] = {
        "meter": str(last.meter_id),
        "passes": last.passes,
        "through_u": written(last.belt_u_ppm, 10_000),
        "decline": written(last.decline_ppm, 10_000),
        "time": written(last.exposure_ms, 1000),
    }
    if last.zone_um and last.belt_um_s:
        initial["zone"] = written(last.zone_um, 1000)
        if last.zone_u_ppm:
            zone_u = last.zone_um * last.zone_u_ppm // MILLION
            initial["zone_u"] = written(zone_u, 1000)
        initial["speed"] = written(last.belt_um_s, 1000)
    return initial


@allowed("kitting.run_line", "GET", "POST")
def run_open(request: LotwardRequest) -> HttpResponse:
    """Open a run; line, protocol and points are in the address."""
    today = clock.today()
    lines = queries.lines()
    protocols = queries.protocols_in_force(today)
    choice = _choice(request, lines, protocols)
    meters = gauges.ready_meters(today, choice.protocol)
    context: dict[str, Any] = {
        "lines": lines,
        "protocols": protocols,
        "meters": meters,
        "choice": choice,
        "ready": bool(choice.line and choice.protocol and meters),
        "most_points": MOST_POINTS,
        "lamps": lamps(choice.line.pk) if choice.line else [],
        "soon": [each for each in meters if each.state == "soon"],
    }
    status = OK
    if choice.line and choice.protocol and meters:
        form = context["form"] = _open_form(request, choice, meters)
        service = partial(
            runs.open_run, line_id=choice.line.pk, protocol_id=choice.protocol.pk
        )
        done, status = attempt(request, form, service)
        if done is not None:
            said = _("Run %(run)s is open. Scan the bags that go on.")
            return say_and_go(request, said % vars(done), run_address(done.run))
    return render_part(
        request,
        "kitting/disinfection/run_open",
        "_run_open_form",
        context,
        status=status,
    )
