"""What a protocol covers: what it names, and what is covered like that by a signature."""

from __future__ import annotations

from datetime import date

from django.db.models import OuterRef, Q, QuerySet, Subquery

from kitting.models import Bag, Cover, Protocol, ProtocolLoad, RunBag


def protocols_in_force(today: date) -> QuerySet[Protocol]:
    """Protocols that are signed and in force on a day, held or not, by code and version.

    Args:
        today: The workshop's day.

    Returns:
        The protocols.
    """
    begun = Protocol.objects.filter(
        Q(in_force_until__isnull=True) | Q(in_force_until__gte=today),
        in_force_from__lte=today,
    )
    return begun.exclude(signed_by="").order_by("code", "version")


def covered_revisions(today: date) -> set[int]:
    """Revisions that a protocol in force covers on a day, by name or by a signature.

    Args:
        today: The workshop's day.

    Returns:
        Their ids.
    """
    under = {"protocol__in": protocols_in_force(today)}
    loads = ProtocolLoad.objects.filter(**under).order_by().values_list("revision")
    covers = standing_covers().filter(**under).order_by().values_list("revision")
    return {pk for (pk,) in loads.union(covers)}


def standing_covers() -> QuerySet[Cover]:
    """Covers that nobody has withdrawn."""
    return Cover.objects.filter(withdrawal__isnull=True)


def told_covers() -> QuerySet[Cover]:
    """Covers with what a page tells of them, also those that are withdrawn."""
    beside = ("revision__part", "like", "operation", "withdrawal__operation")
    return Cover.objects.select_related("protocol", *beside).order_by("pk")


def like_of(run: str, bag: str) -> Subquery:
    """The revision like which a bag went on in a run, to annotate rows of either with.

    Args:
        run: The column of the run.
        bag: The column of the bag.

    Returns:
        Its code; nothing where the protocol names its own.
    """
    stay = RunBag.objects.filter(run=OuterRef(run), bag=OuterRef(bag))
    return Subquery(stay.values("cover__like__code")[:1])


def load_of(
    bag: Bag, protocol_id: int, by: Cover | None = None
) -> tuple[ProtocolLoad | None, Cover | None]:
    """Find the load of a protocol that covers a bag.

    What the protocol names itself goes before what is covered like it.

    Args:
        bag: The bag, with its lot.
        protocol_id: The protocol.
        by: The cover that the bag went on by; else the one that stands now is used.

    Returns:
        The load, and the cover by which it is the bag's too; None for what there is not.
    """
    loads = ProtocolLoad.objects.filter(
        protocol=protocol_id, part=bag.lot.part_id, container=bag.container
    )
    if by is None:
        load = loads.filter(revision=bag.lot.revision_id).first()
        if load is not None:
            return load, None
        of = {"protocol": protocol_id, "revision": bag.lot.revision_id}
        by = standing_covers().filter(**of).first()
    if by is None:
        return None, None
    load = loads.filter(revision=by.like_id).first()
    return load, by if load else None
