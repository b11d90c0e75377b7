"""A bag that was open for too long, set back where that is met: at a bench."""

from __future__ import annotations

from dataclasses import replace
from typing import Final
from uuid import uuid5

from kitting.domain.commands import Asked
from kitting.domain.errors import LotwardError, Refused
from kitting.domain.stages import BoxStage
from kitting.labels.kinds import BAG
from kitting.ledger.stopped import told
from kitting.lots.services.set_back import set_back
from kitting.models import Bag, Box, BoxLine
from kitting.models.boxes import IN_WORK
from kitting.packing.services.scanned import Answer, Scan, did
from kitting.printing.services.prints import onto_bench, print_labels

MENU: Final = "set_back"
"""The menu that asks which bag it is; the next one scanned."""
DONE: Final = "is_set_back"
"""The menu that says what is done with the new bag."""


def ask(scan: Scan) -> Answer:
    """Ask which bag is set back, or set back the one that the screen names.

    Args:
        scan: The scan.

    Returns:
        What is asked, or was done.

    Raises:
        LotwardError: As ``set_back``.
    """
    named = scan.asked.bags if scan.asked.menu == MENU else ()
    bag = Bag.objects.filter(number__in=named[:1]).first()
    return Answer(asked=Asked(MENU)) if bag is None else name_bag(scan, bag)


def name_bag(scan: Scan, bag: Bag) -> Answer:
    """Set a bag back; the label of the new one comes out at the bench.

    The label is an act of its own: where it cannot be printed, the bag is set back.

    Args:
        scan: The scan.
        bag: The bag.

    Returns:
        What was done, and what is shown of the new bag.

    Raises:
        Refused: ``overdue_in_box`` where the open box has pieces of it.
        LotwardError: As ``set_back``.
    """
    if scan.before is None:
        _refuse_in_box(scan.bench_id, bag)
    done = set_back(bag_id=bag.pk, sign=scan.sign)
    if scan.goes_on:  # in practice nothing is printed
        _print(scan, done.into)
    return replace(did(MENU, done), asked=Asked(DONE, (done.into,)))


def _refuse_in_box(bench_id: int, bag: Bag) -> None:
    at_bench = Box.objects.filter(IN_WORK, bench=bench_id, stage=BoxStage.OPEN)
    lines = BoxLine.objects.filter(box__in=at_bench, bag=bag)
    inside = list(lines.select_related("lot__part", "bag", "box"))
    if inside:
        out = ", ".join(map(told, inside))
        raise Refused("overdue_in_box", box=str(inside[0].box), out=out)


def _print(scan: Scan, number: str) -> None:
    # It is signed at no bench: what was done last here is the setting back.
    key = uuid5(scan.sign.key, "label")
    sign = replace(scan.sign, key=key, bench_id=None)
    onto = onto_bench(BAG, scan.bench_id)
    try:
        print_labels(kind=BAG.name, numbers=[number], onto=onto, sign=sign)
    except LotwardError:
        return  # The screen offers to print it.
