"""Rows of the set-up that are known by a code: stocks, printers, places, methods."""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict
from functools import cache
from typing import TYPE_CHECKING, Any, Final, TypeVar

from django.db.models import Model, QuerySet

from kitting.domain.errors import Conflict, Refused
from kitting.ledger import locking
from kitting.ledger.kept import Kept
from kitting.ledger.needs import need_row, need_text
from kitting.ledger.operations import Act
from kitting.models import Workshop

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

CODE_LONGEST: Final = 20
NAME_LONGEST: Final = 60
PLACE_CODE_LONGEST: Final = 12
PART_CODE_LONGEST: Final = 12
BENCH_CODE_LONGEST: Final = 12
PRODUCT_CODE_LONGEST: Final = 8
CONSIGNEE_CODE_LONGEST: Final = 12

_NOT_SET_UP: Final = ("id", "asleep_until")
"""Columns that no manager enters."""

R = TypeVar("R", bound=Model)


def need_code(code: str, most: int = CODE_LONGEST) -> None:
    """Refuse a code that nothing can have.

    Args:
        code: The code.
        most: Characters that it may have.

    Raises:
        Refused: ``code_malformed``.
    """
    plain = code.isascii() and code.replace("-", "").isalnum()
    if not plain or len(code) > most or code != code.upper():
        raise Refused("code_malformed", read=code, most=most)


def need_free_code(model: type[Model], code: str, was: str = "") -> None:
    """Refuse a code that no row of a table can have, or that another one has.

    Args:
        model: The table.
        code: The code.
        was: The code that the row has; empty for a new one.

    Raises:
        Conflict: ``code_taken``, in capitals or not.
        Refused: ``code_malformed``.
    """
    column: Any = model._meta.get_field("code")
    need_code(code, column.max_length)
    if any(each.code != was for each in _alike(model)(code)):
        raise Conflict("code_taken", read=code)


@cache
def _alike(model: type[Any]) -> Kept[Any]:
    """Rows of a table whose code is the same in capitals or not."""
    return Kept(lambda code: model._default_manager.filter(code__iexact=code))


def need_name(name: str, most: int = NAME_LONGEST) -> str:
    """Tidy what people call a row, which it cannot do without."""
    return need_text("name", name, most, missing="set_up_name_missing")


def fill(row: Model, facts: DataclassInstance) -> None:
    """Let a row say what was entered of it, column by column, its name tidied."""
    for name, value in asdict(facts).items():
        setattr(row, name, need_name(value) if name == "name" else value)


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


def mark_of(row: Model, *more: object) -> str:
    """What a form remembers of a row, so that a change of somebody else is noticed.

    Args:
        row: What is set up.
        *more: What is entered of it in other tables.

    Returns:
        A hash of everything that a manager enters.
    """
    values = {
        column.attname: getattr(row, column.attname)
        for column in row._meta.concrete_fields
        if column.name not in _NOT_SET_UP
    }
    said = json.dumps([values, *more], sort_keys=True, default=str)
    return hashlib.sha256(said.encode()).hexdigest()


def row_to_keep(
    act: Act, model: type[R], code: str, was: str = "", seen: str = ""
) -> R:
    """Give a new row, or the one that is to have a code, under its lock.

    Args:
        act: The act, which sets the workshop up.
        model: The table.
        code: The code that the row is to have.
        was: The code that it has; empty for a new one.
        seen: As for ``row_to_change``.

    Returns:
        The row.

    Raises:
        Conflict: ``code_taken``, in capitals or not; ``page_is_old``.
        Missing: ``row_missing`` if there is none of the code that it has.
        Refused: ``code_malformed``.
    """
    # One set-up at a time: a code is free, and a stock in use, until the act is done.
    locking.lock_row(Workshop, act.workshop.pk)
    if code != was:
        need_free_code(model, code, was)
    rows = model._default_manager.filter(code=was)
    row = row_to_change(act, rows, seen) if was else model()
    row.code = code  # type: ignore[attr-defined]
    return row


def row_to_change(act: Act, rows: QuerySet[R], seen: str, *beside: str) -> R:
    """Give the row to change, under its lock.

    Args:
        act: The act, which sets the workshop up.
        rows: The row, or none.
        seen: ``mark_of`` the row that was looked at before; empty to change it
            whatever it is by now.
        *beside: Relations to read with it.

    Returns:
        The row.

    Raises:
        Conflict: ``page_is_old`` if somebody changed it meanwhile.
        Missing: ``row_missing`` if there is none.
    """
    locking.lock_row(Workshop, act.workshop.pk)
    found = locking.lock_row(rows.model, need_row(rows).pk, *beside)
    if seen and seen != mark_of(found):
        raise Conflict("page_is_old")
    return found
