"""What goes wrong with disks, databases and figures, in a plain sentence."""

from __future__ import annotations

import sqlite3
import sys
from argparse import ArgumentTypeError
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager

from django.core.exceptions import ImproperlyConfigured
from django.core.management import execute_from_command_line
from django.core.management.base import CommandError
from django.db import DatabaseError

from kitting.domain.errors import LotwardError
from kitting.ledger import failing
from kitting.ledger.backup.files import Trouble
from kitting.web.messages import sentence

MOST_DIGITS = 9


def run(argv: Sequence[str]) -> None:
    """Run a command; where settings, database or disk fail, it ends with a sentence.

    Args:
        argv: The words of the command line.
    """
    try:
        execute_from_command_line(list(argv))
    except ImproperlyConfigured as error:
        sys.exit(str(error))
    except Exception as error:
        refused = failing.why(error)
        if refused is None:
            raise
        sys.exit(sentence(refused))


@contextmanager
def plainly(undone: str) -> Iterator[None]:
    """Let a command end with a sentence, and exit status 1.

    Args:
        undone: What was not done.

    Raises:
        CommandError: In place of whatever disk, database or rule refused.
    """
    try:
        yield
    except (Trouble, LotwardError, OSError, sqlite3.Error, DatabaseError) as error:
        msg = f"{undone}. {_said(error)}"
        raise CommandError(msg) from error


def _said(error: Exception) -> str:
    if isinstance(error, Trouble):
        return str(error)
    if isinstance(error, LotwardError):
        return sentence(error)
    if isinstance(error, OSError):
        full = error.errno in failing.FULL
        why = "The disk is full" if full else error.strerror or str(error)
        return f"{why} ({error.filename})." if error.filename else f"{why}."
    if refused := failing.why(error):
        return sentence(refused)
    said = str(error).strip().splitlines() or [type(error).__name__]
    return f"The database says: {said[0]}."


def whole(least: int) -> Callable[[str], int]:
    """What reads the whole number of an option.

    Args:
        least: The smallest that is allowed; the largest has nine digits.

    Returns:
        A type for an argument.
    """

    def read(text: str) -> int:
        digits = text.isascii() and text.isdecimal() and len(text) <= MOST_DIGITS
        if digits and int(text) >= least:
            return int(text)
        msg = f"{text!r} is not a whole number, {least} or more"
        raise ArgumentTypeError(msg)

    return read
