"""What is set up, whose a badge is, and the people with their badges."""

from __future__ import annotations

from typing import Any, Final

from django.db.models import Max, Prefetch, QuerySet, prefetch_related_objects

from kitting.domain import badges
from kitting.ledger.setup import NOT_PEOPLE
from kitting.models import (
    Badge,
    Meter,
    Part,
    Place,
    Printer,
    Product,
    Protocol,
    ProtocolLoad,
    RecipeLine,
    RecipeSubstitute,
    User,
)


def catalogue() -> dict[str, Any]:
    """Everything that is set up, by the names that the page's template uses.

    Returns:
        Lists of parts, products, benches, places, protocols and meters.
    """
    lines = RecipeLine.objects.select_related("recipe", "part", "revision")
    instead = RecipeSubstitute.objects.select_related("revision__part")
    packed: dict[int, list[RecipeLine]] = {}
    for line in lines.prefetch_related(Prefetch("substitutes", instead)).order_by(
        "-recipe__version", "pk"
    ):
        packed.setdefault(line.recipe.product_id, []).append(line)
    loads = ProtocolLoad.objects.select_related("part", "revision")
    places = list(Place.objects.select_related("bench"))
    benches = [place.bench for place in places if hasattr(place, "bench")]
    printers = Prefetch("printers", queryset=Printer.objects.filter(active=True))
    prefetch_related_objects(benches, printers)
    return {
        "parts": list(Part.objects.prefetch_related("revisions")),
        "products": [
            (product, packed.get(product.pk, []))
            for product in Product.objects.prefetch_related("sizes")
        ],
        "benches": sorted(benches, key=lambda bench: bench.code),
        "places": places,
        "protocols": list(
            Protocol.objects.prefetch_related(Prefetch("loads", queryset=loads))
        ),
        "meters": list(Meter.objects.annotate(due=Max("calibrations__due"))),
    }


def checkers_besides(person: User, *, two_people: bool) -> QuerySet[User]:
    """Who may confirm what somebody counted: people that check lots.

    Args:
        person: Whoever counted.
        two_people: Whether it has to be somebody else.

    Returns:
        People by name.
    """
    people = who_may("check_lots")
    return people.exclude(pk=person.pk) if two_people else people


def who_may(right: str) -> QuerySet[User]:
    """Those who have a right.

    Args:
        right: Its name, without that of the application.

    Returns:
        People with open accounts, by name.
    """
    those = User.objects.filter(groups__permissions__codename=right, is_active=True)
    return those.exclude(username__in=NOT_PEOPLE).order_by("username").distinct()


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
    badge = badge_behind(text)
    return NOBODY if badge is None else badge.user.get_username()


def badge_behind(text: str) -> Badge | None:
    """Find the badge that was scanned.

    Args:
        text: What was scanned or typed, with a badge's token in it.

    Returns:
        The badge with its person; None for one that is unknown, revoked or misread.
    """
    if not badges.is_badge(text):
        return None
    valid = Badge.objects.filter(revoked_at__isnull=True).select_related("user")
    return valid.filter(token_sha256=badges.token_hash(text)).first()


def people() -> list[User]:
    """Everybody but the command line, with role and badges, for the page of badges.

    Returns:
        People with ``groups`` and ``badges`` fetched, open accounts first, then by
        name; badges newest first.
    """
    newest_first = Badge.objects.select_related("issue", "revocation").order_by("-pk")
    return list(
        User.objects.exclude(username__in=NOT_PEOPLE)
        .order_by("-is_active", "username")
        .prefetch_related("groups", Prefetch("badges", queryset=newest_first))
    )


def person_of(pk: int) -> QuerySet[User]:
    """One person by the id, who is not the command line."""
    return User.objects.exclude(username__in=NOT_PEOPLE).filter(pk=pk)
