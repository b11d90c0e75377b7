"""What comes back from a consignee: into quarantine, and never to stock.

A box that comes back whole, opened or not, is returned with all its pieces; voiding it
scraps them, and nothing else leads on, unless it was the wrong box. Of loose sets
nobody can tell of which lots their pieces are: they are on record by their box, and
their pieces still count as sent, with the consignee that a recall has to ask.
"""

from __future__ import annotations

from dataclasses import dataclass

from django.db.models import Q, Sum

from dispatch.models import (
    Replacement,
    Request,
    Return,
    ReturnUndone,
    Shipment,
    ShipmentBox,
)
from dispatch.receipts.queries.deliveries import has_arrived, standing
from dispatch.requests.steps import serve
from kitting.domain.errors import Conflict, Refused, WrongStage
from kitting.domain.stages import GONE, BoxStage
from kitting.ledger import bulk, locking
from kitting.ledger.needs import need_reason, need_row
from kitting.ledger.operations import Act, Sign, perform
from kitting.models import Box, BoxPut
from kitting.models.catalogue import PlaceKind
from kitting.packing.steps import move_box
from kitting.places.steps import place_at_the_gate


@dataclass(frozen=True)
class CameBack:
    """A box that came back, or some of its sets."""

    box: str
    sets: int
    whole: bool
    """Whether all of its sets are back now."""
    stage: str
    place: str


def record_return(
    *, box_id: int, sets: int, opened: bool, place_id: int, note: str, sign: Sign
) -> CameBack:
    """Record that a box came back, or loose sets of one; they stand in quarantine.

    With its last sets the box is returned. One that came back unopened serves its
    request no more: its consignee lacks those sets, and the request is open again; unless
    a request that stands is in its place; see ``Replacement``.

    Args:
        box_id: The box; it has left.
        sets: How many of its sets came back.
        opened: Whether it was opened, or the sets are loose.
        place_id: Where they stand: a quarantine.
        note: Why they came back, and in what state.
        sign: Who, when and the operation key.

    Returns:
        The box.

    Raises:
        Missing: If there is no such box or place.
        Refused: ``reason_missing``, ``entry_too_long``; ``quarantine_only``,
            ``place_closed``; ``sets_not_in_box`` if so many cannot have come back.
        WrongStage: ``box_not_gone``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> CameBack:
        why = need_reason(note)
        place = place_at_the_gate(place_id)
        box = locking.lock_row(Box, box_id, "size")
        if box.stage not in GONE:
            raise WrongStage("box_not_gone", box=str(box), stage=box.stage)
        if place.kind != PlaceKind.QUARANTINE:
            raise Refused("quarantine_only", thing=str(box), place=place.name)
        load = need_row(ShipmentBox.objects.filter(box=box, live=True))
        locking.lock_row(Shipment, load.shipment_id)
        before = standing(box).aggregate(sets=Sum("sets"))["sets"] or 0
        if not 1 <= sets <= box.size.sets - before:
            raise Refused(
                "sets_not_in_box", box=str(box), sets=box.size.sets, before=before
            )
        whole = before + sets == box.size.sets
        row = Return(
            box=box,
            sets=sets,
            opened=opened or sets < box.size.sets,
            place=place,
            note=why,
        )
        if whole:
            event = move_box(box, BoxStage.RETURNED, why)
            box.place = place
            bulk.update([box], ["stage", "events_seen", "place"])
            act.write(event, BoxPut(box=box, place=place), row)
        else:
            act.write(row)
        if whole and not row.opened and not _replaced(box, load):
            load.back = True
            bulk.update([load], ["back"])
            serve(load.shipment_id)
        return CameBack(str(box), sets, whole, str(box.stage), place.code)

    return perform(
        "record_return",
        work,
        CameBack,
        sign,
        box=box_id,
        sets=sets,
        opened=opened,
        place=place_id,
        note=note,
    )


def _replaced(box: Box, load: ShipmentBox) -> bool:
    """Lock all requests that it may open or that replace it: none is cancelled now."""
    found = Request.objects.filter(
        Q(replaces__listed__box=box)
        | Q(loads__shipment=load.shipment_id, loads__live=True)
    )
    locking.lock_rows(Request, found.values_list("pk", flat=True))
    return Replacement.standing().filter(listed__box=box).exists()


@dataclass(frozen=True)
class Undone:
    """A return that was none."""

    box: str
    sets: int
    stage: str
    """That of the box now."""
    reason: str


def undo_return(*, return_id: int, reason: str, sign: Sign) -> Undone:
    """Say that a return was recorded for the wrong box: it did not come back.

    The return stays on record, and this beside it. A box that was returned by it is with
    its consignee again, and serves its request again if it was unopened.

    Args:
        return_id: The return; the newest of its box.
        reason: How it is known.
        sign: Who, when and the operation key.

    Returns:
        The box.

    Raises:
        Conflict: ``return_undone`` already.
        Missing: If there is no such return.
        Refused: ``reason_missing``, ``entry_too_long``; ``returned_since`` where more of
            the box came back later, ``moved_since`` where the box was put elsewhere.
        WrongStage: ``box_voided_since``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Undone:
        locking.enter_gate()  # A case that closes counts what is out.
        why = need_reason(reason)
        row = need_row(Return.objects.filter(pk=return_id))
        box = locking.lock_row(Box, row.box_id, "size")
        load = need_row(ShipmentBox.objects.filter(box=box, live=True))
        shipment = locking.lock_row(Shipment, load.shipment_id)
        _refuse_since(row, box)
        act.write(ReturnUndone(returned=row, reason=why))
        if box.stage == BoxStage.RETURNED:
            to = BoxStage.DELIVERED if has_arrived(shipment, box) else BoxStage.SENT
            act.write(move_box(box, to, why))
            bulk.update([box], ["stage", "events_seen"])
        if load.back:
            load.back = False
            bulk.update([load], ["back"])
            serve(load.shipment_id)
        return Undone(str(box), row.sets, str(box.stage), why)

    return perform(
        "undo_return",
        work,
        Undone,
        sign,
        returned=return_id,
        reason=reason,
    )


def _refuse_since(row: Return, box: Box) -> None:
    """Refuse what something rests on that happened since."""
    if ReturnUndone.objects.filter(returned=row).exists():
        raise Conflict("return_undone", box=str(box))
    newest = standing(box).latest("pk")
    if newest != row:
        raise Refused("returned_since", box=str(box), sets=newest.sets)
    if box.stage == BoxStage.VOIDED:
        raise WrongStage("box_voided_since", box=str(box))
    put = BoxPut.objects.filter(box=box).order_by("-pk").first()
    if box.stage == BoxStage.RETURNED and put and put.operation_id != row.operation_id:
        raise Refused("moved_since", box=str(box), place=str(put.place or "–"))
