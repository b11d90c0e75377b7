"""What an allotment is proposed from: who lacks what, what they had, what is there."""

from __future__ import annotations

import hashlib
import json
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any, Final

from django.db.models import Count, F, OuterRef, Q, QuerySet, Subquery, Sum
from django.db.models.functions import Coalesce

from dispatch.consignees.queries import stays
from dispatch.domain.allotment import MOST_SETS, Reason
from dispatch.domain.needs import RequestStage
from dispatch.domain.proposal import Proposal, Term, Wish, propose, sets_of
from dispatch.models import Allotment, Request, Return, ShipmentBox
from dispatch.requests.queries.promises import Promises, open_promises
from dispatch.requests.queries.requests import with_figures
from kitting.domain.stages import GONE_SHIPMENTS, BoxStage, ShipmentStage
from kitting.ledger.reach import Reach
from kitting.models import Box, BoxSize, Product
from kitting.packing.queries.boxes import ready_boxes

LONGEST_WINDOW: Final = 365
"""Days."""
USUAL_WINDOW: Final = 7

_THERE: Final = (BoxStage.SENT, BoxStage.DELIVERED)


@dataclass(frozen=True)
class SizeThere:
    """What there is of a box size."""

    size: BoxSize
    ready: int
    """Boxes that may go, promised or not."""
    promised: int
    """Boxes that are promised and not loaded yet."""

    @property
    def beyond(self) -> int:
        """Ready boxes beyond what is promised; below 0 where more is promised."""
        return self.ready - self.promised

    @property
    def free(self) -> int:
        """Ready boxes that are promised to nobody."""
        return max(0, self.beyond)


@dataclass(frozen=True)
class Facts:
    """What an allotment of a product is proposed from."""

    rows: Sequence[Any]
    """The open requests that lack something beyond what is promised to them, with figures,
    the neediest first, each with ``lacks``."""
    closed: int
    """Open requests of consignees that are closed: nothing can be sent to them."""
    received: Mapping[str, int]
    """Sets by the code of the consignee: received within the window, on open shipments,
    and promised; without what came back of them or was passed on, but with what was passed
    on to it."""
    sizes: Sequence[SizeThere]
    """The sizes that are in use or ready, the largest first."""
    newest: int
    """Id of the newest allotment of the product; 0 for none."""

    @property
    def wishes(self) -> list[Wish]:
        """What each request lacks."""
        return [
            Wish(row.number, row.consignee.stays.code, row.tier, row.lacks)
            for row in self.rows
        ]

    @property
    def beyond(self) -> dict[int, int]:
        """Ready boxes beyond what is promised, by the id of the size."""
        return {each.size.pk: each.beyond for each in self.sizes}

    @property
    def mark(self) -> str:
        """What a page remembers of who lacks what, so that a change is noticed."""
        said = [[wish.request, wish.who, wish.tier, wish.lacks] for wish in self.wishes]
        had = [[wish.who, self.received.get(wish.who, 0)] for wish in self.wishes]
        text = json.dumps([said, had])
        return f"{self.newest}.{hashlib.sha256(text.encode()).hexdigest()}"

    def stock(
        self, beyond: Mapping[int, int], packing: Mapping[int, int]
    ) -> dict[int, int]:
        """What is shared: boxes by sets.

        Args:
            beyond: Ready boxes beyond what is promised, by the id of the size.
            packing: Boxes yet to be packed that are counted in, likewise.

        Returns:
            Size in sets to boxes; what is counted in fills first what is promised and not
            there.
        """
        found = {}
        for each in self.sizes:
            pk, sets = each.size.pk, each.size.sets
            most = MOST_SETS // (sets * len(self.sizes))  # no workshop has as many
            boxes = beyond.get(pk, 0) + packing.get(pk, 0)
            found[sets] = min(max(0, boxes), most)
        return found

    def proposal(self, stock: Mapping[int, int], terms: Sequence[Term]) -> Proposal:
        """Share what is there; terms of somebody who lacks nothing do not count."""
        who = {row.consignee.stays.code for row in self.rows}
        counting = [term for term in terms if term.who in who]
        return propose(self.wishes, stock, self.received, counting)


def facts_of(product_id: int, since: datetime, today: date, reach: Reach) -> Facts:
    """Read what an allotment of a product is proposed from.

    Args:
        product_id: The product.
        since: From when on what was sent counts as received.
        today: The workshop's day.
        reach: What the standing holds reach.

    Returns:
        The facts.
    """
    promises = open_promises([product_id])
    asked = Request.objects.filter(product=product_id, stage=RequestStage.OPEN)
    lacking: list[Any] = []
    for row in with_figures(asked):
        lacks = row.left - promises.sets_to(row.pk)  # type: ignore[attr-defined]
        if lacks > 0:
            vars(row)["lacks"] = lacks
            lacking.append(row)
    rows = [row for row in lacking if row.consignee.stays.active]
    sizes = _sizes(product_id, promises.total(), ready_boxes(reach, today))
    return Facts(
        rows=rows,
        closed=len(lacking) - len(rows),
        received=_received(product_id, since, promises),
        sizes=[each for each, _newest in sizes],
        newest=max((newest for _size, newest in sizes), default=0),
    )


def first_day(window: int, today: date) -> date:
    """The first day on which what was sent counts; tomorrow where none does."""
    return today - timedelta(days=window - 1)


def _received(product_id: int, since: datetime, promises: Promises) -> Counter[str]:
    sent = Q(
        shipment__stage__in=GONE_SHIPMENTS,
        shipment__sent_at__gte=since,
        box__stage__in=_THERE,
    )
    loads = ShipmentBox.objects.filter(
        sent | Q(shipment__stage=ShipmentStage.OPEN),
        live=True,
        box__size__product=product_id,
    )
    # A box that was passed on counts for who has it now, and one that was merged with
    # another as that one. Loose sets that came back are with nobody any more.
    now = (stays("code", f"{way}consignee") for way in ("passed__", "shipment__"))
    back = Return.objects.filter(box=OuterRef("box"), undone=None).order_by()
    came = back.values("box").annotate(n=Sum("sets")).values("n")
    stayed = F("box__size__sets") - Coalesce(Subquery(came), 0)
    sums = loads.order_by().annotate(stayed=stayed).values(whom=Coalesce(*now))
    had = sums.annotate(sets=Sum("stayed"))
    found = Counter(dict(had.values_list("whom", "sets")))
    for row in promises.rows:
        found[row.whom] += row.sets * row.boxes
    return found


def _sizes(
    product_id: int, promised: Mapping[int, int], ready: QuerySet[Box]
) -> list[tuple[SizeThere, int]]:
    """The sizes in use or with boxes, each with the product's newest allotment."""
    here = ready.filter(size=OuterRef("pk")).order_by().values("size")
    newest = Allotment.objects.filter(product=OuterRef("product")).order_by("-pk")
    sizes = BoxSize.objects.filter(product=product_id).annotate(
        ready=Coalesce(Subquery(here.annotate(n=Count("pk")).values("n")), 0),
        newest=Coalesce(Subquery(newest.values("pk")[:1]), 0),
    )
    some = Q(active=True) | Q(ready__gt=0) | Q(sets__in=[*promised])
    return [
        (SizeThere(size, size.ready, promised.get(size.sets, 0)), size.newest)
        for size in sizes.filter(some).order_by("-sets")
    ]


# -- As the page shows it ----------------------------------------------------------------


@dataclass(frozen=True)
class Row:
    """A request in a proposal."""

    asked: Any
    """The request, with its figures."""
    reason: Reason
    boxes: tuple[tuple[int, int, int], ...]
    """Sets in a box, boxes, and those that were proposed, by the sizes of the proposal."""
    sets: int
    had: int
    """Sets that its consignee had within the window, or is promised."""
    alike: int
    """How many requests of its consignee share as one with it."""
    term: Term | None

    @property
    def by_hand(self) -> int:
        """Sets more than were proposed; below 0 for fewer."""
        return sum(sets * (boxes - was) for sets, boxes, was in self.boxes)


@dataclass(frozen=True)
class Laid:
    """A proposal as a table."""

    sizes: tuple[int, ...]
    """The sizes of which there are boxes, the largest first."""
    rows: tuple[Row, ...]
    totals: tuple[int, ...]
    """Boxes by size."""
    stays: tuple[int, ...]
    """Boxes that nobody gets, by size."""
    lacks: int
    """Sets that all requests lack."""
    sets: int
    moved: bool

    @property
    def boxes(self) -> int:
        """Boxes of all sizes."""
        return sum(self.totals)

    @property
    def sums(self) -> list[tuple[int, int, int]]:
        """Of each size the sets in a box, boxes that go, and boxes that stay."""
        return list(zip(self.sizes, self.totals, self.stays, strict=True))


def laid_out(
    facts: Facts,
    stock: Mapping[int, int],
    found: Proposal,
    counts: Mapping[str, Mapping[int, int]],
    terms: Sequence[Term],
) -> Laid:
    """Lay a proposal out as a table.

    Args:
        facts: What it is made from.
        stock: What is shared, by sets.
        found: The proposal.
        counts: Request to size to boxes, as moved by hand.
        terms: Weights and floors.

    Returns:
        The table.
    """
    sizes = tuple(sets for sets in sorted(stock, reverse=True) if stock[sets])
    own = {term.who: term for term in terms}
    together = Counter((row.consignee.stays, row.tier) for row in facts.rows)

    def row_of(asked: Any) -> Row:
        number, who = asked.number, asked.consignee.stays.code
        has, was = counts[number], found.counts[number]
        return Row(
            asked=asked,
            reason=found.reason[number],
            boxes=tuple((sets, has.get(sets, 0), was.get(sets, 0)) for sets in sizes),
            sets=sets_of(has),
            had=facts.received.get(who, 0),
            alike=together[asked.consignee.stays, asked.tier],
            term=own.get(who),
        )

    rows = tuple(map(row_of, facts.rows))
    totals = tuple(sum(row.boxes[nth][1] for row in rows) for nth in range(len(sizes)))
    return Laid(
        sizes=sizes,
        rows=rows,
        totals=totals,
        stays=tuple(stock[s] - n for s, n in zip(sizes, totals, strict=True)),
        lacks=sum(row.asked.lacks for row in rows),
        sets=sum(row.sets for row in rows),
        moved=counts != found.counts,
    )


def to_share() -> QuerySet[Product]:
    """The products of which something is asked, by name."""
    asked = Request.objects.filter(stage=RequestStage.OPEN).values("product")
    return Product.objects.filter(pk__in=asked).order_by("name")
