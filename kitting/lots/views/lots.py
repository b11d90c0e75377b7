"""Pages of lots: the table, one lot, taking in, more bags, closing."""

from __future__ import annotations

from functools import partial
from typing import Any
from urllib.parse import urlencode

from django.core.paginator import Paginator
from django.http import HttpResponse
from django.http.response import HttpResponseBase
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from kitting.domain.shown import spaced
from kitting.ledger import clock
from kitting.ledger.operations import Sign
from kitting.ledger.reach import standing_reach
from kitting.lots.forms.bags import NewBagForm
from kitting.lots.forms.lots import (
    LikeForm,
    LotFilterForm,
    NewLotForm,
    source_names,
)
from kitting.lots.queries.lots import (
    LotPage,
    filtered_lots,
    held_lots,
    one_lot,
    totals_of,
)
from kitting.lots.queries.usual import last_bag, last_lots, like
from kitting.lots.services import lots
from kitting.models import Lot
from kitting.web.acting import act_page
from kitting.web.figures import pieces
from kitting.web.forms import KeyedForm
from kitting.web.http import LotwardRequest, allowed, get_or_404, render_part
from kitting.web.tables import Column, file_response

ROWS_A_PAGE = 50

COLUMNS: list[Column[Lot]] = [
    Column("lot", "number"),
    Column("part", "part.code"),
    Column("part name", "part.name"),
    Column("revision", "revision.code"),
    Column("method", lambda lot: lot.method.code if lot.method else ""),
    Column("made on", "made_on"),
    Column("use by", "use_by"),
    Column("source", "source"),
    Column("source number", "source_number"),
    Column("bags", "bag_count"),
    Column("in bags now", "pieces"),
    Column("unit", "part.unit"),
    Column("stage", "stage"),
    Column("verdict", "verdict"),
]


def lot_address(number: str) -> str:
    """The address of a lot's page."""
    return reverse("kitting:lot-detail", args=[number])


@allowed("kitting.see_work")
def lot_list(request: LotwardRequest) -> HttpResponseBase:
    """The table of lots, with its filters in the address."""
    form = LotFilterForm(request.GET)
    filters = form.chosen()
    reach = standing_reach()
    found = filtered_lots(filters, reach)
    if file := file_response(request, "lots", COLUMNS, found):
        return file
    totals = totals_of(found)
    pages = Paginator(found, ROWS_A_PAGE)
    pages.count = totals.lots  # It would count them again.
    context = {
        "form": form,
        "filtered": bool(filters),
        "totals": totals,
        "page": pages.get_page(request.GET.get("page")),
        "held": set(held_lots(reach)) if reach else set(),
    }
    return render_part(request, "kitting/lots/lots", "_lot_list", context)


@allowed("kitting.see_work")
def lot_detail(request: LotwardRequest, number: str) -> HttpResponse:
    """Everything about one lot."""
    lot = get_or_404(one_lot(), number=number)
    shown = LotPage(lot, standing_reach())
    return render_part(
        request, "kitting/lots/lot_detail", "_lot", {"lot": lot, "shown": shown}
    )


@allowed("kitting.take_in", "GET", "POST")
def lot_new(request: LotwardRequest) -> HttpResponse:
    """Take in a lot, like the last one of its part where one was chosen."""
    chosen = LikeForm(request.POST or request.GET).chosen()
    last = like(number=chosen.get("like", ""), revision=chosen.get("revision"))
    begun: dict[str, Any] = {"made_on": clock.today(), **last.values}
    if "like" in chosen:
        linked = request.GET.keys() & set(NewLotForm.linked)
        begun |= {name: request.GET[name] for name in linked}
    form = NewLotForm(request.POST or None, initial=begun, cut=last.cut)
    return act_page(
        request,
        "kitting/lots/lot_new",
        form,
        _take_in,
        said=lambda done: _taken(done, form.cleaned_data["close"]),
        to=lambda done: lot_address(done.lots[0]),
        act=_("Take in the lot"),
        back=reverse("kitting:lots"),
        fields="kitting/lots/_lot_new_fields.html",
        last=last,
        sources=source_names(),
        again=() if chosen or request.method == "POST" else last_lots(),
    )


def _take_in(*, bags: list[dict[str, Any]], sign: Sign, **said: Any) -> lots.TakenIn:
    new = lots.NewLot(bags=tuple(lots.NewBag(**bag) for bag in bags), **said)
    return lots.take_in(lots=[new], sign=sign)


def _taken(done: lots.TakenIn, closed: bool) -> str:  # noqa: FBT001 -- not an option
    count = len(done.bags)
    said = ngettext(
        "Lot %(lot)s is taken in, with %(count)s bag.",
        "Lot %(lot)s is taken in, with %(count)s bags.",
        count,
    ) % {"lot": done.lots[0], "count": count}
    return said if closed else f"{said} {_('It stays open for more bags.')}"


@allowed("kitting.take_in", "GET", "POST")
def bag_new(request: LotwardRequest, number: str) -> HttpResponse:
    """Add a bag to an open lot."""
    lot = get_or_404(one_lot(), number=number)
    of: dict[str, Any] = {
        "lot_id": lot.pk,
        "part_id": lot.part_id,
        "made_on": lot.made_on,
        "source": lot.source,
    }
    last, again = last_bag(lot), reverse("kitting:bag-new", args=[lot.number])
    stacks = {name: request.GET.get(name) for name in NewBagForm.in_stacks}
    form = NewBagForm(request.POST or None, lot=lot, last=last, initial=stacks)
    return act_page(
        request,
        "kitting/lots/bag_new",
        form,
        partial(_take_in, **of),
        said=lambda done: (
            _("Bag %(bag)s is in lot %(lot)s, with %(pieces)s.")
            % {
                "bag": done.bags[0],
                "lot": lot.number,
                "pieces": pieces(form.cleaned_data["pieces"]),
            }
        ),
        to=lambda _done: f"{again}?{urlencode(form.kept)}" if form.kept else again,
        around=lambda: {"shown": LotPage(lot, standing_reach()), "last": last},
        lot=lot,
        fields="kitting/lots/_bag_new_fields.html",
        act=_("Add the bag"),
        back=lot_address(lot.number),
        back_word=_("No more bags now: to the lot"),
    )


@allowed("kitting.take_in", "GET", "POST")
def lot_close(request: LotwardRequest, number: str) -> HttpResponse:
    """Close a lot, so that it can be checked."""
    lot = get_or_404(one_lot(), number=number)
    return act_page(
        request,
        "kitting/lots/lot_close",
        KeyedForm(request.POST or None),
        partial(lots.close_lot, lot_id=lot.pk),
        said=_("Lot %(lot)s is closed."),
        to=lot_address(lot.number),
        around=lambda: {"shown": LotPage(lot, standing_reach())},
        lot=lot,
        act=_("Close lot %(lot)s") % {"lot": spaced(lot.number)},
        stop=True,
    )
