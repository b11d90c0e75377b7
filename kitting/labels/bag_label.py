"""What the label of a bag says, and what its two symbols carry."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date

from kitting.labels.carried import Carried, of_number


@dataclass(frozen=True)
class BagWords:
    """Every word on the label that is not data, in the workshop's language."""

    revision: str = "Revision"
    lot: str = "Lot"
    pieces: str = "Pieces"
    made_on: str = "Made"
    reprint: str = "Reprint {copy}"


@dataclass(frozen=True)
class BagContent:
    """What is in a bag that has come to life."""

    part: str
    revision: str
    lot: str
    pieces: str
    """The count as it is printed, with its unit where that is not pieces."""

    made_on: date


@dataclass(frozen=True)
class BagLabel:
    """A bag's number, and what is in the bag once that is known."""

    number: str
    content: BagContent | None = None
    """None for a number printed ahead on a blank label."""

    mark: str | None = None
    """Text on a black band across the top, such as "DEMONSTRATION – NOT FOR USE"."""

    words: BagWords = field(default_factory=BagWords)
    copy: int = 1
    """Which print of this label it is; from the second on the label says so."""


def bag_symbols(label: BagLabel) -> tuple[Carried, Carried]:
    """Tell what the two symbols of a bag label carry: the number, twice.

    Args:
        label: The label.

    Returns:
        The linear symbol and the matrix.
    """
    return of_number(label.number, linear=True), of_number(label.number, linear=False)
