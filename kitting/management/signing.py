"""Who signs what a command does."""

from __future__ import annotations

from django.core.management.base import CommandError

from kitting.models import User

COMMAND_LINE = "command-line"
"""User name of the command line itself; nobody can sign in as it."""


def signer(username: str) -> User:
    """The person who signs the act of a command.

    Args:
        username: A user name; empty for the command line itself.

    Returns:
        The person.

    Raises:
        CommandError: If there is no such person, or the account is closed.
    """
    if username:
        person = User.objects.filter(username=username, is_active=True).first()
        if person is None:
            msg = f"There is no person “{username}” who may sign."
            raise CommandError(msg)
        return person
    person, made = User.objects.get_or_create(
        username=COMMAND_LINE, defaults={"first_name": "command line"}
    )
    if made:
        person.set_unusable_password()
        person.save(update_fields=["password"])
    return person
