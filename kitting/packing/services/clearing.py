"""Clearing a bench at the end of a shift: every open bag gets a place or a count."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from kitting.domain.commands import NOTHING, Asked, Command, Do
from kitting.domain.errors import Refused, WrongStage
from kitting.models import Bag, Bench, OpenBag, Place
from kitting.packing.queries.at_hand import this_bag
from kitting.packing.services import boxes
from kitting.packing.services.scanned import Answer, Scan, did
from kitting.places.services import places

CLEAR: Final = "clear"
"""The menu that shows what is open at the bench still."""
PUT: Final = "put"
"""The menu that asks where a bag goes; the next place that is scanned."""
MENUS: Final = (CLEAR, PUT)


def ask(scan: Scan) -> Answer:
    """Ask which of the open bags is put away first.

    Args:
        scan: The scan.

    Returns:
        What is asked.

    Raises:
        Refused: ``no_open_bag``.
    """
    standing = Bag.objects.filter(pieces__gt=0, place__bench=scan.bench_id)
    if not _open_here(scan) and not standing.exists():
        raise Refused("no_open_bag")
    return Answer(asked=Asked(CLEAR))


def name_bag(scan: Scan, bag: Bag) -> Answer:
    """Ask where a bag goes: an open one, or one that stands at the bench, such as a held one.

    Args:
        scan: The scan.
        bag: The bag, with lot and part.

    Returns:
        What is asked.

    Raises:
        WrongStage: ``bag_not_open_here``.
    """
    bench = Bench.objects.get(pk=scan.bench_id)
    if bag not in _open_here(scan) and bag.place_id != bench.place_id:
        raise WrongStage("bag_not_open_here", bag=bag.number, bench=bench.name)
    asked = Asked(PUT, (bag.number,))
    return Answer(asked=asked, bag=this_bag(scan.bench_id, bag))


def put(scan: Scan, place: Place) -> Answer:
    """Put the bag that was named at a place; at the bench's own it stays, not open.

    Args:
        scan: The scan.
        place: The place that was scanned.

    Returns:
        What was done, and what is open still.

    Raises:
        Refused: ``nothing_asked``, or as putting it away is.
        WrongStage: ``bag_not_open_here`` if it is to stay and is not open any more.
    """
    if Bench.objects.filter(pk=scan.bench_id, place=place).exists():
        return _stays(scan)
    done = places.put_bag(bag_id=_named(scan).pk, place_id=place.pk, sign=scan.sign)
    return and_then(scan, did("put_bag", done))


def answer(scan: Scan, command: Command) -> Answer:
    """Take yes for a bag that stays, or the number of the bag on the screen.

    Args:
        scan: The scan.
        command: The command.

    Returns:
        What was done, or what is asked next.

    Raises:
        Refused: ``nothing_asked``.
        WrongStage: ``bag_not_open_here``.
    """
    if scan.asked.menu == PUT and command.do is Do.YES:
        return _stays(scan)
    here = _open_here(scan)
    is_number = scan.asked.menu == CLEAR and command.do is Do.NUMBER
    if is_number and 1 <= command.sets <= len(here):
        return name_bag(scan, here[command.sets - 1])
    raise Refused("nothing_asked")


def _stays(scan: Scan) -> Answer:
    bag_id = _named(scan).pk
    gave = boxes.take_off_bench(bench_id=scan.bench_id, bag_id=bag_id, sign=scan.sign)
    return and_then(scan, did("take_off_bench", gave))


def _named(scan: Scan) -> Bag:
    bag = Bag.objects.filter(number__in=scan.asked.bags[:1]).first()
    if bag is None:
        raise Refused("nothing_asked")
    return bag


def and_then(scan: Scan, done: Answer) -> Answer:
    """Show what is open still, once a bag was put away or counted.

    Args:
        scan: The scan.
        done: What was done.

    Returns:
        The same, with what is asked next.
    """
    return replace(done, asked=Asked(CLEAR) if _open_here(scan) else NOTHING)


def _open_here(scan: Scan) -> list[Bag]:
    rows = OpenBag.objects.filter(bench=scan.bench_id).order_by("pk")
    return [row.bag for row in rows.select_related("bag__lot__part")]
