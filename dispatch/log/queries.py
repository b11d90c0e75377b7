"""The shipping log: every shipment that was sent, and what a filter leaves of it."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import datetime
from operator import attrgetter
from typing import Final

from django.db.models import (
    Count,
    Max,
    Min,
    Q,
    QuerySet,
    Sum,
    TextField,
    Value,
)
from django.db.models.functions import Concat
from django.db.models.lookups import Contains

from dispatch.consignees.queries import same_as
from dispatch.domain.folding import fold
from dispatch.models import (
    Consignee,
    LogView,
    Pallet,
    PassedOn,
    Shipment,
    ShipmentBox,
)
from dispatch.pallets.queries.pallets import scanned
from dispatch.shipments.queries.shipments import LotIn
from kitting.domain.errors import LotwardError, Refused
from kitting.domain.shown import shown
from kitting.ledger.reach import reach_of
from kitting.models import Box, BoxLine, Lot
from kitting.web import scans
from kitting.web.keyset import Order

TAKEN: Final = ("haulier", "driver", "vehicle")

NAME_LONGEST: Final = 60
ASKED_LONGEST: Final = 600
"""Characters of the name of a view, and of what it asks."""

FEW: Final = 500
"""Shipments that are found once, for the figures and for the rows of a page."""
MANY_LINES: Final = 20_000
"""Lines of boxes from which on a lot is looked for by its number."""

_ON_NOW: Final = ShipmentBox.objects.filter(live=True)


@dataclass(frozen=True)
class Filters:
    """What the log is asked for; what is empty does not filter."""

    since: datetime | None = None
    """First moment."""
    before: datetime | None = None
    """First moment that is too late."""
    consignee_id: int | None = None
    """It was sent to the consignee, or a box of it was passed on to it."""
    product: str = ""
    """A box of the product of that code is in the shipment."""
    stage: str = ""
    taken: str = ""
    """Some of the name of the haulier or driver, or of the vehicle."""
    words: str = ""
    """Each must be in its number, reference, haulier, driver, vehicle or seal, or in the
    consignee's name or code."""
    lot: Lot | None = None
    """It, or one that was made from it, is in a box of the shipment."""
    box_id: int | None = None
    """The box is in the shipment."""
    pallet_id: int | None = None
    """A box came into the shipment on the pallet."""


@dataclass(frozen=True)
class Totals:
    """The sums over all rows of a log."""

    shipments: int
    boxes: int
    sets: int


@dataclass(frozen=True)
class LogRow:
    """One shipment of the log, with what stands beside it."""

    shipment: Shipment
    lots: tuple[LotIn, ...]
    passed_to: tuple[str, ...]
    """To whom boxes of it were passed on since."""

    @property
    def taken_by(self) -> str:
        """Who took it, in what, under which seal."""
        row = self.shipment
        said = (row.haulier, row.driver, row.vehicle, row.seal)
        return ", ".join(each for each in said if each)

    def parts(self) -> list[tuple[str, list[str]]]:
        """The lots inside, by part."""
        found: dict[str, list[str]] = {}
        for lot in self.lots:
            found.setdefault(lot.part, []).append(lot.number)
        return list(found.items())


def sent_shipments(filters: Filters) -> QuerySet[Shipment]:
    """The shipments of the log, newest first.

    Args:
        filters: What is asked for.

    Returns:
        Shipments that were sent, each with its consignee.
    """
    # What has left has a time, and the other way about; it is in the order of the index.
    found = Shipment.objects.filter(sent_at__isnull=False)
    if filters.since is not None:
        found = found.filter(sent_at__gte=filters.since)
    if filters.before is not None:
        found = found.filter(sent_at__lt=filters.before)
    if filters.consignee_id is not None:
        found = found.filter(_reaching(filters.consignee_id))
    if filters.taken:
        taken = {f"{name}__icontains": filters.taken for name in TAKEN}
        found = found.filter(Q(**taken, _connector=Q.OR))
    if filters.stage:
        found = found.filter(stage=filters.stage)
    if filters.product:
        found = found.filter(_says("products", filters.product))
    if on := _scanned(filters):
        found = found.filter(pk__in=_ON_NOW.filter(**on).values("shipment"))
    for word in fold(filters.words).split():
        renamed = Consignee.objects.filter(search__contains=word)
        found = found.filter(Q(search__contains=word) | Q(consignee__in=renamed))
    if filters.lot is not None:
        found = found.filter(_carrying(filters.lot))
    return _in_order(found)


def _in_order(found: QuerySet[Shipment]) -> QuerySet[Shipment]:
    # With their consignees beside them SQLite would go through these, and sort.
    return found.prefetch_related("consignee").order_by("-sent_at", "-pk")


def _carrying(lot: Lot) -> Q:
    """What has a lot in a box, or one that was made from it.

    One that is in very many boxes is sooner found in what each shipment says of itself.
    """
    lots = reach_of((), ("lot", {lot.pk})).beside
    lines = BoxLine.objects.filter(lot__in=lots).order_by()
    if len(lots) > 1 or lines[:MANY_LINES].count() < MANY_LINES:
        return Q(pk__in=_ON_NOW.filter(box__in=lines.values("box")).values("shipment"))
    return _says("lots", lot.number)


def _scanned(filters: Filters) -> dict[str, int]:
    """The box or pallet that is asked for, by its column; nothing where none is."""
    asked = {"box": filters.box_id, "pallet": filters.pallet_id}
    return {name: pk for name, pk in asked.items() if pk is not None}


def _reaching(whom: int) -> Q:
    """What was sent to a consignee, or has a box that was passed on to it.

    Those that turned out to be the same count as well. What was passed on is read by
    itself: mostly there is none, and the index of the log is enough.
    """
    same = same_as(whom).order_by().values_list("pk", "passed_to__shipment")
    ids = {shipment for _pk, shipment in same} - {None}
    sent = Q(consignee__in={pk for pk, _shipment in same})
    return sent | Q(pk__in=ids) if ids else sent


def _says(name: str, word: str) -> Q:
    """What names a lot or a product among those in its boxes."""
    blank = Value(" ", TextField())
    return Q(Contains(Concat(blank, name, blank), f" {word} "))


def _sent_with_number(number: str) -> Shipment | None:
    return Shipment.objects.filter(number=number, sent_at__isnull=False).first()


ORDER: Final = Order(("sent_at", "pk"), "number", _sent_with_number)
"""The order of the log; an address names a shipment by its number."""


def with_totals(
    shipments: QuerySet[Shipment], filters: Filters, *, at_an_end: bool
) -> tuple[QuerySet[Shipment], Totals]:
    """Count the shipments, boxes and sets of a log, so that its rows are soon found.

    Words are looked for in every shipment. Where few have them, these are kept; where
    many have, no page begins to look before the first of them or behind the last.

    Args:
        shipments: From ``sent_shipments``.
        filters: What was asked for.
        at_an_end: Whether the newest or the oldest page is read next.

    Returns:
        The same shipments, and the sums.
    """
    if filters.words or filters.taken:
        some = shipments.order_by().values_list("pk", "boxes", "sets")[: FEW + 1]
        if len(some) <= FEW:
            kept = [pk for pk, _boxes, _sets in some]
            boxes, sets = (sum(row[nth] for row in some) for nth in (1, 2))
            found = Shipment.objects.filter(pk__in=kept)
            return _in_order(found), Totals(len(kept), boxes, sets)
    sums = shipments.order_by().aggregate(
        *(Count("pk"), Sum("boxes"), Sum("sets"), Min("sent_at"), Max("sent_at"))
    )
    count, boxes, sets, oldest, newest = sums.values()
    if count and at_an_end:
        shipments = shipments.filter(sent_at__gte=oldest, sent_at__lte=newest)
    return shipments, Totals(count, boxes or 0, sets or 0)


def rows_of(shipments: Collection[Shipment]) -> list[LogRow]:
    """The rows of some shipments; what stands beside them is read in two queries.

    Args:
        shipments: Sent shipments with their consignees.

    Returns:
        A row for each, in the same order.
    """
    named = {number for row in shipments for number in row.lots.split()}
    rows = Lot.objects.filter(number__in=named).values_list("number", "part__name")
    lots = {number: LotIn(number, part) for number, part in rows}
    passed = _passed_to(shipments)
    return [
        LogRow(row, _inside(row, lots), tuple(passed.get(row.pk, ())))
        for row in shipments
    ]


def _inside(row: Shipment, lots: Mapping[str, LotIn]) -> tuple[LotIn, ...]:
    own = (lots[number] for number in row.lots.split() if number in lots)
    return tuple(sorted(own, key=attrgetter("part", "number")))


def _passed_to(shipments: Collection[Shipment]) -> dict[int, dict[str, None]]:
    rows = PassedOn.objects.filter(shipment__in=[each.pk for each in shipments])
    found: dict[int, dict[str, None]] = {}
    for shipment, name in rows.order_by("pk").values_list(
        "shipment", "consignee__name"
    ):
        found.setdefault(shipment, {})[name] = None
    return found


def lot_named(text: str) -> Lot:
    """Find the lot that a filter names.

    Args:
        text: A lot's number, ours or its maker's, typed or scanned.

    Returns:
        The lot.

    Raises:
        CodeError: If it can be no number at all.
        Missing: ``nothing_has_number``.
        Refused: ``scan_not_a_lot`` if it names something else.
    """
    found = scans.read(text)
    if isinstance(found.row, Lot):
        return found.row
    raise Refused("scan_not_a_lot", read=shown(found.text))


def box_or_pallet(text: str) -> Box | Pallet | None:
    """Find what a serial, an SSCC, a number or a scan of its label names.

    Args:
        text: Typed or scanned.

    Returns:
        The box or pallet; None for all other words.
    """
    try:
        return scanned(text)
    except LotwardError:
        return None


def views(asked: str) -> list[tuple[LogView, bool]]:
    """The views that are kept, each with whether it is what is shown.

    Args:
        asked: What is asked of the log, as it stands in the address.

    Returns:
        The views by name.
    """
    return [(view, view.asked == asked) for view in LogView.objects.all()]
