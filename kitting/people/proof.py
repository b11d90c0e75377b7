"""People: each role has its rights and no other, and nobody has any besides."""

from __future__ import annotations

from django.contrib.auth.models import Group
from django.db.models import Q

from kitting.ledger.proof import register
from kitting.ledger.proof.faults import Tally
from kitting.ledger.proof.streams import rows
from kitting.ledger.setup import ROLES
from kitting.models import User

GROUP = Group._meta.db_table
USER = User._meta.db_table


def rights(tally: Tally) -> None:
    """The groups are the roles, with their rights; people have rights by them alone.

    Args:
        tally: Where roles and people are counted and faults noted.
    """
    roles = {role: ", ".join(sorted(rights)) for role, rights in ROLES.items()}
    held = Group.objects.order_by("name").values_list(
        "pk",
        "name",
        "permissions__content_type__app_label",
        "permissions__codename",
    )
    found: dict[tuple[int, str], list[str]] = {}
    for pk, name, app, right in held:
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
    tally.count += User.objects.count()
    beside = Q(is_superuser=True) | Q(is_staff=True) | Q(user_permissions__isnull=False)
    people = User.objects.filter(beside).order_by("pk").distinct()
    for pk, name in rows(people.values_list("pk", "username")):
        words = f"“{name}” has rights that no role gives."
        tally.add(USER, pk, words, "rights of roles alone", "others")


register(("rights", "roles and people", rights))
