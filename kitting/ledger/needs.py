"""What an act cannot do without: reasons, texts of a length that fits, rows."""

from __future__ import annotations

from collections.abc import Collection
from typing import TYPE_CHECKING, TypeVar
from unicodedata import category

from django.db.models import Model, QuerySet

from kitting.domain.errors import Missing, Refused, WrongStage
from kitting.models import Box, User, Workshop

if TYPE_CHECKING:
    from kitting.ledger.operations import Act

M = TypeVar("M", bound=Model)

LONGEST_REASON = 200
"""Characters that a reason may have."""


def need_length(what: str, text: str, most: int) -> str:
    """Tidy a text that may be missing.

    Args:
        what: What the text is, in words.
        text: As it was entered.
        most: Characters that the record has room for.

    Returns:
        The text without blanks around it.

    Raises:
        Refused: ``entry_too_long``, ``entry_not_shown`` for a control character other
            than the end of a line and a tab.
    """
    bare = text.strip()
    if len(bare) > most:
        raise Refused("entry_too_long", what=what, most=most)
    if any(category(each) == "Cc" and each not in "\r\n\t" for each in bare):
        raise Refused("entry_not_shown", what=what)
    return bare


def need_text(
    what: str, text: str, most: int, *, missing: str = "entry_missing"
) -> str:
    """Tidy a text that an act cannot do without.

    Args:
        what: What the text is, in words.
        text: As it was entered.
        most: Characters that the record has room for.
        missing: The code where it is missing.

    Returns:
        The text without blanks around it.

    Raises:
        Refused: ``missing`` or ``entry_too_long``.
    """
    if not text.strip():
        raise Refused(missing, what=what)
    return need_length(what, text, most)


def need_reason(text: str, most: int = LONGEST_REASON) -> str:
    """Tidy a reason that an act cannot do without.

    Args:
        text: As it was entered.
        most: Characters that the record has room for.

    Returns:
        The reason without blanks around it.

    Raises:
        Refused: ``reason_missing``, ``entry_too_long``.
    """
    return need_text("reason", text, most, missing="reason_missing")


def need_another(act: Act, did: Collection[int], code: str, **params: object) -> None:
    """Refuse an act to whoever did what it confirms, unless one person may do both.

    Args:
        act: The act.
        did: Who did it, by their ids.
        code: The refusal.
        params: What its sentence names.

    Raises:
        Refused: ``code``.
    """
    if is_own(act.workshop, act.sign.by, did):
        raise Refused(code, **params)


def is_own(workshop: Workshop, person: User, did: Collection[int]) -> bool:
    """Tell whether somebody else has to confirm what these did, for a page to say."""
    return workshop.two_people and person.pk in did


def wrong_box(box: Box, wanted: str) -> WrongStage:
    """Give the refusal of a box that is in another stage than is wanted."""
    return WrongStage("box_wrong_stage", box=str(box), stage=box.stage, wanted=wanted)


def need_row(rows: QuerySet[M], what: str = "") -> M:
    """Read a row that an act cannot do without; it is not locked.

    Args:
        rows: The row, or none.
        what: What it is, where that is not the table's own name.

    Returns:
        The row.

    Raises:
        Missing: ``row_missing``.
    """
    row = rows.first()
    if row is None:
        raise Missing("row_missing", what=what or rows.model._meta.model_name)
    return row
