"""People: each role has its rights and no other; what takes two was not done by one."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

from django.contrib.auth.models import Group
from django.db.models import Exists, F, OuterRef, Q, QuerySet

from kitting.ledger.proof import register
from kitting.ledger.proof.faults import Tally
from kitting.ledger.proof.streams import composed, how_many, rows
from kitting.ledger.setup import ROLES
from kitting.models import (
    Cover,
    Lift,
    Method,
    MethodRelease,
    Protocol,
    ProtocolLoad,
    Revision,
    RowSeal,
    Signature,
    User,
    Workshop,
)

GROUP = Group._meta.db_table
USER = User._meta.db_table


def rights(tally: Tally) -> None:
    """The groups are the roles, with their rights; people have rights by them alone.

    Args:
        tally: Where roles and people are counted and faults noted.
    """
    roles = {role: ", ".join(sorted(rights)) for role, rights in ROLES.items()}
    held, everybody, people = _rights()
    found: dict[tuple[int, str], list[str]] = {}
    for pk, name, app, right in rows(held):
        of = found.setdefault((pk, name), [])
        if right is not None:
            of.append(right if app == "kitting" else f"{app}.{right}")
    for (pk, name), codes in found.items():
        tally.count += 1
        words = f"The role “{name}” has other rights than it is given."
        expected = roles.pop(name, "no such role")
        tally.same(GROUP, pk, words, expected, ", ".join(sorted(codes)))
    for role in roles:
        tally.add(GROUP, None, f"The role “{role}” is not there.", "a role", "none")
    tally.count += how_many(everybody)
    for pk, name in rows(people):
        words = f"“{name}” has rights that no role gives."
        tally.add(USER, pk, words, "rights of roles alone", "others")


@composed
def _rights() -> Iterator[QuerySet[Any, Any]]:
    """The rights of each role, all people, and those who have rights besides."""
    yield Group.objects.order_by("name").values_list(
        "pk",
        "name",
        "permissions__content_type__app_label",
        "permissions__codename",
    )
    yield User.objects.order_by().values_list("pk")
    beside = Q(is_superuser=True) | Q(is_staff=True) | Q(user_permissions__isnull=False)
    people = User.objects.filter(beside).order_by("pk").distinct()
    yield people.values_list("pk", "username")


def two_people(tally: Tally) -> None:
    """Nobody lifted, signed or released what was their own while it took two.

    Args:
        tally: Where what was lifted and signed is counted and faults noted.
    """
    here = {"operation__by": OuterRef("operation__by")}
    before = RowSeal.objects.filter(operation__lt=OuterRef("operation"), **here)
    loads = ProtocolLoad.objects.filter(protocol=OuterRef(OuterRef("protocol")))
    wrote = before.filter(of=Protocol._meta.db_table, row=OuterRef("protocol"))
    wrote_loads = before.filter(
        of=ProtocolLoad._meta.db_table, row__in=loads.values("pk")
    )
    lifted, signed = Lift.objects.all(), Signature.objects.all()
    released = MethodRelease.objects.all()
    added = before.filter(of=Method._meta.db_table, row=OuterRef("method"))
    covers = Cover.objects.all()
    revised = before.filter(of=Revision._meta.db_table, row=OuterRef("revision"))
    for every, own, words in (
        (
            lifted,
            lifted.filter(operation__by=F("hold__operation__by")),
            "Whoever placed the hold lifted it.",
        ),
        (
            signed,
            signed.filter(Exists(wrote) | Exists(wrote_loads)),
            "Whoever wrote the protocol signed it.",
        ),
        (
            released,
            released.filter(Exists(added)),
            "Whoever added or changed the method released it.",
        ),
        (
            covers,
            covers.filter(Exists(revised)),
            "Whoever added or changed the revision signed that it is covered.",
        ),
    ):
        tally.count += every.count()
        alone = own.order_by("pk").values_list("pk", "operation", "operation__by_name")
        for pk, act, name in rows(alone):
            if _took_two(act):
                table = every.model._meta.db_table
                tally.add(table, pk, words, "another person", name)


def _took_two(act: int) -> bool:
    """Whether the workshop asked for two people when an act began."""
    copies = RowSeal.objects.filter(of=Workshop._meta.db_table, operation__lt=act)
    copy = copies.order_by("operation").last()
    return copy is None or bool(json.loads(copy.text)["two_people"])


register(
    ("rights", "roles and people", rights),
    (
        "two people",
        "lifts, signatures, releases, covers",
        two_people,
        Lift,
        Signature,
        MethodRelease,
        Cover,
    ),
)
