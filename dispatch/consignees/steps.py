"""Inner steps of whatever goes to a consignee: whether it can, and to which point."""

from __future__ import annotations

from dispatch.consignees.queries import points_of
from dispatch.models import Consignee
from kitting.domain.errors import Refused
from kitting.ledger import locking


def need_consignee(consignee_id: int) -> Consignee:
    """Lock a consignee that something can be asked for and sent to.

    It stays open until the act is done, and its points as they are. Without the lock the
    act would hold the newest end of the journal, and wait at its own end for a change of
    the consignee that waits for that.

    Args:
        consignee_id: The consignee.

    Returns:
        The row, locked.

    Raises:
        Missing: If there is none.
        Refused: ``consignee_closed``.
    """
    consignee = locking.lock_row(Consignee, consignee_id)
    need_open(consignee)
    return consignee


def need_open(consignee: Consignee) -> None:
    """Refuse a consignee that nothing can be asked for and sent to.

    Args:
        consignee: The consignee, locked where an act rests on it.

    Raises:
        Refused: ``consignee_closed``.
    """
    if not consignee.active:
        raise Refused("consignee_closed", consignee=consignee.name)


def need_point(consignee: Consignee, point: str, was: str = "") -> str:
    """Tidy the name of a delivery point or ward.

    Args:
        consignee: Whose it is.
        point: As it was entered; small letters do not matter.
        was: What it was before; it stays good, though it is not on record any more.

    Returns:
        The name as it is on record; empty for none.

    Raises:
        Refused: ``point_unknown``.
    """
    bare = " ".join(point.split())
    known = {each.casefold(): each for each in [was, *points_of(consignee)]}
    if bare and bare.casefold() not in known:
        raise Refused(
            "point_unknown",
            consignee=consignee.name,
            read=bare,
            points="; ".join(points_of(consignee)) or "–",
        )
    return known.get(bare.casefold(), "") if bare else ""
