"""Pages of putting away: scans, places and what stands there, carriers."""

from __future__ import annotations

from functools import partial
from typing import Any

from django.http import HttpResponse
from django.http.response import HttpResponseBase
from django.urls import reverse
from django.utils.http import urlencode
from django.utils.translation import gettext as _

from kitting.ledger.coded import mark_of
from kitting.lots.queries.bags import cleared_together
from kitting.models import Carrier, Place
from kitting.places import queries
from kitting.places.answers import asks_for, words_for
from kitting.places.forms import (
    CarrierForm,
    PlaceChangeForm,
    PlaceFilterForm,
    PlaceForm,
    PutAwayForm,
)
from kitting.places.queries import PlaceRow, Standing
from kitting.places.services import carriers, scans, set_up
from kitting.places.services.scans import Hand
from kitting.web.acting import OK, act_page, attempt, say_and_go
from kitting.web.http import (
    LotwardRequest,
    allowed,
    get_or_404,
    new_op_key,
    render_part,
    wants_fragment,
)
from kitting.web.tables import Column, file_response

STANDING: list[Column[Standing]] = [
    Column("kind", "kind"),
    Column("number", "number"),
    Column("part or product", "what"),
    Column("lot", "lot"),
    Column("stage", "stage"),
    Column("held", lambda row: "held" if row.held else ""),
    Column("in it", "pieces"),
    Column("unit", "unit"),
    Column("carrier", "carrier"),
]
PLACES: list[Column[PlaceRow]] = [
    Column("place", "place.code"),
    Column("name", "place.name"),
    Column("kind", "place.kind"),
    Column("closed", lambda row: "" if row.place.active else "closed"),
    Column("bags", "bags"),
    Column("pieces", "pieces"),
    Column("boxes", "boxes"),
    Column("sets", "sets"),
    Column("carriers", "carriers"),
]
CARRIERS: list[Column[Carrier]] = [
    Column("carrier", "number"),
    Column("name", "name"),
    Column("place", lambda row: row.place.code if row.place else ""),
    Column("bags", "count"),
    Column("in them", "pieces"),
]


# -- Putting away -------------------------------------------------------------------


@allowed("kitting.put_away", "GET", "POST")
def put_away(request: LotwardRequest) -> HttpResponse:
    """Take scans, a thing and its place in either order; ``hand`` is in the address."""
    if request.method == "GET":
        hand = scans.hand_or_none(request.GET.get("hand", ""))
        return _show(request, hand)
    form = PutAwayForm(request.POST)
    answer, status = attempt(
        request,
        form,
        lambda sign, read, **said: scans.take_scan(text=read, sign=sign, **said),
    )
    if answer is None:
        hand = scans.hand_or_none(request.POST.get("hand", ""))
        asks_why = form.has_error("__all__", "quarantine_why") or form.has_error("why")
        return _show(request, hand, wrong=form, asks_why=asks_why, status=status)
    said = words_for(answer)
    if wants_fragment(request):
        return _show(request, answer.hand, said=said, found=answer.found)
    hand = answer.hand
    query = f"?{urlencode({'hand': hand.text})}" if hand else ""
    return say_and_go(request, said, f"{reverse('kitting:put-away')}{query}")


def _show(
    request: LotwardRequest, hand: Hand | None, *, status: int = OK, **more: Any
) -> HttpResponse:
    bags, boxes = queries.nowhere()
    row = hand.row if hand else None
    at = queries.where(row) if row is not None else None
    context = {
        "hand": hand,
        "asks": asks_for(hand.kind if hand else "", at.what if at else ""),
        "at": at,
        "on_it": queries.bags_on(row) if isinstance(row, Carrier) else [],
        "places": Place.objects.filter(active=True),
        "bags_nowhere": bags,
        "boxes_nowhere": boxes,
        "scan_key": new_op_key(),
        **more,
    }
    return render_part(
        request, "kitting/places/put_away", "_put_away", context, status=status
    )


# -- Places -------------------------------------------------------------------------


@allowed("kitting.see_work")
def place_list(request: LotwardRequest) -> HttpResponseBase:
    """Every place, and how much stands there."""
    rows = queries.all_places()
    if file := file_response(request, "places", PLACES, rows):
        return file
    context = {
        "rows": rows,
        "bags": sum(row.bags for row in rows),
        "boxes": sum(row.boxes for row in rows),
    }
    return render_part(request, "kitting/places/places", "_place_table", context)


@allowed("kitting.see_work")
def place_detail(request: LotwardRequest, code: str) -> HttpResponseBase:
    """What stands at one place, with filters in the address."""
    place = get_or_404(Place, code=code)
    form = PlaceFilterForm(request.GET)
    filters = form.chosen()
    shown = queries.standing_at(place, filters)
    name = f"place-{place.code}"
    if file := file_response(request, name, STANDING, shown.rows):
        return file
    context = {
        "place": place,
        "form": form,
        "filtered": bool(filters),
        "shown": shown,
        "carriers": queries.all_carriers().filter(place=place),
    }
    return render_part(request, "kitting/places/place_detail", "_place", context)


@allowed("kitting.set_up", "GET", "POST")
def place_new(request: LotwardRequest) -> HttpResponse:
    """Add a place."""
    return act_page(
        request,
        "kitting/places/place_set",
        PlaceForm(request.POST or None),
        set_up.add_place,
        said=_("%(name)s is added. Print its label."),
        to=lambda done: reverse("kitting:place-detail", args=[done.code]),
        act=_("Add the place"),
        back=reverse("kitting:places"),
    )


@allowed("kitting.set_up", "GET", "POST")
def place_change(request: LotwardRequest, code: str) -> HttpResponse:
    """Call a place something else, make it another kind, close it or open it again."""
    place = get_or_404(Place, code=code)
    fixed = queries.rests_on(place)
    on_record = {"name": place.name, "kind": place.kind, "active": place.active}
    form = PlaceChangeForm(
        request.POST or None,
        fixed=fixed,
        initial={"seen": mark_of(place), **on_record},
    )
    return act_page(
        request,
        "kitting/places/place_set",
        form,
        partial(set_up.change_place, code=code),
        said=_("%(name)s is changed."),
        to=reverse("kitting:place-detail", args=[code]),
        act=_("Change the place"),
        place=place,
        fixed=fixed,
    )


# -- Carriers -----------------------------------------------------------------------


@allowed("kitting.see_work")
def carrier_list(request: LotwardRequest) -> HttpResponseBase:
    """Every carrier, where it stands and how much is on it."""
    rows = queries.all_carriers()
    if file := file_response(request, "carriers", CARRIERS, rows):
        return file
    context = {
        "rows": rows,
        "bags": sum(row.count for row in rows),  # type: ignore[attr-defined]
    }
    return render_part(request, "kitting/places/carriers", "_carrier_table", context)


@allowed("kitting.put_away", "GET", "POST")
def carrier_new(request: LotwardRequest) -> HttpResponse:
    """Make a carrier: it gets the next number."""
    return act_page(
        request,
        "kitting/places/carrier_new",
        CarrierForm(request.POST or None),
        carriers.make_carrier,
        said=_("Carrier %(carrier)s is made: %(name)s. Write its number on it."),
        to=lambda done: reverse("kitting:carrier-detail", args=[done.carrier]),
        act=_("Make the carrier"),
        back=reverse("kitting:carriers"),
    )


@allowed("kitting.see_work")
def carrier_detail(request: LotwardRequest, number: str) -> HttpResponse:
    """One carrier and the bags on it."""
    carrier = get_or_404(Carrier.objects.select_related("place"), number=number)
    bags = queries.bags_on(carrier)
    return render_part(
        request,
        "kitting/places/carrier_detail",
        "_carrier",
        {
            "carrier": carrier,
            "bags": bags,
            "all_cleared": cleared_together(bags),
        },
    )
