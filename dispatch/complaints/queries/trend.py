"""Complaints for a thousand sets that were sent, by part, revision, lot and month."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import date
from typing import TypeVar

from django.db.models import Exists, F, OuterRef, Q, QuerySet, Sum
from django.db.models.functions import TruncMonth
from django.utils import timezone

from dispatch.domain.complaints import Rate, rates
from dispatch.models import Complaint, ShipmentBox
from kitting.models import BoxLine, Lot, Part, Revision

T = TypeVar("T")

MONTHS = 24
"""So many months are shown, the newest first."""


@dataclass(frozen=True)
class Trend:
    """What was said, beside what was sent; the worst first."""

    whole: Rate[str]
    parts: list[Rate[Part]]
    revisions: list[Rate[Revision]]
    lots: list[Rate[Lot]]
    months: list[Rate[date]]
    """By the month in which complaints were received and sets sent, newest first."""


def _sent() -> QuerySet[ShipmentBox]:
    """Every box that was ever sent, once: also one that came back."""
    return ShipmentBox.objects.filter(live=True, shipment__sent_at__isnull=False)


def _sets_of(way: str, wanted: Collection[int]) -> dict[int, int]:
    """Sets in boxes that were sent, by what is in them.

    A box with several lines of the same thing counts once, by the first of them.
    """
    earlier = BoxLine.objects.filter(
        **{"box": OuterRef("box"), way: OuterRef(way), "pk__lt": OuterRef("pk")}
    )
    lines = BoxLine.objects.filter(
        ~Exists(earlier),
        Exists(_sent().filter(box=OuterRef("box"))),
        **{f"{way}__in": wanted},
    )
    sums = lines.order_by().values_list(way).annotate(sets=Sum("box__size__sets"))
    return dict(sums)


def _lots_of(complaints: QuerySet[Complaint]) -> list[tuple[int, int]]:
    """Each complaint with the lots that it is about."""
    own = complaints.filter(lot__isnull=False).order_by().values_list("pk", "lot")
    meant = Q(part=None) | Q(box__lines__lot__part=F("part"))
    boxed = complaints.filter(meant, box__isnull=False).order_by()
    return [*own, *boxed.values_list("pk", "box__lines__lot").distinct()]


def trend(severity: str = "") -> Trend:
    """Set what was said against what was sent.

    Args:
        severity: Of which complaints; empty for all.

    Returns:
        The trend.
    """
    said = Complaint.objects.all()
    if severity:
        said = said.filter(severity=severity)
    pairs = _lots_of(said)
    lots = Lot.objects.filter(pk__in={lot for _said, lot in pairs})
    known = {lot.pk: lot for lot in lots.select_related("part", "revision__part")}
    of_part = [(one, known[lot].part_id) for one, lot in pairs]
    of_revision = [(one, known[lot].revision_id) for one, lot in pairs]
    parts = {lot.part_id: lot.part for lot in known.values()}
    revisions = {lot.revision_id: lot.revision for lot in known.values()}
    return Trend(
        whole=_whole(said),
        parts=_named(rates(of_part, _sets_of("lot__part", parts)), parts),
        revisions=_named(
            rates(of_revision, _sets_of("lot__revision", revisions)), revisions
        ),
        lots=_named(rates(pairs, _sets_of("lot", known)), known),
        months=_months(said),
    )


def of_revision(revision_id: int, complaints: int) -> Rate[int]:
    """Set complaints about one revision against what was sent of it.

    Args:
        revision_id: The revision.
        complaints: How many there are.

    Returns:
        The rate.
    """
    sets = _sets_of("lot__revision", [revision_id])
    return Rate(revision_id, complaints, sets.get(revision_id, 0))


def _named(found: list[Rate[int]], known: Mapping[int, T]) -> list[Rate[T]]:
    return [Rate(known[rate.key], rate.complaints, rate.sets) for rate in found]


def _whole(said: QuerySet[Complaint]) -> Rate[str]:
    sets = _sent().aggregate(sets=Sum("box__size__sets", default=0))["sets"]
    return Rate("", said.count(), sets)


def _months(said: QuerySet[Complaint]) -> list[Rate[date]]:
    zone = timezone.get_current_timezone()
    month = TruncMonth("shipment__sent_at", tzinfo=zone)
    sent = _sent().order_by().annotate(month=month).values_list("month")
    sets = {
        at.date(): total for at, total in sent.annotate(sets=Sum("box__size__sets"))
    }
    received = said.order_by().values_list("pk", "received_on")
    told = rates(((pk, on.replace(day=1)) for pk, on in received), sets)
    quiet = [Rate(at, 0, total) for at, total in sets.items()]
    months = {rate.key: rate for rate in (*quiet, *told)}
    return [months[at] for at in sorted(months, reverse=True)[:MONTHS]]
