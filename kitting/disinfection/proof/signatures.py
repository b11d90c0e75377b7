"""Protocols: each says what was signed, by its signer, on its evidence."""

from __future__ import annotations

from kitting.disinfection.queries.protocols import mark_of
from kitting.ledger.proof.faults import Tally
from kitting.models import Protocol, Signature

PROTOCOL = Protocol._meta.db_table


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
        bytes(signature.mark).hex(),
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
