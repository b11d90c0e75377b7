"""People and their accounts: added, given a role, closed, opened, signed out."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.contrib.auth.hashers import make_password
from django.contrib.auth.models import Group
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError

from kitting.domain.errors import Conflict, Missing, Refused
from kitting.domain.shown import shown
from kitting.ledger import locking
from kitting.ledger.operations import Act, Sign, perform
from kitting.ledger.setup import MANAGER, NOT_PEOPLE, ROLES
from kitting.models import User


@dataclass(frozen=True)
class Person:
    """A person as they stand after the act."""

    name: str
    role: str
    open: bool
    """Whether the account is open."""


def add_person(
    *, name: str, role: str, password: str, sign: Sign, hours: int | None = None
) -> Person:
    """Add a person who may sign in, with the rights of one role.

    Args:
        name: The name to sign in with; the journal names the person by it.
        role: One of ``kitting.ledger.setup.ROLES``.
        password: The password; only its hash is kept, and none of it in the journal.
        sign: Who, when and the operation key.
        hours: For how long the password is good; they choose their own with it. None
            for one that is theirs.

    Returns:
        The person.

    Raises:
        Conflict: ``person_exists``.
        Refused: ``role_unknown``, ``person_name_wrong``, ``password_weak``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Person:
        _need_role(role)
        if User.objects.filter(username__iexact=name).exists():
            raise Conflict("person_exists", name=name)
        person = User(username=name, password=make_password(None))
        try:
            person.full_clean()
        except ValidationError as error:
            raise Refused("person_name_wrong", read=shown(name)) from error
        person.password = _hashed(password, person)
        if hours is not None:
            person.password_until = act.now + timedelta(hours=hours)
        person.save(force_insert=True)
        person.groups.add(Group.objects.get(name=role))
        return Person(name=name, role=role, open=True)

    return perform("add_person", work, Person, sign, name=name, role=role)


def _need_role(role: str) -> None:
    if role not in ROLES:
        raise Refused("role_unknown", read=role, roles=", ".join(ROLES))


def set_hash(person: User, password: str, until: datetime | None = None) -> None:
    """Keep a password's hash; every session by the old one ends.

    Args:
        person: Whose it is, in an open transaction.
        password: The password.
        until: Of one that a manager gave: until when it is good.

    Raises:
        Refused: ``password_weak``.
    """
    person.password = _hashed(password, person)
    person.password_until = until
    person.save(update_fields=["password", "password_until"])


def _hashed(password: str, person: User) -> str:
    try:
        validate_password(password, person)
    except ValidationError as error:
        raise Refused("password_weak", why=" ".join(error.messages)) from error
    return make_password(password)


def open_account(*, name: str, open: bool, sign: Sign) -> Person:
    """Close a person's account, or open it again; what they signed stays theirs.

    Whoever is signed in with it is signed out with the next page they ask for, and not
    signed in again when it is opened.

    Args:
        name: The name to sign in with.
        open: Whether it is open from now on.
        sign: Who, when and the operation key.

    Returns:
        The person.

    Raises:
        Missing: ``person_unknown``.
        Refused: ``last_manager``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Person:
        person = _known(name) if open else _known_besides_a_manager(name)
        person.is_active = open
        person.sign_outs += not open
        person.save(update_fields=["is_active", "sign_outs"])
        return _stands(person)

    return perform("open_account", work, Person, sign, name=name, open=open)


def change_role(*, name: str, role: str, sign: Sign) -> Person:
    """Give a person the rights of another role, from the next page they ask for.

    What they signed stays theirs. Their badges are as good as before; the role that
    stands on them is the old one.

    Args:
        name: The name to sign in with.
        role: One of ``kitting.ledger.setup.ROLES``.
        sign: Who, when and the operation key.

    Returns:
        The person.

    Raises:
        Missing: ``person_unknown``.
        Refused: ``role_unknown``, ``last_manager``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Person:
        _need_role(role)
        other = role != MANAGER
        person = _known_besides_a_manager(name) if other else _known(name)
        person.groups.set([Group.objects.get(name=role)])
        return _stands(person)

    return perform("change_role", work, Person, sign, name=name, role=role)


def _known_besides_a_manager(name: str) -> User:
    """The person of a name, whom the workshop can do without as a manager."""
    # Of managers who close each other at once, the second waits here for the first.
    managers = locking.lock_found(Group.objects.filter(name=MANAGER))
    person = _known(name)
    left = User.objects.filter(groups__in=managers, is_active=True)
    if list(left) == [person]:
        raise Refused("last_manager", name=name)
    return person


def set_password(*, name: str, password: str, sign: Sign) -> Person:
    """Set a person's password anew, where the old one is lost.

    Whoever is signed in by the old one is signed out with the next page they ask for.

    Args:
        name: The name to sign in with.
        password: As for ``add_person``.
        sign: Who, when and the operation key.

    Returns:
        The person.

    Raises:
        Missing: ``person_unknown``, for the command line as well.
        Refused: ``password_weak``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Person:
        person = _known(name)
        set_hash(person, password)
        return _stands(person)

    return perform("set_password", work, Person, sign, name=name)


def _known(name: str) -> User:
    found = User.objects.filter(username=name).exclude(username__in=NOT_PEOPLE)
    person = found.first()
    if person is None:
        raise Missing("person_unknown", name=name)
    return person


def _stands(person: User) -> Person:
    roles = person.groups.order_by("name").values_list("name", flat=True)
    return Person(person.username, role=", ".join(roles), open=person.is_active)


@dataclass(frozen=True)
class SignedOut:
    """Somebody whose sessions are all ended."""

    person: int
    name: str


def sign_out_everywhere(*, user_id: int, sign: Sign) -> SignedOut:
    """End all sessions of a person, wherever they are signed in.

    Args:
        user_id: The person.
        sign: Who, when and the operation key.

    Returns:
        The person.

    Raises:
        Missing: ``row_missing`` if there is no such person.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> SignedOut:
        person = locking.lock_row(User, user_id)
        person.sign_outs += 1
        person.save(update_fields=["sign_outs"])
        return SignedOut(person.pk, str(person))

    return perform("sign_out_everywhere", work, SignedOut, sign, person=user_id)
