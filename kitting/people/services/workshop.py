"""The workshop named, and what it asks of its people."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final
from unicodedata import category

from kitting.domain import gs1
from kitting.domain.errors import Refused
from kitting.labels.postal import country_name
from kitting.ledger import locking
from kitting.ledger.clock import time_zones
from kitting.ledger.operations import Act, Sign, perform
from kitting.models import Workshop
from kitting.models.workshop import LONGEST_IDLE_MIN, SCRAP_REASONS

MOST_REASONS: Final = 20
"""Reasons that a list to choose from holds before nobody reads it any more."""
LONGEST_REASON: Final = 40
MOST_QUESTIONS: Final = 5
"""More before every shift are answered without looking."""
LONGEST_QUESTION: Final = 60
"""What a tablet shows large and whole, at twice its zoom as well."""


_ENDS: Final = frozenset(("Cc", "Zl", "Zp"))
"""Categories of Unicode that have the ends of lines and of paragraphs."""


@dataclass(frozen=True)
class Particulars:
    """Who makes the goods, as it will stand on labels from now on."""

    name: str
    address: str
    time_zone: str
    gs1_prefix: str
    country: str
    """Two capitals, as in ISO 3166-1."""
    two_people: bool = True
    """Whether nobody lifts their own hold, or signs a protocol that they wrote."""
    scrap_reasons: str = SCRAP_REASONS
    """Why pieces are scrapped, a reason a line."""
    contact: str = ""
    """Whom a ward asks: a telephone number or an address."""
    night_contact: str = ""
    """Whom a ward asks at night."""
    idle_min: int = 60
    """Minutes after which whoever does nothing is signed out; 0 for never."""
    shift_questions: str = ""
    """What is asked at the start of a shift besides, a question a line."""


def change_workshop(*, to: Particulars, sign: Sign) -> Particulars:
    """Change the workshop's particulars, and whether some acts need two people.

    Boxes that have their identity keep it; labels printed again show the new name.

    Args:
        to: The new particulars; the prefix and the country may be empty.
        sign: Who, when and the operation key.

    Returns:
        The particulars as they stand now.

    Raises:
        CodeError: ``gs1_prefix`` for a prefix that is none, ``country_unknown``.
        Refused: ``name_missing``, ``name_of_lines``, ``time_zone_unknown``, ``idle_too_long``; ``scrap_reasons_wrong``
            without one, with too many or one that is too long; ``shift_questions_wrong``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Particulars:
        workshop = locking.lock_row(Workshop, act.workshop.pk)
        name = need_name(to.name)
        if to.time_zone not in time_zones():
            raise Refused("time_zone_unknown", read=to.time_zone)
        if to.gs1_prefix:
            gs1.sscc(to.gs1_prefix, 1)
        need_idle(to.idle_min)
        if to.country:
            country_name(to.country)
        workshop.name = name
        workshop.address = "\n".join(to.address.strip().splitlines())
        workshop.country = to.country
        workshop.time_zone = to.time_zone
        workshop.gs1_prefix = to.gs1_prefix
        workshop.contact = to.contact.strip()
        workshop.night_contact = to.night_contact.strip()
        workshop.two_people = to.two_people
        workshop.idle_min = to.idle_min
        workshop.scrap_reasons = reasons_of(to.scrap_reasons)
        workshop.shift_questions = questions_of(to.shift_questions)
        workshop.save(update_fields=list(vars(to)))
        return Particulars(
            name=workshop.name,
            address=workshop.address,
            time_zone=workshop.time_zone,
            gs1_prefix=workshop.gs1_prefix,
            country=workshop.country,
            two_people=workshop.two_people,
            scrap_reasons=workshop.scrap_reasons,
            contact=workshop.contact,
            night_contact=workshop.night_contact,
            idle_min=workshop.idle_min,
            shift_questions=workshop.shift_questions,
        )

    return perform("change_workshop", work, Particulars, sign, **vars(to))


def need_name(name: str) -> str:
    """Tidy the name of a workshop: it stands on labels and in the subject of an e-mail.

    Args:
        name: As it was entered.

    Returns:
        The name without blanks around it.

    Raises:
        Refused: ``name_missing``, ``name_of_lines`` for one with the end of a line or another
            control character in it.
    """
    bare = name.strip()
    if not bare:
        raise Refused("name_missing")
    if any(category(each) in _ENDS for each in bare):
        raise Refused("name_of_lines")
    return bare


def need_idle(minutes: int) -> None:
    """Refuse to sign people out later than any session ends.

    Args:
        minutes: After so many whoever does nothing is signed out; 0 for never.

    Raises:
        Refused: ``idle_too_long``.
    """
    if not 0 <= minutes <= LONGEST_IDLE_MIN:
        raise Refused("idle_too_long", most=LONGEST_IDLE_MIN)


def reasons_of(text: str) -> str:
    """Read a list of reasons: a reason a line, none of them twice.

    Args:
        text: As it was entered.

    Returns:
        The reasons, tidied.

    Raises:
        Refused: ``scrap_reasons_wrong`` without one, with too many or too long a one.
    """
    reasons = _tidy(text)
    longest = max(map(len, reasons), default=0)
    if not 1 <= len(reasons) <= MOST_REASONS or longest > LONGEST_REASON:
        raise Refused("scrap_reasons_wrong", most=MOST_REASONS, longest=LONGEST_REASON)
    return "\n".join(reasons)


def questions_of(text: str) -> str:
    """Read a list of questions that yes answers: a question a line, none of them twice.

    Args:
        text: As it was entered.

    Returns:
        The questions, tidied; empty for none.

    Raises:
        Refused: ``shift_questions_wrong`` with too many, or one that is too long or
            has no question mark at its end.
    """
    questions = _tidy(text)
    good = all(len(one) <= LONGEST_QUESTION and one.endswith("?") for one in questions)
    if len(questions) > MOST_QUESTIONS or not good:
        most, longest = MOST_QUESTIONS, LONGEST_QUESTION
        raise Refused("shift_questions_wrong", most=most, longest=longest)
    return "\n".join(questions)


def _tidy(text: str) -> list[str]:
    lines = [" ".join(line.split()) for line in text.splitlines()]
    return list(dict.fromkeys(line for line in lines if line))
