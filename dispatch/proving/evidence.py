"""Counts, samples and protocols: each says what its movements and marks say."""

from __future__ import annotations

from typing import TYPE_CHECKING

from dispatch.proving.streams import grouped, rows, side_by_side
from kitting.domain.stages import MovementKind
from kitting.models import Count, Movement, Protocol, Sample, Signature
from kitting.services.steps.protocols import mark_of

if TYPE_CHECKING:
    from django.db.models import QuerySet

    from dispatch.proving.faults import Tally

COUNT = Count._meta.db_table
SAMPLE = Sample._meta.db_table
PROTOCOL = Protocol._meta.db_table
_KEY = ("operation_id", "bag_id")


def counts(tally: Tally) -> None:
    """What a count found or missed is what its movement did to the bag.

    Args:
        tally: Where counts are counted and faults noted.
    """
    made = Count.objects.order_by(*_KEY).values_list(*_KEY, "pk", "before", "counted")
    differed = _moves(MovementKind.FOUND, MovementKind.MISSING)
    streams = grouped(rows(made), width=2), grouped(rows(differed), width=2)
    for (operation, _bag), (counted, moved) in side_by_side(*streams):
        for pk, before, found in counted:
            tally.count += 1
            tally.same(
                COUNT,
                pk,
                f"Operation {operation} counted another difference than it moved.",
                found - before,
                sum(delta for (delta,) in moved),
            )


def samples(tally: Tally) -> None:
    """What went to a test left its bag in the same act, and nothing else did so.

    Args:
        tally: Where samples are counted and faults noted.
    """
    made = Sample.objects.order_by(*_KEY).values_list(*_KEY, "pieces", "pk")
    taken = _moves(MovementKind.SAMPLED)
    streams = grouped(rows(made), width=2), grouped(rows(taken), width=2)
    for (operation, bag), (sent, moved) in side_by_side(*streams):
        tally.count += 1
        tally.same(
            SAMPLE,
            sent[0][1] if sent else None,
            f"Operation {operation} sent other pieces of bag {bag} to a test than left"
            " it.",
            sum(pieces for pieces, _ in sent),
            -sum(delta for (delta,) in moved),
        )


def _moves(*kinds: MovementKind) -> QuerySet[Movement, tuple[int, int, int]]:
    moves = Movement.objects.filter(kind__in=kinds).order_by(*_KEY)
    return moves.values_list(*_KEY, "delta")


def signatures(tally: Tally) -> None:
    """A signed protocol says what was signed, by its signer, on its evidence.

    Args:
        tally: Where signatures are counted and faults noted.
    """
    every = Protocol.objects.select_related("signature__operation", "retirement")
    for protocol in every.order_by("pk"):
        signature = getattr(protocol, "signature", None)
        if signature is not None:
            tally.count += 1
            _signed(tally, protocol, signature)
        elif protocol.signed_by.strip():
            words = f"{protocol} names a signer who never signed it."
            tally.add(PROTOCOL, protocol.pk, words, "none", protocol.signed_by)


def _signed(tally: Tally, protocol: Protocol, signature: Signature) -> None:
    retired = getattr(protocol, "retirement", None)
    until = retired.was_until if retired else protocol.in_force_until
    tally.same(
        PROTOCOL,
        protocol.pk,
        f"{protocol} says something else than was signed.",
        bytes(signature.mark or b"").hex(),
        mark_of(protocol, until=until).hex(),
    )
    tally.same(
        PROTOCOL,
        protocol.pk,
        f"{protocol} was signed by somebody else.",
        signature.operation.by_name[:80],
        protocol.signed_by,
    )
    if retired is not None:
        tally.same(
            PROTOCOL,
            protocol.pk,
            f"{protocol} was retired on another day.",
            retired.last_day,
            protocol.in_force_until,
        )
