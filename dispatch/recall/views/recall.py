"""The recall lookup: any number to where its pieces are, and holds from there."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from typing import Any

from django.contrib import messages
from django.db.models import Q
from django.http import Http404, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import urlencode
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from dispatch.labels.calls import call_sheet
from dispatch.labels.sheets import paper_of
from dispatch.models import Allotment, Case, CaseHold, Complaint, Request
from dispatch.recall import siblings
from dispatch.recall.calls import call_sheet_of
from dispatch.recall.forms import HoldForm, LiftForm
from dispatch.recall.picture import picture_of
from dispatch.recall.queries import recall as queries
from dispatch.recall.queries.cases import every_case, shown_with_cases, told_with_cases
from dispatch.recall.queries.reaching import reaching
from dispatch.recall.reach import DAYS, reached_today
from dispatch.recall.views.cases import fetch_for
from dispatch.recall.whereabouts import whereabouts
from dispatch.trace.queries import BoxRow, Trace, find, trace_found
from dispatch.trace.scopes import roots_of
from dispatch.trace.siblings import ALIKE
from kitting.domain.errors import LotwardError, NotFit, Refused
from kitting.domain.stages import GONE, IN_HOUSE, BoxStage
from kitting.ledger import clock, holds
from kitting.ledger.locking import snapshot
from kitting.ledger.needs import is_own
from kitting.ledger.proof import heads
from kitting.ledger.reach import Reach, reach_of
from kitting.models import Carrier, Hold, Lot
from kitting.packing.queries.miscounts import miscounts
from kitting.web import scans
from kitting.web.acting import attempt, say_and_go
from kitting.web.figures import amount, pieces
from kitting.web.http import LotwardRequest, allowed, get_or_404, pdf_response
from kitting.web.messages import sentence
from kitting.web.tables import Column, file_response

COLUMNS: list[Column[BoxRow]] = [
    Column("serial", "serial"),
    Column("sscc", "sscc"),
    Column("stage", "stage"),
    Column("pieces", "pieces"),
    Column("sets", "sets"),
    Column("shipment", "shipment"),
    Column("consignee", "consignee"),
    Column("point", "point"),
    Column("sent_on", "sent_on"),
    Column("place", "place"),
    Column("passed_by", "passed_by"),
    Column("received_short", "short"),
]


@allowed("kitting.recall", by_badge=True)
def recall(request: LotwardRequest) -> HttpResponseBase:
    """Look up any number or name; without one, ask for it and show the standing holds."""
    asked = request.GET.get("q", "")
    if not asked.strip():
        context: dict[str, Any] = {
            "asked": "",
            "cases": every_case(),
            "standing": shown_with_cases(told_with_cases()),
            "miscounts": miscounts(),
            "fetch": fetch_for(request.user),
        }
        return render(request, "dispatch/recall/recall.html", context)
    try:
        looked = _look_up(asked, _alike(request))
    except LotwardError as error:
        if error.code == "not_traced":  # nothing is in it: its page says what is there
            return redirect(_page_of(asked))
        choices = queries.lots_by_source_number(asked)
        if not choices and (page := scans.named(asked)):
            return redirect(page)
        context = {"asked": asked, "choices": choices}
        if not choices:
            context["refusal"] = sentence(error)
            context["near"] = error.params.get("near", "")
        status = 200 if choices else 422
        return render(request, "dispatch/recall/recall.html", context, status=status)
    found = looked.found
    if file := file_response(request, f"recall-{found.number}", COLUMNS, found.boxes):
        return file
    form = HoldForm(targets=queries.targets_of(found.row))  # type: ignore[arg-type]
    context = _context(request, asked, looked, form, _alike(request))
    return render(request, "dispatch/recall/recall.html", context)


@dataclass(frozen=True)
class Looked:
    """What a lookup found, and what is held, both of one moment."""

    found: Trace
    reach: Reach


def _look_up(asked: str, alike: str = "") -> Looked:
    zone = timezone.get_current_timezone()
    with snapshot():
        found = find(asked)
        reach = reach_of(told_with_cases(), roots_of(found.row, alike))
        traced = trace_found(found, reach=reach, zone=zone, alike=alike)
        return Looked(queries.with_short(traced), reach)


def _alike(request: LotwardRequest) -> str:
    """In what other lots are to be like this one, if they are asked for as well."""
    kind = request.GET.get("alike", "")
    return kind if kind in ALIKE else ""


def _along(found: Trace, alike: str) -> str:
    lot = found.row if alike and isinstance(found.row, Lot) else None
    return siblings.together(lot, alike) if lot else ""


def _page_of(asked: str) -> str:
    """The page of a place, carrier, request, allotment, case or complaint."""
    row = find(asked).row
    if isinstance(row, Request | Allotment | Case | Complaint):
        return reverse(f"dispatch:{row._meta.model_name}-detail", args=[row.number])
    if isinstance(row, Carrier):
        return reverse("kitting:carrier-detail", args=[row.number])
    return reverse("kitting:place-detail", args=[str(getattr(row, "code", ""))])


def _context(
    request: LotwardRequest,
    asked: str,
    looked: Looked,
    form: HoldForm,
    alike: str = "",
) -> dict[str, Any]:
    found = looked.found
    lot = found.row if isinstance(found.row, Lot) else None
    here = [box for box in found.boxes if box.stage in IN_HOUSE]
    gone = [box for box in found.boxes if box.stage in GONE]
    back = [box for box in found.boxes if box.stage == BoxStage.RETURNED]
    miscounted = [bag.number for bag in found.bags if bag.miscounted]
    reached = queries.whom_it_reached(found, request.workshop.country)
    standing = queries.holds_on(found.row, looked.reach)
    holding = {each.case for each in standing if each.case}
    return {
        "asked": asked,
        "hold_address": f"{reverse('dispatch:hold')}?{urlencode({'q': asked})}",
        "found": found,
        "head": heads.of_workshop(request.workshop),
        "still_here": here,
        "gone": gone,
        "miscounts": miscounts(miscounted) if miscounted else [],
        "gone_pieces": sum(box.pieces for box in gone),
        "here_pieces": sum(box.pieces for box in here),
        "back": back,
        "back_pieces": sum(box.pieces for box in back),
        "reached": reached,
        "whereabouts": whereabouts(found, reached),
        "alike": _along(found, alike),
        "picture": picture_of(found, reached),
        "siblings": siblings.siblings(lot) if lot else [],
        "lot_filter": queries.lot_to_filter_by(found.row),
        "holds": standing,
        "in_cases": sorted(holding),
        "reaching": reaching(found.row, holding),
        "form": form,
    }


@allowed("kitting.recall")
def calls(request: LotwardRequest) -> HttpResponse:
    """Whom to call about what the lookup found, as PDF, to write on at the telephone."""
    asked, alike = request.GET.get("q", ""), _alike(request)
    try:
        found = _look_up(asked, alike).found
    except LotwardError as error:
        raise Http404(error.code) from error
    reached = queries.whom_it_reached(found, request.workshop.country)
    try:
        if reached:
            along = _along(found, alike)
            now = timezone.localtime(clock.now())
            sheet = call_sheet_of(found, reached, request.workshop, now, along)
            pdf = call_sheet(sheet, paper_of(request.workshop.country))
            return pdf_response(pdf, f"calls-{found.number}")
        said = _("No box with any of it has left, so there is nobody to call.")
    except NotFit as error:
        said = sentence(error)
    messages.error(request, said)
    return redirect(f"{reverse('dispatch:recall')}?{request.GET.urlencode()}")


@allowed("kitting.recall")
def reach(request: LotwardRequest) -> HttpResponse:
    """What a fault of each lot would touch, before there is one."""
    with snapshot():
        found = reached_today(clock.now())
    context = {"found": found, "days": DAYS}
    return render(request, "dispatch/recall/reach.html", context)


@allowed("kitting.place_holds", "POST")
def hold(request: LotwardRequest) -> HttpResponse:
    """Put a hold on what the lookup found; it acts at once."""
    asked = request.GET.get("q", "")
    try:
        looked = _look_up(asked)
    except LotwardError as error:
        raise Http404(error.code) from error
    form = HoldForm(request.POST, targets=queries.targets_of(looked.found.row))  # type: ignore[arg-type]
    held, status = attempt(request, form, holds.place_hold)
    if held is not None:
        to = f"{reverse('dispatch:recall')}?{urlencode({'q': asked})}"
        return say_and_go(request, _held_words(held), to)
    context = _context(request, asked, looked, form)
    return render(request, "dispatch/recall/recall.html", context, status=status)


def _held_words(held: holds.Held) -> str:
    boxes = amount(held.boxes_here, "box")
    stopped = [_("%(boxes)s here") % {"boxes": boxes}] if held.boxes_here else []
    stopped += [_bags_words(bags) for bags in queries.bags_stopped(held.hold_id)]
    if stopped:
        words = _("The hold is placed. It stops %(what)s.")
        words %= {"what": _(" and ").join(stopped)}
    else:
        words = _("The hold is placed. Nothing that it reaches is here now.")
    if not held.boxes_gone:
        return words
    gone = ngettext(
        "%(boxes)s box has left already: its consignee must be told.",
        "%(boxes)s boxes have left already: their consignees must be told.",
        held.boxes_gone,
    ) % {"boxes": pieces(held.boxes_gone)}
    return f"{words} {gone}"


def _bags_words(stopped: queries.Stopped) -> str:
    inside = amount(stopped.amount, stopped.unit)
    return _("%(amount)s in %(bags)s") % {
        "amount": inside,
        "bags": amount(stopped.bags, "bag"),
    }


@allowed("kitting.lift_holds", "GET", "POST")
def lift(request: LotwardRequest, hold_id: int) -> HttpResponse:
    """End one hold, by name and with a reason."""
    form = LiftForm(request.POST or None, by=str(request.user))
    may = Q(lift__isnull=True)
    if form.is_valid():  # and what was lifted by this very form, sent again
        may |= Q(lift__operation__key=form.key.bytes)
    row = get_or_404(Hold.objects.select_related("operation").filter(may), pk=hold_id)
    done, status = attempt(request, form, partial(holds.lift_hold, hold_id=row.pk))
    if done is not None:
        of = CaseHold.objects.filter(hold=row).select_related("look__case").first()
        to = reverse("dispatch:recall")
        if of is not None:  # which is narrower now
            to = reverse("dispatch:case-detail", args=[of.look.case.number])
        return say_and_go(request, _("The hold is lifted."), to)
    standing = shown_with_cases(told_with_cases().filter(pk=row.pk))
    if not standing:  # lifted at this very moment by somebody else
        raise Http404("This hold is lifted.")
    own = is_own(request.workshop, request.user, [row.operation.by_id])
    said = sentence(Refused("hold_own")) if own else ""
    context = {"form": form, "hold": standing[0], "own": said}
    return render(request, "dispatch/recall/lift.html", context, status=status)
