"""Inner steps of whatever goes to a consignee: whether it can, and to which point."""

from __future__ import annotations

from collections.abc import Mapping

from django.db.models import Q, QuerySet

from dispatch.consignees.queries import points_of
from dispatch.models import Consignee, Merging
from kitting.domain.errors import Refused
from kitting.ledger import locking
from kitting.ledger.operations import Act
from kitting.models import Workshop


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


def lock_with_merged(act: Act, rows: QuerySet[Consignee]) -> dict[int, Consignee]:
    """Lock consignees with all that were merged into the same one.

    Args:
        act: The act.
        rows: The consignees.

    Returns:
        All of them, by id, as they are on record.
    """
    locking.lock_row(Workshop, act.workshop.pk)  # one merging at a time
    into = rows.exclude(merged_into=None).order_by().values("merged_into")
    asked = rows.order_by().values("pk")
    family = Consignee.objects.filter(Q(pk__in=asked) | Q(merged_into__in=into))
    return locking.lock_rows(Consignee, family.values_list("pk", flat=True))


def part(opened: Consignee, family: Mapping[int, Consignee]) -> None:
    """Undo the merging of a consignee that is opened again.

    Those that led to one by it lead to it once more, and not to where it had led.

    Args:
        opened: The consignee as it is on record; the caller opens it.
        family: From ``lock_with_merged``, with it.
    """
    if opened.merged_into_id is None:
        return
    told = Merging.objects.filter(consignee__in=family).order_by("pk")
    led: dict[int | None, int] = dict(told.values_list("consignee", "into"))
    for pk, row in family.items():
        if pk == opened.pk or row.merged_into_id != opened.merged_into_id:
            continue
        to = led.get(pk)
        while to not in (None, opened.pk, row.merged_into_id):
            to = led.get(to)
        if to == opened.pk:
            row.merged_into = opened
            row.save()


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
