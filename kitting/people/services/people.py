"""People who may sign in: added with a role, and their accounts closed and opened."""

from __future__ import annotations

from dataclasses import dataclass

from django.contrib.auth.hashers import make_password
from django.contrib.auth.models import Group
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError

from kitting.domain.errors import Conflict, Missing, Refused
from kitting.domain.shown import shown
from kitting.ledger.operations import Act, Sign, perform
from kitting.ledger.setup import ROLES
from kitting.models import User


@dataclass(frozen=True)
class Person:
    """A person as they stand after the act."""

    name: str
    role: str
    open: bool
    """Whether the account is open."""


def add_person(*, name: str, role: str, password: str, sign: Sign) -> Person:
    """Add a person who may sign in, with the rights of one role.

    Args:
        name: The name to sign in with; the journal names the person by it.
        role: One of ``kitting.ledger.setup.ROLES``.
        password: The password; only its hash is kept, and none of it in the journal.
        sign: Who, when and the operation key.

    Returns:
        The person.

    Raises:
        Conflict: ``person_exists``.
        Refused: ``role_unknown``, ``person_name_wrong``, ``password_weak``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Person:
        if role not in ROLES:
            raise Refused("role_unknown", read=role, roles=", ".join(ROLES))
        if User.objects.filter(username__iexact=name).exists():
            raise Conflict("person_exists", name=name)
        person = User(username=name, password=make_password(None))
        try:
            person.full_clean()
        except ValidationError as error:
            raise Refused("person_name_wrong", read=shown(name)) from error
        try:
            validate_password(password, person)
        except ValidationError as error:
            raise Refused("password_weak", why=" ".join(error.messages)) from error
        person.password = make_password(password)
        person.save(force_insert=True)
        person.groups.add(Group.objects.get(name=role))
        return Person(name=name, role=role, open=True)

    return perform("add_person", work, Person, sign, name=name, role=role)


def open_account(*, name: str, open: bool, sign: Sign) -> Person:
    """Close a person's account, or open it again; what they signed stays theirs.

    Whoever is signed in with it is signed out with the next page they ask for.

    Args:
        name: The name to sign in with.
        open: Whether it is open from now on.
        sign: Who, when and the operation key.

    Returns:
        The person.

    Raises:
        Missing: ``person_unknown``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Person:
        person = User.objects.filter(username=name).first()
        if person is None:
            raise Missing("person_unknown", name=name)
        person.is_active = open
        person.save(update_fields=["is_active"])
        roles = person.groups.order_by("name").values_list("name", flat=True)
        return Person(name=name, role=", ".join(roles), open=open)

    return perform("open_account", work, Person, sign, name=name, open=open)
