"""Who signs what a command does."""

from __future__ import annotations

import uuid
from argparse import ArgumentParser
from collections.abc import Mapping
from typing import Any

from django.core.management.base import CommandError

from kitting.ledger.operations import Sign
from kitting.ledger.setup import COMMAND_LINE
from kitting.models import User


def ask_who(parser: ArgumentParser) -> None:
    """Let a command be told who signs its act."""
    parser.add_argument(
        "--as",
        dest="username",
        default="",
        help="who signs the act; the command line itself if left out",
    )


def signed(options: Mapping[str, Any]) -> Sign:
    """Sign the act of a command by what it was told.

    Args:
        options: What came in, with what ``ask_who`` asks for.

    Returns:
        The sign, with a key of its own.

    Raises:
        CommandError: If there is no such person, or the account is closed.
    """
    by = _signer(options["username"])
    return Sign(by=by, key=uuid.uuid4())


def _signer(username: str) -> User:
    if username:
        person = User.objects.filter(username=username, is_active=True).first()
        if person is None:
            msg = f"There is no person “{username}” who may sign."
            raise CommandError(msg)
        return person
    return User.objects.get(username=COMMAND_LINE)
