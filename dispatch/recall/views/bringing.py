"""Bringing what a case holds into quarantine, scan by scan."""

from __future__ import annotations

from functools import partial
from typing import Any

from django.http import Http404, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.http import urlencode
from django.utils.translation import gettext as _

from dispatch.models import Case
from dispatch.recall import services
from dispatch.recall.forms import BringForm, NotFoundForm
from dispatch.recall.queries.bringing import bringing, quarantines
from dispatch.recall.queries.cases import whole
from kitting.domain.errors import LotwardError, Refused
from kitting.domain.shown import shown
from kitting.ledger.locking import snapshot
from kitting.ledger.operations import Sign
from kitting.models import Bag, Box, Place
from kitting.models.catalogue import PlaceKind
from kitting.web.acting import (
    OK,
    Said,
    act_page,
    attempt_scan,
    said_of_scan,
    say_of_scan,
)
from kitting.web.http import (
    LotwardRequest,
    allowed,
    get_or_404,
    new_op_key,
    render_part,
    wants_fragment,
)
from kitting.web.scans import read


@allowed("kitting.put_away", "GET", "POST")
def case_bring(request: LotwardRequest, number: str) -> HttpResponse:
    """Take scans: each bag or box of the case goes to the quarantine that was chosen."""
    case = get_or_404(Case.objects.select_related("operation"), number=number)
    if request.method == "GET":
        return _show(request, case, _chosen(request.GET.get("to", "")))
    to = place = _chosen(request.POST.get("to", ""))
    form = BringForm(request.POST)
    may_unload = request.user.has_perm("kitting.send_boxes")

    def take(sign: Sign, read: str, to: str) -> Place | services.Brought:
        del to
        found = _scanned(read)
        if isinstance(found, Place):
            return found
        if place is None:
            raise Refused("quarantine_not_chosen")
        return services.bring_in(
            number=number,
            kind="box" if isinstance(found, Box) else "bag",
            thing_id=found.pk,
            place_id=place.pk,
            sign=sign,
            may_unload=may_unload,
        )

    done, status = attempt_scan(request, form, take)
    if done is None:
        return _show(request, case, to, wrong=form, status=status)
    if isinstance(done, Place):
        to, words = done, _("Everything scanned now goes to %(place)s.")
        said = Said(words % {"place": done.name})
    else:
        said = Said(_words_of(done), besides=not done.moved)
    if wants_fragment(request):
        return _show(request, case, to, said=said)
    say_of_scan(request, said)
    query = f"?{urlencode({'to': to.code})}" if to else ""
    return redirect(f"{reverse('dispatch:case-bring', args=[number])}{query}")


def _chosen(code: str) -> Place | None:
    """The quarantine that things go to: the one that was chosen, or the only one."""
    places = quarantines()
    if len(places) == 1:
        return places[0]
    return next((place for place in places if place.code == code), None)


def _scanned(text: str) -> Place | Bag | Box:
    row = read(text).row
    if isinstance(row, Place):
        if row.kind != PlaceKind.QUARANTINE:
            raise Refused("not_quarantine", place=row.name)
        if not row.active:
            raise Refused("place_closed", place=row.name)
        return row
    if not isinstance(row, Bag | Box):
        raise Refused("case_takes_things", read=shown(text))
    return row


def _words_of(done: services.Brought) -> str:
    named = {**vars(done), "kind": _("Box") if done.kind == "box" else _("Bag")}
    if not done.moved:
        return _("%(kind)s %(thing)s is in quarantine already: %(place)s.") % named
    words = [_("%(kind)s %(thing)s goes to %(place)s now.")]
    if done.off:
        words.append(_("It is off shipment %(off)s."))
    if done.pallet:
        words.append(_("It is off pallet %(pallet)s: print its label again."))
    if done.bench and done.kind == "bag":
        words.append(_("It is no longer open at %(bench)s."))
    elif done.bench:
        words.append(_("It is off %(bench)s, which can begin another."))
    if done.carrier:
        words.append(_("It is off carrier %(carrier)s."))
    return " ".join(words) % named


def _show(
    request: LotwardRequest,
    case: Case,
    to: Place | None,
    *,
    said: Said | None = None,
    status: int = OK,
    **more: Any,
) -> HttpResponse:
    with snapshot():
        left = bringing(whole(case))
    told = said or said_of_scan(request)
    context = {
        "case": case,
        "left": left,
        "to": to,
        "others": [place for place in quarantines() if place != to],
        "said": told.words,
        "besides": told.besides,
        "scan_key": new_op_key(),
        **more,
    }
    page = "dispatch/recall/case_bring"
    return render_part(request, page, "_case_bring", context, status=status)


@allowed("kitting.put_away", "GET", "POST")
def case_not_found(request: LotwardRequest, number: str, thing: str) -> HttpResponse:
    """Say that a bag or box of a case was looked for and not found."""
    case = get_or_404(Case, number=number)
    try:
        row = read(thing).row
    except LotwardError as error:
        raise Http404(error.code) from error
    if not isinstance(row, Bag | Box):
        raise Http404("Only bags and boxes are looked for.")
    kind = "box" if isinstance(row, Box) else "bag"
    return act_page(
        request,
        "dispatch/recall/case_not_found",
        NotFoundForm(request.POST or None),
        partial(services.note_not_found, number=number, kind=kind, thing_id=row.pk),
        said=_("%(thing)s is named as not found. It stays on the list."),
        to=reverse("dispatch:case-bring", args=[number]),
        act=_("It was not found"),
        case=case,
        thing=str(row),
    )
