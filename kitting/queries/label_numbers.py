"""Which things a page asks labels for: named one by one, or all of some whole."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from kitting.domain.stages import BagStage
from kitting.models import Bag, Carrier, Place
from kitting.queries.command_words import command_list, size_commands

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping


def every_command() -> list[str]:
    """Every command label there is, those of box sizes first."""
    return [text for text, _words in (*size_commands(), *command_list())]


def bags_of_lot(number: str) -> list[str]:
    """Bags of a lot that are still there, in order.

    Args:
        number: The lot.

    Returns:
        Their numbers.
    """
    bags = Bag.objects.filter(lot__number=number).exclude(stage=BagStage.USED_UP)
    return list(bags.order_by("number").values_list("number", flat=True))


def bags_cleared_by(run: str) -> list[str]:
    """Bags that a run cleared and that are cleared still, in order.

    Args:
        run: Number of the run.

    Returns:
        Their numbers.
    """
    bags = Bag.objects.filter(cleared_run__number=run, stage=BagStage.CLEARED)
    return list(bags.order_by("number").values_list("number", flat=True))


def cleared_together(bags: Iterable[Bag]) -> bool:
    """Tell whether one run cleared all bags of a carrier, so that it has a label.

    Args:
        bags: The bags on it; those that are used up do not count.

    Returns:
        True if it did, and there are any.
    """
    there = [bag for bag in bags if bag.stage != BagStage.USED_UP]
    runs = {bag.cleared_run_id for bag in there}
    cleared = all(bag.stage == BagStage.CLEARED for bag in there)
    return cleared and len(runs) == 1 and None not in runs


ALL: Final[Mapping[str, Callable[[], list[str]]]] = {
    "place": lambda: list(
        Place.objects.order_by("code").values_list("code", flat=True)
    ),
    "carrier": lambda: list(
        Carrier.objects.order_by("number").values_list("number", flat=True)
    ),
    "command": every_command,
}
"""Labels that can be asked for all at once, by name."""

OF: Final[Mapping[tuple[str, str], Callable[[str], list[str]]]] = {
    ("bag", "lot"): bags_of_lot,
    ("cleared", "run"): bags_cleared_by,
}
"""Labels that can be asked for by what their things belong to."""


def numbers_asked(name: str, asked: Mapping[str, str], named: list[str]) -> list[str]:
    """Give what labels of a kind are asked for.

    Args:
        name: Name of the labels, as in ``queries.labels.LABELLED``.
        asked: The address's query: ``all``, or ``lot`` or ``run`` where there is such.
        named: Numbers that the address names one by one; they come first.

    Returns:
        What the labels name; none where nothing is asked for.
    """
    if named:
        return named
    if "all" in asked and name in ALL:
        return ALL[name]()
    for (labels, word), find in OF.items():
        if labels == name and word in asked:
            return find(asked[word])
    return []
