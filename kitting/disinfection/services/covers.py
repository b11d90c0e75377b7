"""Covers: a revision is covered like one that a protocol names, by a signature."""

from __future__ import annotations

from dataclasses import dataclass

from kitting.disinfection.queries.covers import containers_of
from kitting.disinfection.queries.protocols import ProtocolStage, stage_of
from kitting.domain.errors import Conflict, Refused, WrongStage
from kitting.ledger import locking, upheld
from kitting.ledger.clock import day_of
from kitting.ledger.coded import mark_of
from kitting.ledger.covering import standing_covers
from kitting.ledger.needs import need_another, need_reason, need_row
from kitting.ledger.operations import Act, Sign, perform
from kitting.ledger.reach import refuse_held
from kitting.ledger.seals import touched_by
from kitting.models import Cover, Protocol, Revision, Withdrawal


@dataclass(frozen=True)
class Covered:
    """A revision that a protocol covers like another one."""

    cover_id: int
    protocol: str
    part: str
    """Name of the part."""
    revision: str
    like: str


@dataclass(frozen=True)
class Withdrawn:
    """A cover that ended."""

    cover_id: int


def cover_revision(
    *,
    protocol_id: int,
    revision_id: int,
    like_id: int,
    reason: str,
    seen: str,
    sign: Sign,
) -> Covered:
    """Sign that a protocol covers a revision like another one, which it names itself.

    Where the workshop asks for two people, whoever wrote the revision does not sign.

    Args:
        protocol_id: The protocol: signed, and not past its last day.
        revision_id: The revision that goes on from now on.
        like_id: The revision of the same part that the protocol has loads for.
        reason: Why what was measured with one holds for the other.
        seen: ``mark_of`` the revision as whoever signs has read it.
        sign: Who signs, when, and the operation key.

    Returns:
        What is covered, and like what.

    Raises:
        Conflict: ``page_is_old`` if somebody changed the revision meanwhile.
        Missing: If the protocol or a revision is not there.
        NotFit: If a box label had no room for the words of the protocol.
        OnHold: If the protocol or one of the revisions is held.
        Refused: ``reason_missing``, ``entry_too_long``, ``protocol_not_signed``,
            ``protocol_not_in_force``, ``cover_of_other_part``, ``cover_not_measured``,
            ``cover_needless``, ``cover_own``.
        WrongStage: ``cover_there``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Covered:
        locking.enter_gate()
        why = need_reason(reason)
        protocol = locking.lock_row(Protocol, protocol_id)
        rows = locking.lock_rows(Revision, [revision_id, like_id], "part")
        row, like = rows[revision_id], rows[like_id]
        if seen != mark_of(row):
            raise Conflict("page_is_old")
        _need_in_use(protocol, act)
        for each in (row, like):
            named = {"revision": each.code, "part": each.part.name}
            refuse_held("revision", each.pk, "revision_on_hold", **named)
        _need_measured(protocol, row, like)
        named = {"revision": row.code, "part": row.part.name}
        need_another(act, touched_by(row), "cover_own", **named)
        cover = Cover(protocol=protocol, revision=row, like=like, reason=why)
        act.write(cover)
        # It is written once, so no rule is asked for it: boxes may get other words.
        upheld.need({Protocol: {protocol.pk}})
        return Covered(cover.pk, str(protocol), row.part.name, row.code, like.code)

    return perform(
        "cover_revision",
        work,
        Covered,
        sign,
        protocol=protocol_id,
        revision=revision_id,
        like=like_id,
        reason=reason,
        seen=seen,
    )


def _need_in_use(protocol: Protocol, act: Act) -> None:
    today = day_of(act.workshop, act.now)
    stage = stage_of(protocol, today)
    if stage == ProtocolStage.DRAFT:
        raise Refused("protocol_not_signed", protocol=str(protocol))
    if stage == ProtocolStage.RETIRED:
        raise Refused("protocol_not_in_force", protocol=str(protocol), on=today)
    refuse_held("protocol", protocol.pk, "protocol_on_hold", protocol=str(protocol))


def _need_measured(protocol: Protocol, row: Revision, like: Revision) -> None:
    """Refuse what adds nothing, and what the protocol itself says nothing of."""
    named = {"protocol": str(protocol), "part": row.part.name, "revision": row.code}
    if like.part_id != row.part_id:
        raise Refused("cover_of_other_part", other=like.part.name, **named)
    measured = containers_of(protocol, like)
    if not measured:
        raise Refused("cover_not_measured", **{**named, "revision": like.code})
    if measured <= containers_of(protocol, row):
        raise Refused("cover_needless", **named)
    known = standing_covers().filter(protocol=protocol, revision=row)
    for cover in known.select_related("like", "operation"):
        by = cover.operation.by_name
        raise WrongStage("cover_there", like=cover.like.code, by=by, **named)


def withdraw_cover(*, cover_id: int, reason: str, sign: Sign) -> Withdrawn:
    """End a cover: nothing goes on by it any more. What went on keeps what it rested on.

    Args:
        cover_id: The cover.
        reason: Why, for the record.
        sign: Who, when and the operation key.

    Returns:
        The cover.

    Raises:
        Missing: If there is no such cover.
        Refused: ``reason_missing``, ``entry_too_long``.
        WrongStage: ``cover_withdrawn``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Withdrawn:
        # Whatever goes on a line enters the gate: before this, or after it.
        locking.shut_gate()
        why = need_reason(reason)
        cover = need_row(Cover.objects.filter(pk=cover_id))
        if Withdrawal.objects.filter(cover=cover).exists():
            raise WrongStage("cover_withdrawn")
        act.write(Withdrawal(cover=cover, reason=why))
        return Withdrawn(cover_id=cover.pk)

    return perform(
        "withdraw_cover", work, Withdrawn, sign, cover=cover_id, reason=reason
    )
