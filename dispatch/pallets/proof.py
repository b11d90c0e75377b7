"""Pallets: what was scanned onto them is on them, and goes where they go."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from django.db.models import Count, Exists, F, OuterRef, Q, QuerySet, Subquery

from dispatch.domain.pallets import PalletStage
from dispatch.models import Pallet, PalletBox, PalletEvent, PalletScan, ShipmentBox
from kitting.domain import gs1, numbers
from kitting.domain.errors import CodeError
from kitting.ledger.proof import register
from kitting.ledger.proof.faults import Tally
from kitting.ledger.proof.newest import register_newest
from kitting.ledger.proof.stages import replay
from kitting.ledger.proof.streams import Ids, composed, only, rows
from kitting.ledger.proof.turns import by_turns
from kitting.models import Box

PALLET = Pallet._meta.db_table
LOAD = ShipmentBox._meta.db_table
ON = PalletBox._meta.db_table

_MOVES = {PalletStage.OPEN: {PalletStage.BROKEN_UP}}


def scans(tally: Tally, ids: Ids = None) -> None:
    """A box is on a pallet if its last scan put it there, and on no other.

    Args:
        tally: Where scans are counted and faults noted.
        ids: The pallets; None for all of them.
    """
    every, made = PalletBox.objects.all(), PalletScan.objects.all()
    by_turns(tally, every, made, ids, of="pallet")


def stages(tally: Tally, ids: Ids = None) -> None:
    """Replay the events of every pallet; nothing stands on one that was broken up.

    Args:
        tally: Where events are counted and faults noted.
        ids: The pallets; None for all of them.
    """
    every = only(Pallet.objects.all(), "pk", ids)
    events = only(PalletEvent.objects.all(), "pallet_id", ids)
    replay(tally, every, events, "pallet_id", _MOVES)
    left = PalletBox.objects.filter(live=True, pallet__stage=PalletStage.BROKEN_UP)
    for pk, box in rows(
        only(left.order_by("pk"), "pallet_id", ids).values_list("pk", "box_id")
    ):
        words = "A box stands on a pallet that was broken up."
        tally.add(ON, pk, words, "none", box)


def numbered(tally: Tally) -> None:
    """Every number and SSCC of a pallet checks out, and no box has the same SSCC.

    Args:
        tally: Where pallets are counted and faults noted.
    """
    twice = Exists(Box.objects.filter(sscc=OuterRef("sscc")))
    found = Pallet.objects.order_by("pk").annotate(twice=twice)
    for pk, number, sscc, of_a_box in rows(
        found.values_list("pk", "number", "sscc", "twice")
    ):
        tally.count += 1
        try:
            kind = str(numbers.read(number).kind)
        except CodeError as error:
            kind = error.code
        right = str(numbers.Kind.PALLET)
        tally.same(PALLET, pk, "Its number is none of a pallet.", right, kind)
        if sscc is not None and not gs1.sscc_ok(sscc):
            tally.add(PALLET, pk, "Its SSCC is none.", "a right check digit", sscc)
        if of_a_box:
            tally.add(PALLET, pk, "A box has its SSCC.", "one of its own", sscc)


def whole(tally: Tally) -> None:
    """A pallet is on one shipment with all of its boxes, or with none of them.

    Args:
        tally: Where boxes on pallets are counted and faults noted.
    """
    tally.count += PalletBox.objects.filter(live=True).count()
    wrong, loads, several = _whole()
    for pk, pallet, by in rows(wrong):
        words = "A box on a pallet goes otherwise than the pallet does."
        tally.add(ON, pk, words, pallet, by)
    for pk, pallet in rows(loads):
        words = "A box is on a shipment by a pallet on which it does not stand."
        tally.add(LOAD, pk, words, "none", pallet)
    for pallet, shipments in rows(several):
        tally.add(PALLET, pallet, "It is on several shipments.", 1, shipments)


@composed
def _whole() -> Iterator[QuerySet[Any, Any]]:
    """Boxes that go without their pallet, or by one they are not on; pallets on several."""
    live = ShipmentBox.objects.filter(box=OuterRef("box"), live=True)
    standing = PalletBox.objects.filter(live=True).order_by("pk")
    its = ShipmentBox.objects.filter(pallet=OuterRef("pallet"), live=True)
    found = standing.annotate(
        by=Subquery(live.values("pallet")[:1]), on=Exists(live), goes=Exists(its)
    )
    wrong = found.filter(
        Q(on=True) & (Q(by=None) | ~Q(by=F("pallet"))) | Q(on=False, goes=True)
    )
    yield wrong.values_list("pk", "pallet_id", "by")
    stands = PalletBox.objects.filter(
        live=True, box=OuterRef("box"), pallet=OuterRef("pallet")
    )
    loads = ShipmentBox.objects.filter(live=True, pallet__isnull=False).order_by("pk")
    yield loads.exclude(Exists(stands)).values_list("pk", "pallet_id")
    several = (
        loads.order_by("pallet")
        .values_list("pallet")
        .annotate(shipments=Count("shipment", distinct=True))
    )
    yield several.filter(shipments__gt=1)


register(
    ("pallet stages", "events", stages, Pallet, PalletEvent, PalletBox),
    ("pallet scans", "scans", scans, PalletBox, PalletScan),
    ("pallet numbers", "pallets", numbered, Pallet),
    ("pallets", "boxes", whole, PalletBox, ShipmentBox),
)
for each in (("pallet stages", "events", stages), ("pallet scans", "scans", scans)):
    register_newest(*each, (PalletEvent, "pallet_id"), (PalletScan, "pallet_id"))
