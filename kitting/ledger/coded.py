"""Rows of the set-up that are known by a code: stocks, printers, places, methods."""

from __future__ import annotations

import hashlib
import json
from typing import Final, TypeVar

from django.db.models import Model

from kitting.domain.errors import Conflict, Refused
from kitting.ledger import locking
from kitting.ledger.needs import need_row
from kitting.ledger.operations import Act
from kitting.models import Workshop

CODE_LONGEST: Final = 20
NAME_LONGEST: Final = 60
PLACE_CODE_LONGEST: Final = 12
PART_CODE_LONGEST: Final = 12
BENCH_CODE_LONGEST: Final = 12
PRODUCT_CODE_LONGEST: Final = 8
CONSIGNEE_CODE_LONGEST: Final = 12

_NOT_SET_UP: Final = ("id", "asleep_until", "token_sha256")
"""Columns that no manager enters."""

R = TypeVar("R", bound=Model)


def need_code(code: str, name: str, most: int = CODE_LONGEST) -> None:
    """Refuse a code or a name that none can have.

    Args:
        code: The code.
        name: The name.
        most: Characters that the code may have.

    Raises:
        Refused: ``code_malformed``, ``set_up_name_missing``, ``entry_too_long``.
    """
    plain = code.isascii() and code.replace("-", "").isalnum()
    if not plain or len(code) > most or code != code.upper():
        raise Refused("code_malformed", read=code, most=most)
    if not name.strip():
        raise Refused("set_up_name_missing")
    if len(name) > NAME_LONGEST:
        raise Refused("entry_too_long", what="name", most=NAME_LONGEST)


def named(model: type[R], code: str) -> R:
    """Read the row that has a code.

    Args:
        model: Its table.
        code: Its code.

    Returns:
        The row.

    Raises:
        Missing: ``row_missing`` if there is none.
    """
    return need_row(model._default_manager.filter(code=code))


def mark_of(row: Model) -> str:
    """What a form remembers of a row, so that a change of somebody else is noticed.

    Args:
        row: What is set up.

    Returns:
        A hash of everything that a manager enters.
    """
    values = {
        column.attname: getattr(row, column.attname)
        for column in row._meta.concrete_fields
        if column.name not in _NOT_SET_UP
    }
    return hashlib.sha256(json.dumps(values, sort_keys=True).encode()).hexdigest()


def row_to_keep(act: Act, model: type[R], code: str, was: str, seen: str) -> R:
    """Give the row to change, under its lock, or a new one.

    Args:
        act: The act, which sets the workshop up.
        model: The table.
        code: The code that the row is to have.
        was: The code that it has; empty for a new one.
        seen: ``mark_of`` the row that was looked at before; empty to change it
            whatever it is by now.

    Returns:
        The row.

    Raises:
        Conflict: ``code_taken``, in capitals or not; ``page_is_old``.
        Missing: ``row_missing`` if there is none of the code that it has.
    """
    # One set-up at a time: a code is free, and a stock in use, until the act is done.
    locking.lock_row(Workshop, act.workshop.pk)
    taken = model._default_manager.filter(code__iexact=code).exclude(code=was)
    if was != code and taken.exists():
        raise Conflict("code_taken", read=code)
    if not was:
        return model()
    found = locking.lock_row(model, named(model, was).pk)
    if seen and seen != mark_of(found):
        raise Conflict("page_is_old")
    return found
