"""Passwords: one for a first sign-in that a manager gives, one's own that is chosen."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import Final
from uuid import UUID

from kitting.domain.errors import Conflict, Refused
from kitting.ledger import locking
from kitting.ledger.given import secret_of
from kitting.ledger.operations import Act, Sign, perform
from kitting.models import User
from kitting.people.services.accounts import Person, add_person, set_hash

GIVEN_H: Final = 24
"""Hours for which one signs in with a password that a manager gave."""
LETTERS: Final = "abcdefghjkmnpqrstuvwxyz23456789"
"""None of them is read as another one."""
GROUPS, IN_GROUP = 3, 4
"""31 to the power of 12 is 59 bits: nobody guesses it in a day."""


@dataclass(frozen=True)
class PasswordGiven:
    """Somebody who signs in once to choose their own; the journal has no password."""

    person: int
    name: str


@dataclass(frozen=True)
class PasswordChosen:
    """Somebody whose password nobody else knows."""

    person: int
    name: str


def given_password(key: UUID) -> str:
    """Give the password that was given under an operation key.

    Args:
        key: The operation key of the act.

    Returns:
        Three groups of four small letters and digits, with hyphens.
    """
    left, letters = int(secret_of("password", key), 16), ""
    for _ in range(GROUPS * IN_GROUP):
        left, nth = divmod(left, len(LETTERS))
        letters += LETTERS[nth]
    starts = range(0, len(letters), IN_GROUP)
    return "-".join(letters[at : at + IN_GROUP] for at in starts)


def add_with_password(*, name: str, role: str, sign: Sign) -> Person:
    """Add a person with a password that is given; see ``given_password``.

    Args:
        name: As for ``add_person``.
        role: As for ``add_person``.
        sign: Who, when and the operation key.

    Returns:
        The person.
    """
    password = given_password(sign.key)
    return add_person(name=name, role=role, password=password, hours=GIVEN_H, sign=sign)


def give_password(*, user_id: int, sign: Sign) -> PasswordGiven:
    """Give somebody who lost their password another one; see ``given_password``.

    They sign in with it within a day, and then get no further before they have chosen
    their own. The old one is good for nothing, and whoever is signed in by it is out.

    Args:
        user_id: The person.
        sign: Who, when and the operation key.

    Returns:
        The person.

    Raises:
        Missing: ``row_missing`` if there is no such person.
        Refused: ``password_for_closed_account``, ``password_for_oneself``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> PasswordGiven:
        person = locking.lock_row(User, user_id)
        if not person.is_active:
            raise Refused("password_for_closed_account", name=str(person))
        if person.pk == sign.by.pk:
            raise Refused("password_for_oneself")
        until = act.now + timedelta(hours=GIVEN_H)
        set_hash(person, given_password(sign.key), until)
        return PasswordGiven(person.pk, str(person))

    return perform("give_password", work, PasswordGiven, sign, person=user_id)


def choose_password(*, user_id: int, password: str, sign: Sign) -> PasswordChosen:
    """Set one's own password; every other session of theirs ends.

    Args:
        user_id: The person, who signs it.
        password: As for ``add_person``; only its hash is kept.
        sign: Who, when and the operation key.

    Returns:
        The person.

    Raises:
        Conflict: ``password_as_before``.
        Missing: ``row_missing`` if there is no such person.
        Refused: ``password_weak``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> PasswordChosen:
        person = locking.lock_row(User, user_id)
        if person.check_password(password):
            raise Conflict("password_as_before")
        set_hash(person, password)
        return PasswordChosen(person.pk, str(person))

    return perform("choose_password", work, PasswordChosen, sign, person=user_id)
