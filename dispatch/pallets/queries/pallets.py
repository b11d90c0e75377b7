"""What the pages of pallets show: those there are, what stands on one, what stops it."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date

from django.db.models import Q

from dispatch.domain.pallets import PalletStage
from dispatch.models import Pallet, PalletEvent, PalletScan, Shipment
from dispatch.pallets.labels import shipments_of, with_boxes
from kitting.domain import numbers
from kitting.domain.errors import Missing, Refused
from kitting.domain.shown import shown
from kitting.domain.stages import BoxStage, ShipmentStage
from kitting.ledger.reach import Reach, holds_on_boxes
from kitting.ledger.standing import target_of
from kitting.models import Box
from kitting.web import scans
from kitting.web.scans import Found, nothing_has

LATELY = 20
"""How many pallets that left or were broken up the page of pallets shows."""

_WORDS = {
    numbers.Kind.SHIPMENT: "shipment",
    numbers.Kind.REQUEST: "request",
    numbers.Kind.ALLOTMENT: "allotment",
    numbers.Kind.PALLET: "pallet",
}


@dataclass(frozen=True)
class Row:
    """A pallet as it is now."""

    pallet: Pallet
    """With ``boxes`` and ``sets``."""
    shipment: Shipment | None
    """On which it is, or with which it left."""

    @property
    def is_open(self) -> bool:
        """Whether boxes go on it and come off it."""
        return self.pallet.stage == PalletStage.OPEN and self.shipment is None

    @property
    def left(self) -> bool:
        """Whether it left with its shipment."""
        return self.shipment is not None and self.shipment.stage != ShipmentStage.OPEN


@dataclass(frozen=True)
class Standing:
    """A box that stands on a pallet."""

    box_id: int
    box: str
    product: str
    sets: int
    packed_on: date | None
    use_by: date | None
    stage: str
    held: str
    """On what the first hold stands that reaches it, and why; empty if none does."""
    past: bool
    """Whether it is past its use-by date."""
    stays: bool
    """Whether it must be taken off before the pallet is loaded."""


def row_of(pallet: Pallet) -> Row:
    """Read a pallet as it is now.

    Args:
        pallet: The pallet.

    Returns:
        With its figures and its shipment.
    """
    return _rows(with_boxes(Pallet.objects.filter(pk=pallet.pk)))[0]


def _rows(pallets: Iterable[Pallet]) -> list[Row]:
    every = list(pallets)
    on = shipments_of([row.pk for row in every])
    return [Row(row, on.get(row.pk)) for row in every]


def every_pallet() -> tuple[list[Row], list[Row]]:
    """The pallets that are here, and those that left or were broken up lately.

    Returns:
        Both newest first.
    """
    gone = Pallet.objects.filter(
        loads__live=True, loads__shipment__sent_at__isnull=False
    )
    here = Pallet.objects.filter(stage=PalletStage.OPEN).exclude(pk__in=gone)
    ended = Pallet.objects.exclude(pk__in=here).order_by("-pk")
    lately = [*ended.values_list("pk", flat=True)[:LATELY]]
    return (
        _rows(with_boxes(here)),
        _rows(with_boxes(Pallet.objects.filter(pk__in=lately))),
    )


def why_broken_up(pallet: Pallet) -> PalletEvent | None:
    """The event by which a pallet was broken up; None of one that was not."""
    events = pallet.events.filter(after=PalletStage.BROKEN_UP)
    return events.select_related("operation").first()


def standing_on(pallet: Pallet, reach: Reach, today: date) -> list[Standing]:
    """The boxes on a pallet, the one that was scanned last first.

    Args:
        pallet: The pallet.
        reach: What ``told_holds`` reach.
        today: The workshop's day.

    Returns:
        The boxes, each with what stops it.
    """
    scanned = PalletScan.objects.filter(pallet=pallet, on=True).order_by("pk")
    order = dict(scanned.values_list("box", "pk"))
    live = Q(pallet_boxes__pallet=pallet, pallet_boxes__live=True)
    found = _standing(live, reach, today)
    return sorted(found, key=lambda box: order.get(box.box_id, 0), reverse=True)


def stays(box_id: int, reach: Reach, today: date) -> bool:
    """Whether a box may not go: it is held, past its date, voided or came back.

    Args:
        box_id: The box.
        reach: What the standing holds reach.
        today: The workshop's day.
    """
    return any(box.stays for box in _standing(Q(pk=box_id), reach, today))


def _standing(which: Q, reach: Reach, today: date) -> list[Standing]:
    boxes = list(Box.objects.filter(which).select_related("size__product"))
    holds = holds_on_boxes([box.pk for box in boxes], reach)
    found = []
    for box in boxes:
        held = [f"{target_of(one)}: {one.reason}" for one in holds.get(box.pk, ())]
        past = box.use_by is not None and box.use_by < today
        bad = box.stage in (BoxStage.VOIDED, BoxStage.RETURNED)
        found.append(
            Standing(
                box_id=box.pk,
                box=str(box),
                product=box.size.product.name,
                sets=box.size.sets,
                packed_on=box.packed_on,
                use_by=box.use_by,
                stage=box.stage,
                held=held[0] if held else "",
                past=past,
                stays=bool(held) or past or bad,
            )
        )
    return found


def pallets_of(boxes: Collection[int]) -> dict[int, str]:
    """Give the pallets on which boxes stand.

    Args:
        boxes: Ids of boxes.

    Returns:
        The number by box; a box on no pallet is not in it.
    """
    live = Pallet.objects.filter(pallet_boxes__box__in=boxes, pallet_boxes__live=True)
    return dict(live.values_list("pallet_boxes__box", "number"))


def pallet_named(number: str) -> Pallet:
    """Find a pallet by its number.

    Args:
        number: As a page shows it.

    Returns:
        The pallet.

    Raises:
        Missing: ``row_missing``.
    """
    found = Pallet.objects.filter(number=number).first()
    if found is None:
        raise Missing("row_missing", what="pallet")
    return found


def scanned(text: str) -> Box | Pallet:
    """Find the box or pallet whose label was scanned or number typed.

    Args:
        text: As it came from the scanner or the keyboard.

    Returns:
        The box or pallet.

    Raises:
        CodeError: If it can be no number at all.
        Missing: ``box_unknown``, ``made_after_backup``.
        Refused: ``scan_not_a_box`` if it names something else.
    """
    try:
        found = scans.read(text)
        kind = numbers.looks_like(found.text)
        if isinstance(found.row, Box):
            return found.row
        if kind is numbers.Kind.PALLET:
            return _with_number(found.text)
    except Missing as error:
        if error.code != "nothing_has_number":
            raise
        raise Missing("box_unknown", **error.params) from error
    raise _not_a_box(found, kind)


def _with_number(number: str) -> Pallet:
    pallet = Pallet.objects.filter(number=number).first()
    if pallet is None:
        raise nothing_has(number)
    return pallet


def _not_a_box(found: Found, kind: numbers.Kind | None) -> Refused:
    words = found.kind if kind is None else _WORDS.get(kind, found.kind)
    return Refused("scan_not_a_box", read=shown(found.text), kind=words)


def box_scanned(text: str) -> int:
    """Find the box whose label was scanned or number typed.

    Args:
        text: As it came from the scanner or the keyboard.

    Returns:
        The box's id.

    Raises:
        CodeError: If it can be no number at all.
        Missing: ``box_unknown``, ``made_after_backup``.
        Refused: ``scan_not_a_box`` if it names something else.
    """
    found = scanned(text)
    if isinstance(found, Pallet):
        number = Found("number", None, found.number)
        raise _not_a_box(number, numbers.Kind.PALLET)
    return found.pk
