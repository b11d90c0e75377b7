"""Complaints: each has a number of its kind, and is about what that number names."""

from __future__ import annotations

from datetime import timedelta, timezone

from django.db.models import F, OuterRef, Q, Subquery
from django.db.models.functions import Coalesce

from dispatch.models import Complaint
from kitting.domain import numbers
from kitting.domain.errors import CodeError
from kitting.ledger.proof import register
from kitting.ledger.proof.faults import Tally
from kitting.ledger.proof.streams import rows
from kitting.models import Bag

COMPLAINT = Complaint._meta.db_table


def complaints(tally: Tally) -> None:
    """A complaint has a number of its kind and a day that was, and what it is about.

    Args:
        tally: Where complaints are counted and faults noted.
    """
    told = ("pk", "number", "received_on", "operation__at")
    earliest = timezone(timedelta(hours=14))  # where a day begins first
    for pk, number, received, at in rows(
        Complaint.objects.order_by("pk").values_list(*told)
    ):
        tally.count += 1
        try:
            kind = str(numbers.read(number).kind)
        except CodeError as error:
            kind = error.code
        right = str(numbers.Kind.COMPLAINT)
        tally.same(COMPLAINT, pk, "Its number is none of a complaint.", right, kind)
        if received > at.astimezone(earliest).date():
            words = "It was taken down before it was received."
            tally.add(COMPLAINT, pk, words, at, received)
    bag = Bag.objects.filter(number=OuterRef("about")).values("lot")[:1]
    of_box = Q(about=F("box__serial")) | Q(about=F("box__number"))
    of_lot = Q(about=F("lot__number")) | Q(lot=Coalesce(Subquery(bag), 0))
    other = Q(box__isnull=False) & ~of_box | Q(lot__isnull=False) & ~of_lot
    its = Complaint.objects.filter(other)
    tally.each(COMPLAINT, its, "What it is about has another number.")


register(("complaints", "complaints", complaints, Complaint))
