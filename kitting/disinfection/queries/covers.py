"""Like which revisions one can be covered, and by which protocol."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from kitting.disinfection.queries.protocols import ProtocolStage, stage_of
from kitting.ledger.covering import standing_covers
from kitting.models import Protocol, ProtocolLoad, Revision


@dataclass(frozen=True)
class Measured:
    """A revision that a protocol names, with what it says of it."""

    protocol: Protocol
    like: Revision
    loads: tuple[ProtocolLoad, ...]

    @property
    def key(self) -> str:
        """What a form sends for it."""
        return f"{self.protocol.pk}-{self.like.pk}"


def containers_of(protocol: Protocol, revision: Revision) -> set[str]:
    """The containers in which a protocol names a revision itself."""
    loads = protocol.loads.filter(revision=revision)
    return set(loads.values_list("container", flat=True))


def measured_besides(revision: Revision) -> list[Measured]:
    """The other revisions of a part that a signed protocol names, newest first.

    Args:
        revision: The revision.

    Returns:
        Each of them, by each protocol.
    """
    loads = (
        ProtocolLoad.objects.filter(part=revision.part_id)
        .exclude(revision=revision)
        .exclude(protocol__signed_by="")
        .select_related("protocol", "revision")
        .order_by("protocol__code", "-protocol__version", "-revision_id", "container")
    )
    by: dict[tuple[int, int], list[ProtocolLoad]] = {}
    for load in loads:
        by.setdefault((load.protocol_id, load.revision_id), []).append(load)
    return [
        Measured(some[0].protocol, some[0].revision, tuple(some))
        for some in by.values()
    ]


def worth_signing(revision: Revision, today: date) -> list[Measured]:
    """Like what a revision could be covered where that would add something.

    Args:
        revision: The revision.
        today: The workshop's day.

    Returns:
        Those by protocols that have not ended, and do not cover it already.
    """
    covers = standing_covers().filter(revision=revision)
    covered = set(covers.values_list("protocol", flat=True))
    own = ProtocolLoad.objects.filter(revision=revision)
    named = set(own.values_list("protocol", "container"))
    return [
        one
        for one in measured_besides(revision)
        if one.protocol.pk not in covered
        and stage_of(one.protocol, today) != ProtocolStage.RETIRED
        and {(one.protocol.pk, load.container) for load in one.loads} - named
    ]
