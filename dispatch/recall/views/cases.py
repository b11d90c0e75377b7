"""Cases: opened from the page of a number, widened, looked again, and told."""

from __future__ import annotations

from collections import ChainMap
from functools import partial

from django.contrib.auth.models import AnonymousUser
from django.http import Http404, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.urls import reverse
from django.utils.http import urlencode
from django.utils.translation import gettext as _

from dispatch.models import Case
from dispatch.recall import services, siblings
from dispatch.recall.forms import CaseForm, WidenForm
from dispatch.recall.listing import Row, rows_of
from dispatch.recall.queries import cases as queries
from dispatch.recall.queries.bringing import bringing
from dispatch.recall.queries.recall import Target, targets_of
from dispatch.recall.ways import ways
from dispatch.trace.queries import find
from dispatch.trace.siblings import ALIKE, lots_alike
from kitting.domain.errors import LotwardError
from kitting.ledger.locking import snapshot
from kitting.models import Lot, User
from kitting.people.queries import role_of, who_may
from kitting.web.acting import act_page
from kitting.web.figures import amount
from kitting.web.forms import KeyedForm
from kitting.web.http import LotwardRequest, allowed, get_or_404
from kitting.web.messages import sentence
from kitting.web.parts import of_page
from kitting.web.tables import Column, file_response

COLUMNS: list[Column[Row]] = [
    Column("serial", "box.serial"),
    Column("found_at", "box.listed"),
    Column("look", "box.nth"),
    Column("stage_then", "box.stage"),
    Column("pieces", "box.pieces"),
    Column("shipment", "box.shipment"),
    Column("consignee", "box.consignee"),
    Column("stage_now", "box.now"),
    Column("place_now", "box.place"),
    Column("product", "product"),
    Column("sets", "box.sets"),
    Column("lots", lambda row: "; ".join(row.lots)),
    Column("sent_on", "sent_on"),
    Column("received_on", "received_on"),
    Column("answer", "answer"),
]


@allowed("kitting.recall")
def case_detail(request: LotwardRequest, number: str) -> HttpResponseBase:
    """One case: what it is about, the boxes that it reached, what is still to do."""
    case = get_or_404(Case.objects.select_related("operation"), number=number)
    with snapshot():
        found = queries.whole(case)
        left = bringing(found)
        parts = list(of_page("dispatch:case", case))
        said = [shown["answers"] for _template, shown in parts if "answers" in shown]
        as_file = (
            rows_of(case, found.boxes, ChainMap(*said)) if "as" in request.GET else ()
        )
    if file := file_response(request, f"case-{number}", COLUMNS, as_file):
        return file
    closing = queries.closing_of(case)
    leads = ways(found, left, parts, closed=closing is not None)
    may = {way.to for way in leads if not way.right or request.user.has_perm(way.right)}
    context = {
        "found": found,
        "left": left,
        "case": case,
        "closing": closing,
        "parts": parts,
        "to_do": [way for way in leads if way.to_do and way.to in may],
        "fetch": fetch_for(request.user),
        "besides": [way for way in leads if not (way.to_do and way.to in may)],
    }
    return render(request, "dispatch/recall/case_detail.html", context)


def fetch_for(user: User | AnonymousUser) -> list[tuple[User, str]]:
    """Whom somebody fetches who may neither open cases nor decide about them; with roles."""
    if user.has_perm("kitting.place_holds"):
        return []
    found = who_may("place_holds").prefetch_related("groups")
    return [(person, role_of(person)) for person in found]


@allowed("kitting.place_holds", "GET", "POST")
def case_new(request: LotwardRequest) -> HttpResponse:
    """Open a case on what a number names, and what is like it."""
    asked = request.GET.get("q", "")
    try:
        targets = _targets_asked(asked, request.GET.get("alike", ""))
    except LotwardError as error:
        raise Http404(error.code) from error
    if not targets:
        raise Http404("A case is opened on what a hold can stand on.")
    return act_page(
        request,
        "dispatch/recall/case_new",
        CaseForm(request.POST or None, targets=targets),
        services.open_case,
        said=opened_words,
        to=case_page,
        back=f"{reverse('dispatch:recall')}?{urlencode({'q': asked})}",
        act=_("Open the case"),
        stop=True,
        around=lambda: {
            "asked": asked,
            "cases": queries.every_case(holding=True),
        },
    )


@allowed("kitting.place_holds", "GET", "POST")
def case_widen(request: LotwardRequest, number: str) -> HttpResponse:
    """Bring more into the scope of a case: first by which number, then what of it."""
    case = get_or_404(Case, number=number)
    asked = request.GET.get("q", "")
    targets, refusal = targets_or_why(asked, request.GET.get("alike", ""))
    if not targets:
        if request.method == "POST":
            raise Http404("Nothing was chosen that could widen a case.")
        context = {"case": case, "asked": asked, "refusal": refusal}
        status = 422 if refusal else 200
        page = "dispatch/recall/case_widen.html"
        return render(request, page, context, status=status)
    return act_page(
        request,
        "dispatch/recall/case_widen",
        WidenForm(request.POST or None, targets=targets),
        partial(services.widen_case, number=number),
        said=_looked,
        to=reverse("dispatch:case-detail", args=[number]),
        act=_("Widen the case"),
        stop=True,
        case=case,
        asked=asked,
    )


@allowed("kitting.place_holds", "GET", "POST")
def case_look(request: LotwardRequest, number: str) -> HttpResponse:
    """Look for boxes that a case reaches and that are not on its list."""
    case = get_or_404(Case, number=number)
    return act_page(
        request,
        "dispatch/recall/case_look",
        KeyedForm(request.POST or None),
        partial(services.look_again, number=number),
        said=_looked,
        to=reverse("dispatch:case-detail", args=[number]),
        act=_("Look again"),
        case=case,
    )


def targets_or_why(asked: str, alike: str = "") -> tuple[list[Target], str]:
    """What a case can be about from a number; else why it is none, where one was asked."""
    if not asked.strip():
        return [], ""
    try:
        targets = _targets_asked(asked, alike)
    except LotwardError as error:
        return [], sentence(error)
    none = _("A case is about lots, bags, runs and boxes. Scan one of them.")
    return targets, "" if targets else none


def _targets_asked(asked: str, alike: str) -> list[Target]:
    """What a case can be about from a number: it, what it is of, lots that are like it."""
    row = find(asked).row
    targets = targets_of(row) if row is not None else []
    if isinstance(row, Lot) and alike in ALIKE:
        lots = tuple(lots_alike(row, alike))
        if lots:
            said = siblings.each_of(row, alike, len(lots))
            targets.insert(1, Target(f"alike:{alike}", said, lots))
    return targets


def case_page(done: services.Looked) -> str:
    """Where the case of an outcome is."""
    return reverse("dispatch:case-detail", args=[done.case])


def opened_words(done: services.Looked) -> str:
    """Say which case is open, and what it reaches."""
    words = _("Case %(case)s is open, and all that it is about is held. %(found)s")
    found = _("It reaches %(boxes)s: %(here)s here, %(gone)s at consignees.")
    found = _boxes(done, found) if done.boxes else _("It reaches no box.")
    return words % {"case": done.case, "found": found}


def _looked(done: services.Looked) -> str:
    if not done.boxes:
        return _("Nothing is new: every box that the case reaches is on its list.")
    words = _("It reaches %(boxes)s more: %(here)s here, %(gone)s at consignees.")
    return _boxes(done, words)


def _boxes(done: services.Looked, words: str) -> str:
    return words % {
        "boxes": amount(done.boxes, "box"),
        "here": amount(done.here, "box"),
        "gone": amount(done.gone, "box"),
    }
