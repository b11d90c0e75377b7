"""What a scan or a typed number names."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from django.db.models import Model

from kitting.domain import gs1, numbers
from kitting.domain.badges import holds_badge
from kitting.domain.commands import is_command
from kitting.domain.errors import CodeError, Missing
from kitting.domain.shown import shown
from kitting.ledger.gaps import made_after_backup
from kitting.ledger.kept import Kept
from kitting.models import Bag, Box, Carrier, Lot, Place, Run

LONGEST = 200
"""Longer text than this is no scan of ours; a GS1-128 symbol holds 48 characters."""


@dataclass(frozen=True)
class Found:
    """A thing that a scan named."""

    kind: str
    """lot, bag, run, box, carrier, place; number for that of a shipment, request, …"""
    row: Model | None
    text: str
    """The number as it is stored."""


READERS: Final[list[Callable[[str], Found | None]]] = []
"""What rooms know to read besides numbers and GS1 data; None where it is not theirs."""


def register(reader: Callable[[str], Found | None]) -> None:
    """Add a reader of a room; once, when it is loaded."""
    READERS.append(reader)


OF_SSCC: Final[list[Callable[[str], Found | None]]] = []
"""What rooms know of SSCCs that no box has."""


def asked_of(text: str) -> list[tuple[Kept[Bag], str]]:
    """What ``read`` is going to ask of the number of a bag, to be foreseen."""
    bag = numbers.looks_like(text) is numbers.Kind.BAG
    return [(_BAG, _plain(text))] if bag else []


NAMED: Final[list[Callable[[str], str]]] = []
"""What rooms know by its name: the address of its page, empty where nothing is called so."""


def named(text: str) -> str:
    """Give the page of what a text names that is no number.

    Args:
        text: As it was typed.

    Returns:
        Its address; empty where nothing is called so.
    """
    return next(filter(None, (page(text) for page in NAMED)), "")


def read(text: str) -> Found:
    """Find what any text from a scanner or keyboard names.

    Args:
        text: As it came: with or without symbology identifier, GS1 or plain.

    Returns:
        What was found; ``row`` is None only for kind ``number``.

    Raises:
        CodeError: ``scan_empty``, ``scan_too_long``, ``badge_not_here`` without
            telling what was read, ``command_not_here``, ``scan_unreadable``,
            ``number_check_wrong``, ``number_nearly``, ``one_at_a_time``,
            ``scan_separator_lost``, or why its GS1 data is wrong.
        Missing: ``nothing_has_number`` if nothing has that number, ``made_after_backup``
            if it was given out and lost.
    """
    if not text.strip():
        raise CodeError("scan_empty")
    if len(text) > LONGEST:
        raise CodeError("scan_too_long", read=shown(text), most=LONGEST)
    if holds_badge(text):  # pages never let one in; a command's argument comes here
        raise CodeError("badge_not_here")
    if is_command(text):
        raise CodeError("command_not_here", read=shown(text))
    for reader in READERS:
        found = reader(text.strip())
        if found is not None:
            return found
    scan = gs1.read_scan(text)
    if scan.kind == gs1.ScanKind.GS1:
        return _of_gs1(scan, text)
    if scan.number is not None:
        return of_number(scan.number)
    if not text.strip().isprintable():
        raise CodeError("scan_unreadable", read=shown(text))
    return of_number(text)


def _of_gs1(scan: gs1.Scan, text: str) -> Found:
    try:
        refusal = scan.refusal()
        if refusal is not None:
            raise refusal
        return _of_elements(dict(scan.elements), text)
    except (CodeError, Missing) as error:
        if scan.number is None:
            raise
        refused = error
    try:
        return of_number(scan.number)  # bare digits may be a lot's number as well
    except Missing as error:
        raise (refused if refused.code == "made_after_backup" else error) from None


def _of_elements(elements: dict[str, str], text: str) -> Found:
    if "00" in elements:
        found = _of_sscc(elements["00"])
        if found is None:
            raise nothing_has(elements["00"])
        return found
    if "21" in elements:
        found = _box({"serial": elements["21"]}, elements["21"])
        box = found.row
        gtin = elements.get("01")
        if gtin and isinstance(box, Box) and box.size.gtin != gtin:
            raise Missing("nothing_has_number", read=shown(text))
        return found
    raise Missing("nothing_has_number", read=shown(text))


def _box(lookup: dict[str, str], number: str) -> Found:
    box = Box.objects.select_related("size").filter(**lookup).first()
    if box is None:
        raise nothing_has(number)
    return Found("box", box, number)


def _of_sscc(sscc: str) -> Found | None:
    box = Box.objects.select_related("size").filter(sscc=sscc).first()
    if box is not None:
        return Found("box", box, sscc)
    return next(filter(None, (reader(sscc) for reader in OF_SSCC)), None)


def of_number(text: str) -> Found:
    """Find what a plain number names: ours by its letter, then lots, SSCCs, places.

    Args:
        text: The number; blanks and small letters do not matter.

    Returns:
        What was found.

    Raises:
        CodeError: ``number_check_wrong`` for a mistyped number of ours,
            ``number_nearly`` where one that is on record is meant, as it seems, and
            ``one_at_a_time`` for several.
        Missing: ``nothing_has_number`` or ``made_after_backup``.
    """
    plain = _plain(text)
    found = ours(plain) or _others(plain)
    if found is not None:
        return found
    if sum(map(bool, map(numbers.looks_like, _APART.split(text)))) > 1:
        raise CodeError("one_at_a_time", read=shown(text))
    if near := next(filter(ours, numbers.near(plain)), ""):
        raise CodeError("number_nearly", read=shown(text), near=near)
    try:
        numbers.read(plain)
    except CodeError as error:
        if error.code == "number_check_wrong":
            raise
    raise nothing_has(text)


def _plain(text: str) -> str:
    return "".join(text.split()).upper()


def nothing_has(text: str) -> Missing:
    """Make the refusal of a number that nothing on record has.

    Args:
        text: The number.

    Returns:
        ``made_after_backup`` if it was given out and lost, else ``nothing_has_number``.
    """
    lost = made_after_backup(_plain(text))
    code = "made_after_backup" if lost else "nothing_has_number"
    return Missing(code, read=shown(text))


_APART: Final = re.compile(r"[\s,;]+")

_OF_DISPATCH = frozenset(
    {
        *(numbers.Kind.SHIPMENT, numbers.Kind.REQUEST),
        *(numbers.Kind.ALLOTMENT, numbers.Kind.PALLET, numbers.Kind.CASE),
        numbers.Kind.COMPLAINT,
    }
)
"""Kinds whose rows are of the other application."""


def ours(plain: str) -> Found | None:
    """Find what a number of ours names, by its letter; None for what is none of ours."""
    kind = numbers.looks_like(plain)
    if kind is numbers.Kind.BAG:
        return _row("bag", next(iter(_BAG(plain)), None), plain)
    if kind is numbers.Kind.RUN:
        return _row(
            "run",
            Run.objects.select_related("protocol").filter(number=plain).first(),
            plain,
        )
    if kind in (numbers.Kind.BOX, numbers.Kind.SERIAL):
        field = "number" if kind is numbers.Kind.BOX else "serial"
        return _row("box", Box.objects.filter(**{field: plain}).first(), plain)
    if kind is numbers.Kind.CARRIER:
        return _row("carrier", Carrier.objects.filter(number=plain).first(), plain)
    if kind in _OF_DISPATCH:
        return Found("number", None, plain)
    return None


_BAG = Kept(
    lambda number: Bag.objects.select_related("lot__part").filter(number=number)
)


def _others(plain: str) -> Found | None:
    lots = Lot.objects.select_related("part", "revision", "method__release")
    lot = lots.filter(number=plain).first()
    if lot is not None:
        return Found("lot", lot, plain)
    if gs1.sscc_ok(plain):
        return _of_sscc(plain)
    sourced = lots.filter(source_number__iexact=plain)[:2]
    if len(sourced) == 1:
        return Found("lot", sourced[0], sourced[0].number)
    place = Place.objects.filter(code__iexact=plain).first()
    return _row("place", place, plain)


def _row(kind: str, row: Model | None, text: str) -> Found | None:
    return None if row is None else Found(kind, row, text)
