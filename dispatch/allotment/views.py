"""Allotments: proposed from the address, moved by hand, confirmed, and released again."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial
from typing import Any

from django.core.exceptions import NON_FIELD_ERRORS
from django.core.paginator import Paginator
from django.forms import BoundField
from django.http import HttpResponse, QueryDict
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _

from dispatch.allotment import services
from dispatch.allotment.forms import (
    AllotForm,
    AllotmentFilterForm,
    MoveForm,
    PackingForm,
    ReleaseForm,
    ShareForm,
    TermForm,
    address_of,
    moves_of,
    said_beyond,
    terms_of,
)
from dispatch.allotment.queries import allotments as queries
from dispatch.allotment.queries import proposals
from dispatch.allotment.queries.proposals import Facts, Row, SizeThere
from dispatch.allotment.words import Figures, figures_of, reason_of
from dispatch.domain.proposal import Chosen, Proposal, moved
from dispatch.models import Allotment
from dispatch.requests.queries.promises import Promises, open_promises
from dispatch.requests.queries.requests import ready_by_size
from dispatch.requests.words import TIERS
from kitting.domain.errors import LotwardError, Refused
from kitting.ledger import clock
from kitting.ledger.reach import Reach, standing_reach
from kitting.models import Product
from kitting.packing.queries.reaches import reaches
from kitting.web.acting import UNFIT, act_page, attempt, say_and_go
from kitting.web.figures import amount
from kitting.web.http import LotwardRequest, add_refusal, allowed, get_or_404
from kitting.web.messages import sentence
from kitting.web.tables import Column, file_response

ROWS = 100

COLUMNS: list[Column[Any]] = [
    Column("allotment", "number"),
    Column("product", "product.code"),
    Column("day", "day"),
    Column("by", "operation.by_name"),
    Column("requests", "requests"),
    Column("boxes", "boxes"),
    Column("sets", "sets"),
    Column("reason", "reason"),
]


@allowed("kitting.see_work")
def allotments(request: LotwardRequest) -> HttpResponseBase:
    """What was promised to whom, and how much of it is still to be loaded."""
    form = AllotmentFilterForm(request.GET)
    chosen = form.chosen()
    found = queries.with_totals(Allotment.objects.filter(**chosen))
    if file := file_response(request, "allotments", COLUMNS, list(found)):
        return file
    page = Paginator(found, ROWS).get_page(request.GET.get("page"))
    promises = open_promises(Product.objects.values_list("pk", flat=True))
    is_open = queries.open_by_allotment(promises)
    context = {
        "form": form,
        "filtered": bool(chosen),
        "page": page,
        "rows": [(row, is_open.get(row.number, 0)) for row in page],
        "boxes": sum(row.boxes for row in promises.rows),
        "sets": sum(row.boxes * row.sets for row in promises.rows),
    }
    return render(request, "dispatch/allotment/allotments.html", context)


# -- Proposed ----------------------------------------------------------------------------


@dataclass(frozen=True)
class Asking:
    """What a proposal is asked for, and what it is made from."""

    product: Product
    facts: Facts
    chosen: Chosen
    products: list[Product]
    packing: PackingForm
    reach: Reach

    @property
    def sets(self) -> dict[int, int]:
        """Sets in a box, by the id of the size."""
        return {each.size.pk: each.size.sets for each in self.facts.sizes}

    def address(self, **to: Any) -> str:
        """The page with something else chosen."""
        query = address_of(self.product, replace(self.chosen, **to), self.sets)
        return f"{reverse('dispatch:allotment-new')}?{query}"

    @property
    def carried(self) -> list[tuple[str, str]]:
        """All that is chosen, by the names that stand in the address."""
        query = QueryDict(address_of(self.product, self.chosen, self.sets))
        return [(name, each) for name, every in query.lists() for each in every]

    def without(self, name: str) -> list[tuple[Any, str]]:
        """Each of what is chosen, with the address of the page without it."""
        every = getattr(self.chosen, name)
        return [
            (each, self.address(**{name: tuple(one for one in every if one != each)}))
            for each in every
        ]


def _asked(request: LotwardRequest) -> Asking | None:
    share = ShareForm(request.GET)
    products = list(proposals.to_share())
    product = share.product_of(products)
    if product is None:
        return None
    if product not in products:
        products.append(product)
    today = clock.today()
    since = clock.midnight(proposals.first_day(share.days, today))
    reach = standing_reach()
    facts = proposals.facts_of(product.pk, since, today, reach)
    packing = PackingForm(request.GET, sizes=facts.sizes)
    chosen = Chosen(
        share.days,
        packing.packing,
        terms_of(request.GET.getlist("term")),
        moves_of(request.GET.getlist("move")),
    )
    return Asking(product, facts, chosen, products, packing, reach)


@allowed("kitting.send_boxes", "GET", "POST")
def allotment_new(request: LotwardRequest) -> HttpResponse:
    """Propose who gets which boxes; take weights and moves; promise them."""
    asking = _asked(request)
    if asking is None:
        return render(request, "dispatch/allotment/allotment_none.html")
    try:
        _proposal(asking)
    except Refused as error:
        told = {"refusal": sentence(error)}
        return render(request, "dispatch/allotment/allotment_none.html", told)
    said = request.GET if request.GET.get("add") and request.method == "GET" else None
    term = TermForm(said if said and said["add"] == "term" else None)
    move = MoveForm(said if said and said["add"] == "move" else None)
    _offer(asking.facts, term, move)
    if to := _added(asking, term, move):
        return redirect(to)
    form = AllotForm(request.POST or None)
    act = partial(services.allot, product_id=asking.product.pk, chosen=asking.chosen)
    done, status = attempt(request, form, act)
    if done is not None:
        words = _("%(boxes)s with %(sets)s are promised.") % {
            "boxes": amount(done.boxes, "box"),
            "sets": amount(done.sets, "set"),
        }
        to = reverse("dispatch:allotment-detail", args=[done.allotment])
        return say_and_go(request, words, to)
    if request.method == "POST":
        asking = _asked(request) or asking  # as it is now
    if term.errors or move.errors:
        status = UNFIT
    context = _shown(asking, term, move, form)
    page = "dispatch/allotment/allotment_new.html"
    return render(request, page, context, status=status)


def _offer(facts: Facts, term: TermForm, move: MoveForm) -> None:
    who = {row.consignee.stays.code: row.consignee.stays.name for row in facts.rows}
    term.offer("who", [("", _("Choose one")), *who.items()])
    sizes = [each.size.sets for each in facts.sizes]
    move.offer("size", [(sets, _("%s sets") % sets) for sets in sizes])
    places = [("", _("what stays"))]
    for row in facts.rows:
        lacks = amount(row.lacks, "set")
        said = ", ".join(filter(None, (row.consignee.stays.name, row.point, lacks)))
        places.append((row.number, f"{said} ({row.number})"))
    move.offer("by", places)
    move.offer("to", places)


def _added(asking: Asking, term: TermForm, move: MoveForm) -> str:
    """The address with what was added; empty if nothing was, or it cannot be."""
    chosen = asking.chosen
    if term.is_bound and term.is_valid():
        others = [one for one in chosen.terms if one.who != term.term.who]
        who = [row.consignee.stays.code for row in asking.facts.rows]
        try:
            services.need_term(term.term, who)
        except LotwardError as error:
            add_refusal(term, error)
            return ""
        return asking.address(terms=(*others, term.term)) + "#terms"
    if move.is_bound and move.is_valid():
        moves = (*chosen.moves, move.move)
        try:
            moved(_proposal(asking), asking.facts.wishes, moves)
        except Refused as error:
            add_refusal(move, error)
            return ""
        return asking.address(moves=moves) + "#moves"
    return ""


def _proposal(asking: Asking) -> Proposal:
    stock = asking.facts.stock(asking.facts.beyond, asking.chosen.packing)
    return asking.facts.proposal(stock, asking.chosen.terms)


def _shown(
    asking: Asking, term: TermForm, move: MoveForm, form: AllotForm
) -> dict[str, Any]:
    facts, chosen = asking.facts, asking.chosen
    stock = facts.stock(facts.beyond, chosen.packing)
    found = facts.proposal(stock, chosen.terms)
    counts, wrong_move = found.counts, ""
    try:
        counts = moved(found, facts.wishes, chosen.moves)
    except Refused as error:
        wrong_move = sentence(error)
    laid = proposals.laid_out(facts, stock, found, counts, chosen.terms)
    names = {row.number: row.consignee.stays.name for row in facts.rows}
    who = {row.consignee.stays.code: row.consignee.stays.name for row in facts.rows}
    # What was refused is looked at anew: the next try is another act.
    seen = {"seen": facts.mark, "beyond": said_beyond(facts.beyond)}
    reason = form.data.get("reason", "") if form.is_bound else ""
    return {
        "asking": asking,
        "there": _there(asking),
        "laid": laid,
        "rows": [(row, TIERS[row.asked.tier], _why(row)) for row in laid.rows],
        "terms": [(t, who.get(t.who, t.who), to) for t, to in asking.without("terms")],
        "moves": [
            (m, names.get(m.by, m.by), names.get(m.to, m.to), to)
            for m, to in asking.without("moves")
        ],
        "wrong_move": wrong_move,
        "refusal": " ".join(str(e) for errors in form.errors.values() for e in errors),
        "meanwhile": _meanwhile(facts, form),
        "carried": asking.carried,
        "term": term,
        "move": move,
        "form": AllotForm(initial={**seen, "reason": reason}),
        "action": asking.address(),
    }


def _meanwhile(facts: Facts, form: AllotForm) -> str:
    """The number of the allotment that came before; empty where none did."""
    if not form.has_error(NON_FIELD_ERRORS, "allotted_meanwhile"):
        return ""
    return Allotment.objects.values_list("number", flat=True).get(pk=facts.newest)


def _why(row: Row) -> str:
    return reason_of(figures_of(row.reason, row.term, row.alike, row.by_hand))


def _there(asking: Asking) -> list[tuple[SizeThere, int | None, BoundField, bool]]:
    """What there is of each size, how many benches can still pack, and the field.

    Last comes whether more are counted in than that.
    """
    today, now = clock.today(), clock.now()
    sizes = [each.size for each in asking.facts.sizes if each.size.active]
    most = reaches(sizes, None, today=today, now=now, reach=asking.reach)
    found = []
    for each, field in zip(asking.facts.sizes, asking.packing, strict=True):
        can = most[each.size.pk].boxes if each.size.pk in most else None
        counted = asking.chosen.packing.get(each.size.pk, 0)
        found.append((each, can, field, counted > (can or 0)))
    return found


# -- Decided -----------------------------------------------------------------------------


@allowed("kitting.see_work")
def allotment_detail(request: LotwardRequest, number: str) -> HttpResponse:
    """What an allotment promised, why, and what of it is still to be loaded."""
    row = get_or_404(queries.with_totals(Allotment.objects.all()), number=number)
    promises = open_promises([row.product_id])
    decided = queries.decided(row, promises)
    context = {
        "allotment": row,
        "rows": [(each, TIERS[each.line.tier], _said(each)) for each in decided],
        "sizes": row.sizes.select_related("size").order_by("-size__sets"),
        "open": sum(each.open for each in decided),
        "got": sum(bool(each.sets) for each in decided),
        "absent": _absent(row, promises),
        "releases": queries.releases_of(row),
    }
    return render(request, "dispatch/allotment/allotment_detail.html", context)


def _said(each: queries.Decided) -> str:
    line = each.line
    return reason_of(
        Figures(
            line.code,
            line.given,
            line.received,
            line.share_hundredths,
            line.weight_tenths,
            line.floor,
            line.why,
            each.alike,
            each.by_hand,
            line.first,
        )
    )


def _absent(row: Allotment, promises: Promises) -> list[tuple[int, int, int]]:
    """Sizes of which more is promised than is ready: sets, boxes lacking, promised."""
    ready = ready_by_size(row.product_id, standing_reach(), clock.today())
    here = {each.sets for each in queries.open_of(row, promises)}
    total = promises.total()
    return [
        (sets, total[sets] - ready.get(sets, 0), total[sets])
        for sets in sorted(here, reverse=True)
        if total[sets] > ready.get(sets, 0)
    ]


@allowed("kitting.send_boxes", "GET", "POST")
def allotment_release(request: LotwardRequest, number: str) -> HttpResponse:
    """Release what is still promised, to one request or to all, with a reason."""
    row = get_or_404(Allotment.objects.select_related("product"), number=number)
    to = reverse("dispatch:allotment-detail", args=[number])
    whom = request.POST.get("request", request.GET.get("request", ""))
    left = queries.open_of(row, open_promises([row.product_id]), whom)
    if request.method == "GET" and not left:
        return redirect(to)
    form = ReleaseForm(request.POST or None, initial={"request": whom})
    return act_page(
        request,
        "dispatch/allotment/allotment_release",
        form,
        partial(services.release_promise, number=number),
        said=_("Boxes that are free again: %(boxes)s."),
        to=to,
        act=_("Release the promise"),
        stop=True,
        allotment=row,
        left=left,
        boxes=sum(each.boxes for each in left),
    )
