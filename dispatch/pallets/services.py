"""Pallets: begun, built box by box, broken up again."""

from __future__ import annotations

from dataclasses import dataclass

from dispatch.domain.pallets import PalletStage
from dispatch.models import Pallet
from dispatch.pallets.labels import prints_of
from dispatch.pallets.steps import (
    lock_open_pallet,
    lock_whole,
    move_pallet,
    pallet_of,
    refuse_loaded,
    refuse_on_another,
    refuse_unfit,
    refuse_unlabelled,
    stack,
    unstack,
)
from kitting.domain import numbers
from kitting.domain.errors import Conflict, Refused
from kitting.ledger import locking
from kitting.ledger.counters import take, take_sscc
from kitting.ledger.needs import need_reason
from kitting.ledger.operations import Act, Sign, perform
from kitting.models import Box
from kitting.printing.steps import stop_jobs


@dataclass(frozen=True)
class Begun:
    """A pallet that takes boxes."""

    pallet: str
    sscc: str | None
    """None in a workshop without a GS1 prefix."""


@dataclass(frozen=True)
class Stacked:
    """A box on or off a pallet."""

    pallet: str
    box: str
    boxes: int
    """Boxes on the pallet now."""


@dataclass(frozen=True)
class BrokenUp:
    """A pallet that is none any more."""

    pallet: str
    boxes: int
    """Boxes that stood on it."""


def begin_pallet(*, sign: Sign) -> Begun:
    """Begin a pallet with the next number, and SSCC where the workshop has a prefix.

    Args:
        sign: Who, when and the operation key.

    Returns:
        The pallet.

    Raises:
        CodeError: ``sscc_used_up``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Begun:
        pallet = Pallet(stage="", events_seen=0)
        event = move_pallet(pallet, PalletStage.OPEN)
        pallet.number = take(act.workshop.site, numbers.Kind.PALLET)[0]
        pallet.sscc = take_sscc(act.workshop)
        pallet.save(force_insert=True)
        act.write(event)
        return Begun(pallet=pallet.number, sscc=pallet.sscc)

    return perform("begin_pallet", work, Begun, sign)


def stack_box(*, pallet_id: int, box_id: int, sign: Sign) -> Stacked:
    """Put a box that is ready to go onto a pallet.

    Args:
        pallet_id: The pallet; on no shipment.
        box_id: The box; labelled, not held, on no other pallet and no shipment.
        sign: Who, when and the operation key.

    Returns:
        The box and how many boxes are on now.

    Raises:
        Conflict: If it is on this or another pallet or on a shipment already, or left;
            ``pallet_in_shipment``, ``pallet_left``.
        Missing: If the pallet or box is not there.
        OnHold: If it or anything in it is held; the hold is named.
        Refused: ``box_past_use_by``.
        WrongStage: If it is not labelled; ``pallet_broken_up``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Stacked:
        locking.enter_gate()
        box = locking.lock_row(Box, box_id)
        pallet = lock_open_pallet(pallet_id)
        refuse_loaded(pallet)
        refuse_on_another(box)
        on = pallet_of(box)
        if on is not None:
            here = on.pk == pallet.pk
            code = "box_on_this_pallet" if here else "box_on_another_pallet"
            raise Conflict(code, box=str(box), pallet=on.number)
        refuse_unlabelled(box)
        refuse_unfit([box], act)
        act.write(stack(pallet, box))
        return _stacked(pallet, box)

    return perform("stack_box", work, Stacked, sign, pallet=pallet_id, box=box_id)


def _stacked(pallet: Pallet, box: Box) -> Stacked:
    boxes = pallet.pallet_boxes.filter(live=True).count()
    return Stacked(pallet=pallet.number, box=str(box), boxes=boxes)


def _stop_labels_of(pallet: Pallet, act: Act) -> None:
    """Cancel its labels that wait for a printer: the count on them is no longer so."""
    stop_jobs(prints_of([pallet.pk]), act.now)


def unstack_box(*, pallet_id: int, box_id: int, sign: Sign) -> Stacked:
    """Take a box off a pallet again: put on by mistake, or held or voided since.

    Args:
        pallet_id: The pallet; on no shipment.
        box_id: The box; on that pallet.
        sign: Who, when and the operation key.

    Returns:
        The box and how many boxes are on now.

    Raises:
        Conflict: ``pallet_in_shipment``, ``pallet_left``.
        Missing: If the pallet or box is not there.
        Refused: ``box_not_on_pallet``.
        WrongStage: ``pallet_broken_up``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Stacked:
        box = locking.lock_row(Box, box_id)
        pallet = lock_open_pallet(pallet_id)
        refuse_loaded(pallet)
        on = pallet_of(box)
        if on is None or on.pk != pallet.pk:
            raise Refused("box_not_on_pallet", box=str(box), pallet=pallet.number)
        act.write(*unstack(pallet, [box]))
        _stop_labels_of(pallet, act)
        return _stacked(pallet, box)

    return perform("unstack_box", work, Stacked, sign, pallet=pallet_id, box=box_id)


def break_up_pallet(*, pallet_id: int, reason: str, sign: Sign) -> BrokenUp:
    """Break a pallet up: its boxes stand by themselves, its number is used no more.

    Args:
        pallet_id: The pallet; on no shipment. It may be empty.
        reason: Why.
        sign: Who, when and the operation key.

    Returns:
        The pallet and how many boxes stood on it.

    Raises:
        Conflict: ``pallet_changed``, ``pallet_in_shipment``, ``pallet_left``.
        Missing: If there is no such pallet.
        Refused: ``reason_missing``, ``entry_too_long``.
        WrongStage: ``pallet_broken_up``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> BrokenUp:
        why = need_reason(reason)
        pallet, boxes = lock_whole(pallet_id)
        refuse_loaded(pallet)
        event = move_pallet(pallet, PalletStage.BROKEN_UP, why)
        scans = unstack(pallet, boxes.values())
        pallet.save(update_fields=["stage", "events_seen"])
        _stop_labels_of(pallet, act)
        act.write(event, *scans)
        return BrokenUp(pallet=pallet.number, boxes=len(boxes))

    return perform(
        "break_up_pallet", work, BrokenUp, sign, pallet=pallet_id, reason=reason
    )
