"""What is checked of protocols: signatures, and what went on by them."""

from __future__ import annotations

from django.db.models import Exists, F, OuterRef, Q, Subquery

from kitting.disinfection.queries.protocols import mark_of
from kitting.domain.stages import MovementKind
from kitting.ledger.proof import register
from kitting.ledger.proof.faults import Tally
from kitting.ledger.proof.streams import rows
from kitting.models import (
    Cover,
    Movement,
    Protocol,
    ProtocolLoad,
    RunBag,
    Signature,
)

STAY = RunBag._meta.db_table
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


COVER = Cover._meta.db_table


def covers(tally: Tally) -> None:
    """What went on in a run was named by its protocol, or covered like that just then.

    Args:
        tally: Where covers and stays are counted and faults noted.
    """
    measured = ProtocolLoad.objects.filter(
        protocol=OuterRef("protocol"),
        revision=OuterRef("like"),
        part=OuterRef("revision__part"),
    )
    every = Cover.objects.all()
    tally.count += every.count() + RunBag.objects.count()
    unmeasured = every.exclude(Exists(measured)).order_by("pk")
    for pk in unmeasured.values_list("pk", flat=True):
        words = "The protocol names no such revision of the part, like which it covers."
        tally.add(COVER, pk, words, "a load", "none")
    since = OuterRef("operation__link__seq")
    stood = every.filter(
        Q(withdrawal=None) | Q(withdrawal__operation__link__seq__gt=since),
        protocol=OuterRef("protocol"),
        revision=OuterRef("revision"),
        operation__link__seq__lt=since,
    )
    for pk in every.filter(Exists(stood)).order_by("pk").values_list("pk", flat=True):
        tally.add(COVER, pk, "Another cover of it stood then.", "one", "two")
    _went_by(tally)


def _went_by(tally: Tally) -> None:
    """Each stay was covered; what was repacked later counts where it was."""
    load = ProtocolLoad.objects.filter(
        protocol=OuterRef("run__protocol"), container=OuterRef("bag__container")
    )
    here = RunBag.objects.filter(original=None)
    own = load.filter(revision=OuterRef("bag__lot__revision"))
    bare = here.filter(~Exists(own), cover=None).order_by("pk")
    for pk, number in rows(bare.values_list("pk", "bag__number")):
        words = f"The protocol of the run does not cover bag {number}."
        tally.add(STAY, pk, words, "a load or a cover", "none")
    went = Movement.objects.filter(
        bag=OuterRef("bag"), kind=MovementKind.WENT_ON, operation__at=OuterRef("on_at")
    )
    by = here.filter(cover__isnull=False).annotate(
        at=Subquery(went.values("operation__link__seq")[:1]),
        like=Exists(load.filter(revision=OuterRef("cover__like"))),
    )
    fits = Q(
        Q(cover__withdrawal=None)
        | Q(cover__withdrawal__operation__link__seq__gt=F("at")),
        like=True,
        cover__protocol=F("run__protocol"),
        cover__revision=F("bag__lot__revision"),
        cover__operation__link__seq__lt=F("at"),
    )
    for pk, number in rows(
        by.exclude(fits).order_by("pk").values_list("pk", "bag__number")
    ):
        words = f"The cover by which bag {number} went on was none of it then."
        tally.add(STAY, pk, words, "a standing cover", "another")


register(
    ("signatures", "signatures", signatures, Protocol),
    ("covers", "covers and stays", covers, Cover, RunBag),
)
