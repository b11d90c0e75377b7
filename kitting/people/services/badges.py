"""Badges issued and revoked."""

from __future__ import annotations

import secrets
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

from kitting.domain import badges
from kitting.domain.errors import Conflict, Missing, Refused
from kitting.ledger import locking
from kitting.ledger.operations import Act, Sign, outcome_of, perform
from kitting.ledger.setup import NOT_PEOPLE
from kitting.models import Badge, Print, User
from kitting.people.queries import role_of
from kitting.printing.steps import RENDERER

MOST_AT_ONCE = 100
LABELS = "badge"
"""What the print log calls them; each is the first and only copy."""


@dataclass(frozen=True)
class NewBadge:
    """What the label of a new badge says."""

    user_id: int
    name: str
    """The person, as shown."""

    role: str
    """Roles in words; empty for who has none."""

    token: str = field(repr=False)
    badge_id: int = 0
    """0 until it is made."""


@dataclass(frozen=True)
class Drawn:
    """The labels of new badges as one document: hashes, which tell no token."""

    pdf_sha: bytes
    data_shas: tuple[bytes, ...]
    """What each label says, in order."""

    paper: str
    """What they are laid out on, as ``queries.stocks.Laid.text``."""


@dataclass(frozen=True)
class Issued:
    """What the journal keeps of new badges: never a token."""

    badges: list[int]
    names: list[str]


@dataclass(frozen=True)
class Revoked:
    """A badge that nobody signs in with any more."""

    badge: int
    name: str


def issue_badges(
    *,
    user_ids: Sequence[int],
    sign: Sign,
    draw: Callable[[Sequence[NewBadge]], Drawn] | None = None,
) -> list[NewBadge]:
    """Make one new badge for each person; older ones stay valid until revoked.

    Args:
        user_ids: The people, in the order of their labels; at most 100.
        sign: Who, when and the operation key.
        draw: Called before anything is written, outside the transaction, with the
            badges as they will be, still without ids. What it raises stops the act, so
            that no badge is made whose label cannot be. What it gives stands in the
            print log.

    Returns:
        The badges with their tokens, for the labels. They are given this once.

    Raises:
        Conflict: ``badge_made_already`` if the act is sent again.
        Missing: ``row_missing`` if there is no such person.
        Refused: ``badge_for_nobody``, ``badges_too_many``, ``badge_for_closed_account``.
        OperationKeyReused: If the key was used for another act.
    """
    wanted = list(dict.fromkeys(user_ids))
    new: list[NewBadge] = []
    drawn: Drawn | None = None
    if outcome_of(sign) is None:
        new = _new(wanted)
        drawn = None if draw is None else draw(new)
    made: list[NewBadge] = []

    def work(act: Act) -> Issued:
        rows = [
            Badge(
                user_id=each.user_id,
                token_sha256=badges.token_hash(each.token),
                issue=act.operation,
            )
            for each in new
        ]
        for row in rows:
            row.save(force_insert=True)
        made.extend(
            replace(each, badge_id=row.pk) for each, row in zip(new, rows, strict=True)
        )
        if drawn is not None:
            act.write(*_prints(made, drawn))
        return Issued([each.badge_id for each in made], [each.name for each in made])

    perform("issue_badges", work, Issued, sign, users=wanted)
    if not made:
        raise Conflict("badge_made_already")
    return made


def _prints(made: Sequence[NewBadge], drawn: Drawn) -> list[Print]:
    return [
        Print(
            kind=LABELS,
            number=f"{each.name[:20]} {each.badge_id}",
            copy=1,
            nth=nth,
            data_sha=data_sha,
            pdf_sha=drawn.pdf_sha,
            renderer=RENDERER,
            paper=drawn.paper,
        )
        for nth, (each, data_sha) in enumerate(
            zip(made, drawn.data_shas, strict=True), start=1
        )
    ]


def _new(user_ids: Sequence[int]) -> list[NewBadge]:
    if not user_ids:
        raise Refused("badge_for_nobody")
    if len(user_ids) > MOST_AT_ONCE:
        raise Refused("badges_too_many", most=MOST_AT_ONCE)
    people = User.objects.exclude(username__in=NOT_PEOPLE).prefetch_related("groups")
    found = people.in_bulk(user_ids)
    new = []
    for user_id in user_ids:
        person = found.get(user_id)
        if person is None:
            raise Missing("row_missing", what="person")
        if not person.is_active:
            raise Refused("badge_for_closed_account", name=str(person))
        token = badges.make_token(secrets.token_bytes(badges.RANDOM_BYTES))
        new.append(NewBadge(person.pk, str(person), role_of(person), token))
    return new


def revoke_badge(*, badge_id: int, sign: Sign) -> Revoked:
    """Revoke a badge: from now on it is like any unknown one.

    Args:
        badge_id: The badge.
        sign: Who, when and the operation key.

    Returns:
        Whose badge it was.

    Raises:
        Conflict: ``badge_revoked_before``.
        Missing: ``row_missing`` if there is no such badge.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Revoked:
        badge = locking.lock_row(Badge, badge_id, "user")
        if badge.revoked_at is not None:
            raise Conflict("badge_revoked_before", name=str(badge.user))
        badge.revoked_at = act.now
        badge.revocation = act.operation
        badge.save(update_fields=["revoked_at", "revocation"])
        return Revoked(badge=badge.pk, name=str(badge.user))

    return perform("revoke_badge", work, Revoked, sign, badge=badge_id)
