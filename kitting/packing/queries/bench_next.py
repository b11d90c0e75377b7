"""Which one thing a bench's screen asks for next."""

from __future__ import annotations

from enum import StrEnum

from kitting.packing.queries.bench import Screen


class Next(StrEnum):
    """What the zone *next* shows; each has a part of the page of its own."""

    OFFLINE = "offline"
    WRONG = "wrong"
    UNDO = "undo"
    CANCEL = "cancel"
    CANCELLED = "cancelled"
    DAMAGED = "damaged"
    APART = "apart"
    COUNT = "count"
    BAG = "bag"
    SHORT = "short"
    MORE = "more"
    BAD = "bad"
    PRINT_AGAIN = "print_again"
    TAKE_OFF = "take_off"
    QUARANTINE = "quarantine"
    CLEAR = "clear"
    PUT = "put"
    SHIFT = "shift"
    HAND_OVER = "hand_over"
    SET_BACK = "set_back"
    IS_SET_BACK = "is_set_back"
    CHOOSE = "choose"
    NO_PRODUCT = "no_product"
    HELD = "held"
    OVERDUE = "overdue"
    SCAN = "scan"
    NONE_TO_SCAN = "none_to_scan"
    CLOSE = "close"
    WEIGH = "weigh"
    PRINT = "print"
    LABEL = "label"


MENUS = {
    "undo": Next.UNDO,
    "cancel": Next.CANCEL,
    "cancelled": Next.CANCELLED,
    "damaged": Next.DAMAGED,
    "apart": Next.APART,
    "count": Next.COUNT,
    "bag": Next.BAG,
    "short": Next.SHORT,
    "more": Next.MORE,
    "bad": Next.BAD,
    "print": Next.PRINT_AGAIN,
    "take_off": Next.TAKE_OFF,
    "quarantine": Next.QUARANTINE,
    "clear": Next.CLEAR,
    "put": Next.PUT,
    "shift": Next.SHIFT,
    "hand_over": Next.HAND_OVER,
    "set_back": Next.SET_BACK,
    "is_set_back": Next.IS_SET_BACK,
}
"""What is shown for a choice that a scan asks for."""


def following(screen: Screen, menu: str, *, refused: bool) -> Next:
    """What the zone *next* shows.

    Args:
        screen: What the bench shows.
        menu: The choice that the scan asks for, where it asks for one.
        refused: Whether the scan was refused.

    Returns:
        The one thing to show.
    """
    if refused:
        return Next.WRONG
    if menu:
        return MENUS[menu]
    if screen.step == "choose":
        return Next.CHOOSE if screen.choices else Next.NO_PRODUCT
    if screen.step == "fill":
        return Next.SCAN if screen.offers else Next.NONE_TO_SCAN
    return Next(screen.step)
