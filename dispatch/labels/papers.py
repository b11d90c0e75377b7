"""What goes along with a shipment: the packing list and the delivery note.

Every word that is not data comes with it, in the language of the consignee.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

from dispatch.labels.scanned import scanned_band
from dispatch.labels.sheets import (
    BOLD,
    NOTE,
    SIDE,
    TEXT,
    TITLE,
    Around,
    Band,
    Column,
    Line,
    beside,
    head_band,
    press,
    table,
    text_band,
    to_fill,
)
from kitting.domain.shown import spaced
from kitting.labels.bidi import isolated
from kitting.labels.stock import Stock


@dataclass(frozen=True)
class Packed:
    """A box as its receiver finds it."""

    serial: str
    sscc: str
    product: str
    sets: int
    packed_on: date | None
    use_by: date | None = None
    disinfected: tuple[tuple[str, date], ...] = ()
    """What may be said of all that is inside, and since when."""
    lots: tuple[tuple[str, tuple[str, ...]], ...] = ()
    """Each part with the lots of it that are inside."""


@dataclass(frozen=True)
class OnPallet:
    """A pallet as its receiver finds it."""

    number: str
    sscc: str
    serials: frozenset[str]
    """Of the boxes on it."""


@dataclass(frozen=True)
class Load:
    """A shipment as its papers tell it."""

    words: Mapping[str, str]
    shipment: str
    ship_to: tuple[str, ...]
    """Name and address from the top, the ward included."""
    contact: tuple[str, ...]
    """Whom to ask there, and when deliveries are taken."""
    ship_from: tuple[str, ...]
    sent_on: date | None
    """None while it is open: what is in it may still change."""
    packed: tuple[Packed, ...]
    """By serial."""
    pallets: tuple[OnPallet, ...] = ()
    """By number; boxes may come on none."""
    reference: str = ""
    haulier: str = ""
    driver: str = ""
    vehicle: str = ""
    seal: str = ""
    requests: tuple[str, ...] = ()
    """Those that it serves."""
    cautions: tuple[tuple[str, tuple[str, ...]], ...] = ()
    """Of each product, as its boxes say them."""
    address: str = ""
    """Where the consignee reads what is in its boxes; empty where it has no link."""
    head: str = ""
    """Number and first digits of the newest link of the journal."""
    mark: str | None = None

    @property
    def sets(self) -> int:
        """Sets in all boxes."""
        return sum(box.sets for box in self.packed)

    def sizes(self) -> list[tuple[str, int, int, int]]:
        """Product, sets in a box, boxes and their sets, the largest boxes first."""
        found: dict[tuple[str, int], int] = {}
        for box in self.packed:
            found[box.product, box.sets] = found.get((box.product, box.sets), 0) + 1
        kinds = sorted(found.items(), key=lambda kind: (kind[0][0], -kind[0][1]))
        return [(name, sets, n, n * sets) for (name, sets), n in kinds]


def packing_list(load: Load, on: Stock) -> bytes:
    """Draw the packing list: every box with all that tells it apart.

    Args:
        load: The shipment; at least one box.
        on: The paper.

    Returns:
        The document, as PDF.

    Raises:
        NotFit: A character that the typeface lacks.
    """
    wide = _wide(on)
    bands = [
        *_opening(load, "packing_list", wide),
        head_band(load.words["boxes"], wide),
        *_boxes(load, wide),
        head_band(load.words["total"], wide),
        *_sizes(load, wide),
        *_cautions(load, wide),
    ]
    return press(bands, _around(load, "packing_list"), on)


def delivery_note(load: Load, on: Stock) -> bytes:
    """Draw the delivery note: what comes, from whom and how, and who received it.

    Args:
        load: The shipment; at least one box.
        on: The paper.

    Returns:
        The document, as PDF.

    Raises:
        NotFit: A character that the typeface lacks.
    """
    words, wide = load.words, _wide(on)
    filled = (
        "receiver",
        "received_on",
        "boxes_counted",
        "short",
        "damaged",
        "signature",
    )
    bands = [
        *_opening(load, "delivery_note", wide),
        head_band(words["boxes"], wide),
        *_sizes(load, wide),
        *_cautions(load, wide),
        head_band(words["received"], wide),
        to_fill([words[each] for each in filled], wide),
    ]
    if load.address:
        bands.append(scanned_band(load.address, words["read_and_say"], wide))
    return press(bands, _around(load, "delivery_note"), on)


def _wide(on: Stock) -> float:
    return float(on.width_mm) - 2 * SIDE


def _around(load: Load, paper: str) -> Around:
    words = load.words
    number = spaced(load.shipment)
    return Around(
        title=f"{words[paper]} {load.shipment}",
        running=f"{words[paper]} {number} · {load.ship_to[0]}",
        foot=f"{words['newest_link']} {isolated(load.head)}" if load.head else number,
        page=words["page"],
        mark=load.mark,
    )


def _opening(load: Load, paper: str, wide: float) -> list[Band]:
    words = load.words
    title = f"{words[paper]} {spaced(load.shipment)}"
    bands = [text_band(title, TITLE, wide, after=3.0)]
    if load.sent_on is None:
        bands.append(text_band(words["not_sent"], BOLD, wide, after=3.0))
    said = [
        ("sent", load.sent_on.isoformat() if load.sent_on else ""),
        *(("haulier", load.haulier), ("driver", load.driver)),
        *(("vehicle", load.vehicle), ("seal", load.seal)),
        ("shipment_reference", load.reference),
        ("requests", ", ".join(spaced(each) for each in load.requests)),
        ("pallets", str(len(load.pallets) or "")),
    ]
    facts = [f"{words[name]}: {isolated(value)}" for name, value in said if value]
    blocks = [
        (words["ship_to"], (*load.ship_to, *load.contact)),
        (words["ship_from"], load.ship_from),
        (words["shipment"], (spaced(load.shipment), *facts)),
    ]
    return [*bands, beside(blocks, wide)]


_DAY: Final = 25.0
_SERIAL: Final = 29.0
_SSCC: Final = 44.0
_FIGURE: Final = 14.0


def _boxes(load: Load, wide: float) -> list[Band]:
    """The boxes, pallet by pallet, then those that come by themselves."""
    if not load.pallets:
        return _box_table(load, load.packed, wide)
    bands: list[Band] = []
    stood: set[str] = set()
    for pallet in load.pallets:
        boxes = [box for box in load.packed if box.serial in pallet.serials]
        bands += _under(load, _pallet_words(load, pallet), boxes, wide)
        stood |= pallet.serials
    rest = [box for box in load.packed if box.serial not in stood]
    return bands + (
        _under(load, load.words["on_no_pallet"], rest, wide) if rest else []
    )


def _under(load: Load, title: str, boxes: Sequence[Packed], wide: float) -> list[Band]:
    sets = sum(box.sets for box in boxes)
    counted = f"{load.words['boxes']} {len(boxes)} · {load.words['sets_inside']} {sets}"
    head = text_band(f"{title} · {counted}", BOLD, wide, after=1.5, keep=True)
    return [head, *_box_table(load, boxes, wide)]


def _pallet_words(load: Load, pallet: OnPallet) -> str:
    words = f"{load.words['pallet']} {spaced(pallet.number)}"
    return f"{words} · SSCC {spaced(pallet.sscc)}" if pallet.sscc else words


def _box_table(load: Load, packed: Sequence[Packed], wide: float) -> list[Band]:
    words = load.words
    dated = any(box.use_by for box in load.packed)
    coded = any(box.sscc for box in load.packed)
    columns = [Column(words["serial"], _SERIAL, bold=True)]
    columns += [Column("SSCC", _SSCC)] if coded else []
    right = [Column(words["sets_inside"], _FIGURE, right=True)]
    right += [Column(words["packed"], _DAY)]
    right += [Column(words["use_by"], _DAY)] if dated else []
    rest = wide - sum(each.wide for each in (*columns, *right))
    columns += [Column(words["product"], rest), *right]
    rows = [
        Line(
            (
                spaced(box.serial),
                *((spaced(box.sscc),) if coded else ()),
                *(box.product, str(box.sets), _day(box.packed_on)),
                *((_day(box.use_by),) if dated else ()),
            ),
            below=_inside(box),
        )
        for box in packed
    ]
    return table(columns, rows)


def _day(day: date | None) -> str:
    return day.isoformat() if day else "–"


def _inside(box: Packed) -> str:
    """What is in a box: how it was disinfected and since when, and its lots by part."""
    said = [(title, isolated(_day(on))) for title, on in box.disinfected]
    said += [
        (isolated(part), ", ".join(map(isolated, numbers)))
        for part, numbers in box.lots
        if numbers
    ]
    return " · ".join(f"{what}\N{NO-BREAK SPACE}{which}" for what, which in said)


def _sizes(load: Load, wide: float) -> list[Band]:
    words, figure = load.words, 30.0
    columns = [
        Column(words["product"], wide - 3 * figure),
        *(
            Column(words[each], figure, right=True)
            for each in ("sets_per_box", "boxes", "sets_inside")
        ),
    ]
    rows = [
        Line((name, *(str(each) for each in figures)))
        for name, *figures in load.sizes()
    ]
    total = Line(
        (words["total"], "", str(len(load.packed)), str(load.sets)), total=True
    )
    return table(columns, [*rows, total])


def _cautions(load: Load, wide: float) -> list[Band]:
    if not load.cautions:
        return []
    bands = [head_band(load.words["cautions"], wide)]
    for nth, (product, lines) in enumerate(load.cautions, start=1):
        bands.append(text_band(product, TEXT, wide, after=0.6, keep=True))
        after = 0.6 if nth < len(load.cautions) else 2.0
        bands.append(text_band(" ".join(lines), NOTE, wide, after=after))
    return bands
