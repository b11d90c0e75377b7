"""What is asked at a bench about a bag that holds other pieces than on record."""

from __future__ import annotations

from typing import Any, Final

from kitting.domain.commands import NOTHING, Asked, Command, Do
from kitting.domain.errors import Refused
from kitting.models import Bag, Bench, OpenBag
from kitting.packing.queries.at_hand import at_hand, this_bag
from kitting.packing.services import clearing, miscounts
from kitting.packing.services.scanned import Answer, Scan, did
from kitting.packing.steps import lines_of

SAID_FIRST: Final = (Do.EMPTY, Do.MORE, Do.EXTRA, Do.BAD)
"""Commands that say what is wrong before the bag is named."""
COUNT: Final = "count"
"""The menu that asks which bag it is about; the next one scanned."""
OF_A_BAG: Final = ("bag", "short", "more", "bad")
"""Menus about one bag; where another one is scanned, they are about that."""
MENUS: Final = (COUNT, *OF_A_BAG)
MOST: Final = 990
"""The tens to which numbers go on a screen."""


def about_bag(scan: Scan, bag: Bag, menu: str = "bag", tens: int = 0) -> Answer:
    """Ask about a bag that stands at the bench.

    Args:
        scan: The scan.
        bag: The bag, with lot and part.
        menu: What is asked.
        tens: The number at which those that are shown begin.

    Returns:
        What is asked.

    Raises:
        WrongStage: ``bag_not_at_bench``, or if it is neither cleared nor used up.
    """
    miscounts.need_here(bag, Bench.objects.get(pk=scan.bench_id))
    asked = Asked(menu, (bag.number,), str(tens or ""), str(bag.moves))
    return Answer(asked=asked, bag=this_bag(scan.bench_id, bag))


def name_bag(scan: Scan, bag: Bag) -> Answer:
    """Take the bag that is counted; what was said of it before is not asked again.

    Args:
        scan: The scan.
        bag: The bag, with lot and part.

    Returns:
        What was done, or what is asked about the bag.

    Raises:
        Refused: As ``count``.
        WrongStage: As ``about_bag``.
    """
    for do in SAID_FIRST if scan.asked.menu == COUNT else ():
        if scan.asked.end.startswith(do):
            return _said(scan, bag, Command(do, end=scan.asked.end.removeprefix(do)))
    return about_bag(scan, bag)


def count(scan: Scan, command: Command) -> Answer:
    """Take a command about a bag that holds other pieces than on record.

    Args:
        scan: The scan.
        command: The command.

    Returns:
        What was done, or what is asked next: which bag, where none was named.

    Raises:
        Conflict: If the bench has another box by now.
        Refused: ``nothing_asked``, ``scrap_reason_unknown``, or as the act is.
        WrongStage: As ``about_bag``, or as the act is.
    """
    scan.need_same_box()
    asked, do = scan.asked, command.do
    if do is Do.NUMBER and asked.menu == COUNT:
        return _nth(scan, command.sets)
    about = asked.menu in (*OF_A_BAG, clearing.PUT) and asked.bags
    if do is Do.COUNT or not about:
        end = f"{do}{command.end}" if do in SAID_FIRST else ""
        return Answer(asked=Asked(COUNT, end=end))
    bag = Bag.objects.select_related("lot__part").filter(number=asked.bags[0]).first()
    if bag is None:
        raise Refused("nothing_asked")
    done = _said(scan, bag, command)
    if asked.menu == clearing.PUT and done.asked == NOTHING:
        return clearing.and_then(scan, done)
    return done


def _said(scan: Scan, bag: Bag, command: Command) -> Answer:
    """Do what is said of a bag, or ask what that needs."""
    asked, do = scan.asked, command.do
    tens = int(asked.end) if asked.end.isdecimal() else 0
    if do is Do.TEN:
        return about_bag(scan, bag, asked.menu, min(tens + 10, MOST))
    if do is Do.MORE:
        return about_bag(scan, bag, "more")
    if do is Do.BAD and not command.end:
        return about_bag(scan, bag, "bad")
    if do is Do.EMPTY and scan.before is None and this_bag(scan.bench_id, bag).inside:
        return about_bag(scan, bag, "short")
    return _act(scan, bag, command, tens)


def _act(scan: Scan, bag: Bag, command: Command, tens: int) -> Answer:
    which: Any = {"bench_id": scan.bench_id, "bag_id": bag.pk, "sign": scan.sign}
    which["moves"] = int(scan.asked.moves) if scan.asked.moves else None
    menu, number = scan.asked.menu, tens + command.sets
    match command.do:
        case Do.EMPTY:
            return did("miss_pieces", miscounts.miss_pieces(inside=0, **which))
        case Do.EXTRA:
            return did("find_pieces", miscounts.find_pieces(pieces=1, **which))
        case Do.BAD:
            return did("scrap_bad", miscounts.scrap_bad(end=command.end, **which))
        case Do.NUMBER if menu == "short":
            return did("miss_pieces", miscounts.miss_pieces(inside=number, **which))
        case Do.NUMBER if menu == "more":
            return did("find_pieces", miscounts.find_pieces(pieces=number, **which))
    raise Refused("nothing_asked")


def _nth(scan: Scan, number: int) -> Answer:
    """The bag that the screen shows in that place."""
    box = scan.target()
    bags = OpenBag.objects.filter(bench=scan.bench_id).order_by("pk")
    here = [row.bag for row in bags.select_related("bag__lot__part")]
    in_work = box if box is not None and box.in_work else None
    shown = at_hand(in_work, lines_of(in_work) if in_work else [], here)
    if not 1 <= number <= len(shown):
        raise Refused("nothing_asked")
    wanted = Bag.objects.select_related("lot__part")
    return name_bag(scan, wanted.get(number=shown[number - 1].bag))
