"""Inner steps on numbers of blank bag labels: which are free, and new ones."""

from __future__ import annotations

from collections import Counter as Tally
from collections.abc import Sequence
from typing import Final

from kitting.domain import gs1, numbers
from kitting.domain.errors import CodeError, Conflict
from kitting.ledger.counters import take
from kitting.ledger.gaps import need_given_out
from kitting.ledger.operations import Act
from kitting.models import Bag

BLANKS: Final = " \t\r\n\u00a0"
"""What leaves a number empty; a separator (0x1D) alone is a scan that went wrong."""


def numbers_for_bags(act: Act, given: Sequence[str]) -> list[str]:
    """The numbers of new bags: those on blank labels, and new ones for the rest.

    Args:
        act: The act.
        given: For each bag the scanned number of a blank label, or "".

    Returns:
        A number for each bag, in order.

    Raises:
        CodeError: If a scanned number is not a bag number.
        Conflict: ``bag_exists`` if one is in use or named twice.
        Refused: ``number_not_given_out`` or ``made_after_backup`` if this database did
            not give one out.
    """
    site = act.workshop.site
    read = [blank_number(text) if text.strip(BLANKS) else "" for text in given]
    wanted = [number for number in read if number]
    if wanted:
        need_given_out(site, numbers.Kind.BAG, wanted)
        taken = Bag.objects.filter(number__in=wanted).values_list("number", flat=True)
        twice = [number for number, times in Tally(wanted).items() if times > 1]
        for number in [*taken, *twice]:
            raise Conflict("bag_exists", bag=number)
    missing = len(given) - len(wanted)
    fresh = iter(take(site, numbers.Kind.BAG, missing) if missing else [])
    return [number or next(fresh) for number in read]


def blank_number(text: str) -> str:
    """Read the number of a bag as scanned or typed.

    Args:
        text: Any text.

    Returns:
        The number as it is stored.

    Raises:
        CodeError: If it is no bag number.
    """
    number = numbers.read(gs1.read_scan(text).number or text)
    if number.kind is not numbers.Kind.BAG:
        raise CodeError("not_a_bag_number", read=number.text)
    return number.text
