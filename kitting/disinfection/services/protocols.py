"""Protocols: drafts, signatures, retirement; a change is a new version.

Lotward never suggests a required dose: nothing here has a value of its own.
"""

from __future__ import annotations

import re
from dataclasses import asdict, dataclass
from typing import Final

from django.db import IntegrityError, transaction

from kitting.disinfection.queries.protocols import (
    TERM_FIELDS,
    evidence_of,
    mark_of,
    terms_of,
)
from kitting.disinfection.steps.protocols import checked, fill, insert_loads
from kitting.domain.entries import Terms
from kitting.domain.errors import (
    CodeError,
    Conflict,
    Refused,
    WrongStage,
)
from kitting.domain.shown import shown
from kitting.ledger import locking
from kitting.ledger.clock import day_of
from kitting.ledger.needs import need_another, need_row, need_text
from kitting.ledger.operations import Act, Sign, perform
from kitting.ledger.reach import refuse_held
from kitting.ledger.seals import touched_by
from kitting.models import (
    Evidence,
    Hold,
    Protocol,
    ProtocolEvidence,
    Retirement,
    Signature,
)

LONGEST_MEANING: Final = 80
LONGEST_REASON: Final = 200
LONGEST_SIGNER: Final = 80


@dataclass(frozen=True)
class Drafted:
    """A draft: nothing runs under it until it is signed."""

    protocol_id: int
    code: str
    version: int


@dataclass(frozen=True)
class Signed:
    """A version that was signed."""

    protocol_id: int
    code: str
    version: int
    signed_by: str


@dataclass(frozen=True)
class Retired:
    """A version that ends."""

    protocol_id: int
    code: str
    version: int
    last_day: str
    """YYYY-MM-DD; runs may open until the end of it."""


def draft_protocol(*, code: str, terms: Terms, sign: Sign) -> Drafted:
    """Begin a protocol: the draft of its version 1.

    Args:
        code: Its code, at most 12 of A to Z, 0 to 9 and hyphen.
        terms: What it says.
        sign: Who, when and the operation key.

    Returns:
        The draft.

    Raises:
        CodeError: ``protocol_code_malformed``.
        Conflict: ``protocol_exists``.
        Missing: If a revision or evidence record is not there.
        Refused: For anything else that is wrong with the terms.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Drafted:
        tidy = code.strip().upper()
        if not re.fullmatch(r"[A-Z0-9-]{1,12}", tidy, re.ASCII):
            raise CodeError("protocol_code_malformed", read=shown(code))
        return _insert(tidy, 1, checked(terms))

    return perform(
        "draft_protocol", work, Drafted, sign, code=code, terms=asdict(terms)
    )


def _insert(code: str, version: int, terms: Terms) -> Drafted:
    draft = Protocol(code=code, version=version)
    fill(draft, terms)
    try:
        with transaction.atomic():  # a savepoint: the code may be taken
            draft.save(force_insert=True)
    except IntegrityError as error:
        raise Conflict("protocol_exists", protocol=code) from error
    insert_loads(draft, terms.loads)
    return Drafted(draft.pk, code, version)


def draft_version(*, code: str, sign: Sign) -> Drafted:
    """Begin the next version of a protocol as a copy of its last.

    Args:
        code: The protocol.
        sign: Who, when and the operation key.

    Returns:
        The draft, in force from today where it is signed as it is.

    Raises:
        Missing: If there is no such protocol.
        WrongStage: ``protocol_has_a_draft``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Drafted:
        last = need_row(Protocol.objects.filter(code=code).order_by("-version"))
        locking.lock_row(Protocol, last.pk)
        # Read again under the lock: somebody may have begun a draft meanwhile.
        last = Protocol.objects.filter(code=code).latest("version")
        if not last.signed_by.strip():
            raise WrongStage("protocol_has_a_draft", protocol=str(last))
        today = day_of(act.workshop, act.now)
        values = vars(terms_of(last))
        values |= {"in_force_from": today, "in_force_until": None}
        return _insert(code, last.version + 1, Terms(**values))

    return perform("draft_version", work, Drafted, sign, code=code)


def _lock_draft(protocol_id: int) -> Protocol:
    protocol = locking.lock_row(Protocol, protocol_id)
    if protocol.signed_by.strip():
        raise WrongStage("protocol_is_signed", protocol=str(protocol))
    return protocol


def edit_draft(*, protocol_id: int, terms: Terms, sign: Sign) -> Drafted:
    """Let a draft say something else; a signed version never does.

    Args:
        protocol_id: The draft.
        terms: All that it says from now on.
        sign: Who, when and the operation key.

    Returns:
        The draft.

    Raises:
        Missing: If the draft, a revision or an evidence record is not there.
        Refused: For anything that is wrong with the terms.
        WrongStage: ``protocol_is_signed``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Drafted:
        draft = _lock_draft(protocol_id)
        tidy = checked(terms)
        fill(draft, tidy)
        draft.save(update_fields=[*TERM_FIELDS, "evidence"])
        insert_loads(draft, tidy.loads)
        return Drafted(draft.pk, draft.code, draft.version)

    return perform(
        "edit_draft", work, Drafted, sign, protocol=protocol_id, terms=asdict(terms)
    )


def discard_draft(*, protocol_id: int, sign: Sign) -> Drafted:
    """Throw a draft away; the journal keeps that it was.

    Args:
        protocol_id: The draft.
        sign: Who, when and the operation key.

    Returns:
        What it was.

    Raises:
        Missing: If there is no such draft.
        Refused: ``draft_has_holds``.
        WrongStage: ``protocol_is_signed``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Drafted:
        draft = _lock_draft(protocol_id)
        if Hold.objects.filter(protocol=draft).exists():
            raise Refused("draft_has_holds", protocol=str(draft))
        was = Drafted(draft.pk, draft.code, draft.version)
        draft.loads.all().delete()
        draft.delete()
        return was

    return perform("discard_draft", work, Drafted, sign, protocol=protocol_id)


def sign_protocol(*, protocol_id: int, meaning: str, mark: str, sign: Sign) -> Signed:
    """Sign a draft: from then on it never changes, and runs may open under it.

    Where the workshop asks for two people, whoever wrote any of it does not sign it.

    Args:
        protocol_id: The draft.
        meaning: What the signature means, such as "Approved for use".
        mark: Hash in hex of what the signer has read, as ``mark_of`` gives it.
        sign: Who signs, when, and the operation key.

    Returns:
        The version and its signer.

    Raises:
        Conflict: ``page_is_old`` if the draft says something else by now.
        Missing: If there is no such draft.
        OnHold: ``protocol_on_hold``.
        Refused: ``entry_missing``, ``entry_too_long``, ``in_force_before_today``,
            ``protocol_covers_nothing``, ``protocol_own``,
            ``protocol_without_evidence``, and what is wrong with its terms.
        WrongStage: ``protocol_is_signed``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Signed:
        words = need_text("meaning", meaning, LONGEST_MEANING)
        draft = _lock_draft(protocol_id)
        digest = mark_of(draft, until=draft.in_force_until)
        if digest.hex() != mark:
            raise Conflict("page_is_old")
        _check_ready(draft, act)
        wrote = touched_by(draft, *draft.loads.all())
        need_another(act, wrote, "protocol_own", protocol=str(draft))
        evidence = Evidence.objects.filter(code__in=evidence_of(draft)).order_by("code")
        draft.signed_by = act.operation.by_name[:LONGEST_SIGNER]
        draft.save(update_fields=["signed_by"])
        rows = [ProtocolEvidence(protocol=draft, evidence=each) for each in evidence]
        act.write(Signature(protocol=draft, meaning=words, mark=digest), *rows)
        return Signed(draft.pk, draft.code, draft.version, draft.signed_by)

    return perform(
        "sign_protocol",
        work,
        Signed,
        sign,
        protocol=protocol_id,
        meaning=meaning,
        mark=mark,
    )


def _check_ready(draft: Protocol, act: Act) -> None:
    terms = checked(terms_of(draft))
    refuse_held("protocol", draft.pk, "protocol_on_hold", protocol=str(draft))
    if not terms.evidence:
        raise Refused("protocol_without_evidence", protocol=str(draft))
    if not terms.loads:
        raise Refused("protocol_covers_nothing", protocol=str(draft))
    today = day_of(act.workshop, act.now)
    if terms.in_force_from < today:
        raise Refused("in_force_before_today", since=terms.in_force_from, today=today)


def retire_protocol(*, protocol_id: int, reason: str, sign: Sign) -> Retired:
    """End a signed version: today is its last day. A hold stops it at once.

    Args:
        protocol_id: The version.
        reason: Why, for the record.
        sign: Who, when and the operation key.

    Returns:
        The version and its last day.

    Raises:
        Missing: If there is no such version.
        Refused: ``entry_missing``, ``entry_too_long``.
        WrongStage: ``protocol_is_draft``, ``protocol_retired``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Retired:
        why = need_text("reason", reason, LONGEST_REASON)
        protocol = locking.lock_row(Protocol, protocol_id)
        if not protocol.signed_by.strip():
            raise WrongStage("protocol_is_draft", protocol=str(protocol))
        today = day_of(act.workshop, act.now)
        was = protocol.in_force_until
        if was is not None and was <= today:
            raise WrongStage("protocol_retired", protocol=str(protocol), until=was)
        protocol.in_force_until = today
        protocol.save(update_fields=["in_force_until"])
        act.write(
            Retirement(protocol=protocol, last_day=today, was_until=was, reason=why)
        )
        return Retired(protocol.pk, protocol.code, protocol.version, today.isoformat())

    return perform(
        "retire_protocol", work, Retired, sign, protocol=protocol_id, reason=reason
    )
