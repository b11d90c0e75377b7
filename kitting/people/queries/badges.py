"""Whose a badge is, and the people with their badges."""

from __future__ import annotations

from typing import Final

from django.db.models import Prefetch

from kitting.domain import badges
from kitting.models import Badge, User

NOBODY: Final = "(badge unknown)"
"""Stands for the name behind a badge that is unknown, revoked or misread. Brackets and
blanks are in no name, so nobody is ever called so."""


def role_of(person: User) -> str:
    """Give the roles of a person in words.

    Args:
        person: The person, best with ``groups`` fetched before.

    Returns:
        Names of the roles with commas; empty for who has none.
    """
    return ", ".join(sorted(group.name for group in person.groups.all()))


def name_behind(text: str) -> str:
    """Find the name to sign in with that a scanned badge stands for.

    Args:
        text: What was scanned or typed, with a badge's token in it.

    Returns:
        The name, or ``NOBODY``.
    """
    if not badges.is_badge(text):
        return NOBODY
    badge = (
        Badge.objects.select_related("user")
        .filter(token_sha256=badges.token_hash(text), revoked_at__isnull=True)
        .first()
    )
    return NOBODY if badge is None else badge.user.get_username()


def people() -> list[User]:
    """Everybody, with role and badges, for the page of badges.

    Returns:
        People with ``groups`` and ``badges`` fetched, open accounts first, then by
        name; badges newest first.
    """
    newest_first = Badge.objects.select_related("issue", "revocation").order_by("-pk")
    return list(
        User.objects.order_by("-is_active", "username").prefetch_related(
            "groups", Prefetch("badges", queryset=newest_first)
        )
    )
