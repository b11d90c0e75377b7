"""Labels for the places, printed once on sheets: nobody types where something stands."""

from __future__ import annotations

from typing import Final

from kitting.domain.prints import Onto
from kitting.printing.services import prints
from lotward.demo.making import Floor

SHEETS: Final = "A4-70X40"
"""The workshop has no label printer yet: a PDF for the printer of its office."""


def label_the_places(floor: Floor) -> None:
    """Print a label for every place.

    Args:
        floor: The workshop.
    """
    prints.print_labels(
        kind="place",
        numbers=sorted(floor.catalogue.places),
        onto=Onto(stock=SHEETS),
        sign=floor.clock.sign("manager", 600),
    )
