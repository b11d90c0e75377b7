"""Placing and lifting holds."""

from __future__ import annotations

from dataclasses import dataclass

from kitting.domain.errors import Missing, Refused, WrongStage
from kitting.domain.stages import GONE, IN_HOUSE
from kitting.ledger import locking
from kitting.ledger.needs import need_another, need_reason, need_row
from kitting.ledger.operations import Act, Sign, perform
from kitting.ledger.reach import fold, held_boxes, reach_of
from kitting.models import Box, Hold, Lift, Lot
from kitting.models.holds import TARGETS


@dataclass(frozen=True)
class Held:
    """A hold as it was placed."""

    hold_id: int
    boxes_here: int
    """Boxes in the workshop that it stops."""
    boxes_gone: int
    """Boxes it reaches that have left: their consignees must be told."""


@dataclass(frozen=True)
class Lifted:
    """A hold that stands no longer."""

    hold_id: int


def place_hold(*, target: str, value: int | str, reason: str, sign: Sign) -> Held:
    """Put a hold on a thing; it acts at once on everything derived from it.

    Args:
        target: One of ``kitting.models.holds.TARGETS``.
        value: The thing's id; for a source its name.
        reason: Why, for everybody who meets the hold.
        sign: Who, when and the operation key.

    Returns:
        The hold and how many boxes it reaches.

    Raises:
        Missing: ``row_missing`` if there is no such thing, or nothing from that source.
        Refused: ``hold_target_unknown``, ``reason_missing``, ``entry_too_long``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Held:
        locking.shut_gate()
        hold = hold_on(target, value, reason)
        act.write(hold)
        reached = held_boxes(reach_of([hold]))
        stages = Box.objects.filter(pk__in=reached).values_list("stage", flat=True)
        found = list(stages)
        return Held(
            hold_id=hold.pk,
            boxes_here=sum(stage in IN_HOUSE for stage in found),
            boxes_gone=sum(stage in GONE for stage in found),
        )

    return perform(
        "place_hold", work, Held, sign, target=target, value=value, reason=reason
    )


def hold_on(target: str, value: int | str, reason: str) -> Hold:
    """Make a hold that is yet to be written; needs the gate shut.

    Args:
        target: One of ``kitting.models.holds.TARGETS``.
        value: The thing's id; for a source its name.
        reason: Why, for everybody who meets the hold.

    Returns:
        The hold.

    Raises:
        Missing: ``row_missing``.
        Refused: ``hold_target_unknown``, ``reason_missing``, ``entry_too_long``.
    """
    if target not in TARGETS:
        raise Refused("hold_target_unknown", target=target)
    name = target if target == "source" else f"{target}_id"
    hold = Hold(**{name: value}, reason=need_reason(reason))
    _need_target(hold, target)
    return hold


def _need_target(hold: Hold, target: str) -> None:
    if target == "source":
        if not Lot.objects.filter(source_key=fold(str(hold.source))).exists():
            raise Missing("row_missing", what=target)
        return
    model = Hold._meta.get_field(target).related_model
    pk = getattr(hold, f"{target}_id")
    if not model._default_manager.filter(pk=pk).exists():  # type: ignore[union-attr]
        raise Missing("row_missing", what=target)


def lift_hold(*, hold_id: int, reason: str, sign: Sign) -> Lifted:
    """End one hold; others on the same thing go on standing.

    Where the workshop asks for two people, whoever placed it does not lift it.

    Args:
        hold_id: The hold.
        reason: Why it may end.
        sign: Who, when and the operation key.

    Returns:
        The hold that ended.

    Raises:
        Missing: If there is no such hold.
        Refused: ``hold_own``, ``reason_missing``, ``entry_too_long``.
        WrongStage: ``hold_lifted`` if it was lifted before.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Lifted:
        locking.shut_gate()
        hold = need_row(Hold.objects.filter(pk=hold_id).select_related("operation"))
        need_another(act, [hold.operation.by_id], "hold_own")
        why = need_reason(reason)
        if Lift.objects.filter(hold=hold).exists():
            raise WrongStage("hold_lifted")
        act.write(Lift(hold=hold, reason=why))
        return Lifted(hold_id=hold_id)

    return perform("lift_hold", work, Lifted, sign, hold=hold_id, reason=reason)
