"""Recall drills: begun, listed, called, ended. They hold nothing and write to nobody."""

from __future__ import annotations

import secrets
from dataclasses import dataclass

from dispatch.domain.effectiveness import in_order
from dispatch.drills.queries import Located, consignees_of, located, lots_sent
from dispatch.models import Drill, DrillCall, DrillEnd, DrillList
from dispatch.models.drills import LONGEST
from kitting.domain.errors import Conflict, Refused
from kitting.ledger import locking
from kitting.ledger.needs import need_row, need_text
from kitting.ledger.operations import Act, Sign, perform
from kitting.models import Bag, Lot


@dataclass(frozen=True)
class Begun:
    """A drill that runs."""

    drill_id: int
    lot: str


def begin_drill(*, calling: bool, sign: Sign, seed: str = "") -> Begun:
    """Begin a drill: draw a lot among those with boxes that were sent.

    Args:
        calling: Whether the consignees are called as well.
        sign: Who, when and the operation key.
        seed: By which the lot is drawn. Only the demo and tests give one; else it is
            made by chance.

    Returns:
        The drill. Its clock runs from the moment of this act.

    Raises:
        Conflict: ``drill_running``.
        Refused: ``drill_no_lot``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Begun:
        locking.shut_gate()  # nothing leaves meanwhile, and nobody begins another
        running = Drill.objects.filter(end=None).select_related("operation").first()
        if running is not None:
            raise Conflict("drill_running", by=running.operation.by_name)
        known = list(lots_sent().values_list("number", flat=True))
        if not known:
            raise Refused("drill_no_lot")
        chance = seed or secrets.token_hex(16)
        lot = Lot.objects.get(number=in_order(chance, known)[0])
        drill = Drill(lot=lot, seed=chance, lots=len(known), calling=calling)
        act.write(drill)
        return Begun(drill.pk, lot.number)

    return perform("begin_drill", work, Begun, sign, calling=calling, seed=seed)


def list_drill(*, drill_id: int, sign: Sign) -> Located:
    """Say that the list of a drill is complete, and what is located by then.

    Args:
        drill_id: The drill.
        sign: Who, when and the operation key.

    Returns:
        What is known of its lot, by its balance.

    Raises:
        Conflict: ``drill_listed``, ``drill_over``.
        Missing: ``row_missing``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Located:
        locking.shut_gate()
        drill = _need_running(drill_id)
        done = DrillList.objects.filter(drill=drill).select_related("operation").first()
        if done is not None:
            raise Conflict("drill_listed", by=done.operation.by_name)
        # Nothing of it moves meanwhile, so that the balance is that of this act.
        lot = locking.lock_row(Lot, drill.lot_id, "part")
        locking.lock_found(Bag.objects.filter(lot=lot))
        found = located(lot)
        act.write(DrillList(drill=drill, **vars(found)))
        return found

    return perform("list_drill", work, Located, sign, drill=drill_id)


def _need_running(drill_id: int) -> Drill:
    """Need a drill that is not over; needs the gate shut."""
    drill = need_row(Drill.objects.filter(pk=drill_id).select_related("lot"))
    end = DrillEnd.objects.filter(drill=drill).select_related("operation").first()
    if end is not None:
        raise Conflict("drill_over", by=end.operation.by_name)
    return drill


@dataclass(frozen=True)
class Rung:
    """A call in a drill."""

    name: str


def note_drill_call(
    *, drill_id: int, code: str, answered: bool, said_by: str, sign: Sign
) -> Rung:
    """Note a call to a consignee in a drill.

    Args:
        drill_id: The drill.
        code: The consignee.
        answered: Whether somebody answered.
        said_by: Who did, as written; empty where nobody did.
        sign: Who called, when and the operation key.

    Returns:
        The consignee.

    Raises:
        Conflict: ``drill_over``.
        Missing: ``row_missing`` if there is no such drill.
        Refused: ``drill_calls_nobody``, ``drill_list_first``, ``drill_not_reached``,
            ``entry_missing``, ``entry_too_long``, ``entry_not_shown``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Rung:
        locking.shut_gate()  # no box moves on meanwhile, and nobody ends the drill
        drill = _need_running(drill_id)
        if not drill.calling:
            raise Refused("drill_calls_nobody")
        if not DrillList.objects.filter(drill=drill).exists():
            raise Refused("drill_list_first")
        known = {each.code: each for each in consignees_of(drill.lot)}
        if code not in known:
            raise Refused("drill_not_reached", name=code)
        who = need_text("name", said_by, LONGEST["said_by"]) if answered else ""
        whom = known[code]
        act.write(
            DrillCall(drill=drill, consignee=whom, answered=answered, said_by=who)
        )
        return Rung(whom.name)

    return perform(
        "note_drill_call",
        work,
        Rung,
        sign,
        drill=drill_id,
        code=code,
        answered=answered,
        said_by=said_by,
    )


@dataclass(frozen=True)
class Ended:
    """A drill that is over."""

    drill_id: int


def end_drill(*, drill_id: int, remarks: str, sign: Sign) -> Ended:
    """End a drill; one whose list was never complete as well.

    Args:
        drill_id: The drill.
        remarks: What went well, and what is to be better next time.
        sign: Who, when and the operation key.

    Returns:
        The drill.

    Raises:
        Conflict: ``drill_over``.
        Missing: ``row_missing``.
        Refused: ``entry_missing``, ``entry_too_long``, ``entry_not_shown``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Ended:
        locking.shut_gate()
        drill = _need_running(drill_id)
        said = need_text("text", remarks, LONGEST["remarks"])
        act.write(DrillEnd(drill=drill, remarks=said))
        return Ended(drill.pk)

    return perform("end_drill", work, Ended, sign, drill=drill_id, remarks=remarks)
