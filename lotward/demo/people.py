"""Who works at Harrow Lane: roles, not names; they can sign in to a demo only."""

from __future__ import annotations

from datetime import datetime

from django.contrib.auth.hashers import make_password
from django.contrib.auth.models import Group

from kitting.models import User

PEOPLE: dict[str, str] = {
    "packer": "packer",
    "checker": "checker",
    "line": "line operator",
    "clerk": "clerk",
    "quality": "quality officer",
    "deputy": "quality officer",
    "manager": "manager",
}
"""User name to role."""

PASSWORD = "harrow lane 2026"  # noqa: S105 - printed at every start, good for a demo only
"""The password of everybody."""


def shown(name: str) -> str:
    """What a person is called: by the role, a second one of a role as the deputy."""
    role = PEOPLE[name]
    return f"Deputy {role}" if name == "deputy" else role.capitalize()


def make_people(joined: datetime) -> dict[str, User]:
    """Make somebody for each role, and a deputy.

    Args:
        joined: When they came.

    Returns:
        The people by user name.
    """
    # The same build has the same journal, whatever settings it is built with.
    hashed = make_password(PASSWORD, salt="demo", hasher="pbkdf2_sha256")
    people = {}
    for name, role in PEOPLE.items():
        user = User(
            username=name,
            first_name=shown(name),
            password=hashed,
            date_joined=joined,
        )
        user.save()
        user.groups.add(Group.objects.get(name=role))
        people[name] = user
    return people
