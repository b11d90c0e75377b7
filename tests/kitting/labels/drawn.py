"""Random labels of every kind, and what a scanner makes of their dots."""

from __future__ import annotations

from datetime import date, timedelta
from random import Random
from typing import Any

import numpy as np
import zxingcpp
from hypothesis import strategies as st
from scipy.ndimage import gaussian_filter

from dispatch.labels.pallet import PALLET, Going, PalletLabel
from dispatch.labels.shipment import SHIPMENT, ShipmentLabel
from kitting.domain.badges import make_token
from kitting.domain.batch import kit_batch
from kitting.domain.gs1 import check_digit
from kitting.labels import kinds
from kitting.labels.bag import BagContent, BagLabel
from kitting.labels.box_label import BoxLabel
from kitting.labels.cards import BadgeLabel, CommandLabel, PlaceLabel
from kitting.labels.cleared import ClearedLabel
from kitting.labels.dots import Raster
from kitting.labels.kinds import Kind
from kitting.labels.slip import SetSlip

DEMO = "DEMONSTRATION – NOT FOR USE"
SPLASH = "A splash barrier. Does not replace a respirator."
NOT_STERILE = "Disinfection is not sterilisation."
KINDS: tuple[Kind[Any], ...] = (*kinds.KINDS.values(), SHIPMENT, PALLET)

# GS1 General Specifications, figure 7.11-1: characters that an element may hold, less
# the lower case letters, which no number of a workshop has.
_CSET_82 = "!\"%&'()*+,-./0123456789:;<=>?ABCDEFGHIJKLMNOPQRSTUVWXYZ_"
_PLAIN = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ-./"
_CODE = _PLAIN[:36]
_LETTERS = "abcdefghijklmnoprstuvyzáčďéěíňóřšťúůýžąćęłńśźżğışöüçαβγδεζηθικλμнопрстуф"

marks = st.sampled_from([None, DEMO])
copies = st.sampled_from([1, 2, 11])
numbers = st.text(_PLAIN, min_size=1, max_size=14)
digits = st.text("0123456789", min_size=17, max_size=17)
days = st.dates(date(2026, 1, 1), date(2049, 12, 31))
tokens = st.binary(min_size=16, max_size=16).map(make_token)
words = st.lists(st.text(_LETTERS, min_size=1, max_size=9), min_size=1, max_size=3).map(
    " ".join
)


def checked(body: str) -> str:
    return body + check_digit(body)


@st.composite
def boxes(draw: st.DrawFn) -> BoxLabel:
    packed = draw(days)
    prefix = draw(st.booleans())
    sscc = draw(digits.map(checked)) if prefix else None
    with_gtin = prefix and draw(st.booleans())
    return BoxLabel(
        product_name=draw(words),
        sets=draw(st.integers(1, 999)),
        packed_on=packed,
        disinfected=tuple(
            (f"Disinfected ({process})", packed - timedelta(days=1))
            for process in draw(st.sampled_from(["", "U", "UD"]))
        ),
        use_by=draw(
            st.none() | st.integers(1, 3650).map(lambda n: packed + timedelta(days=n))
        ),
        kit_batch=draw(st.text(_CSET_82, min_size=1, max_size=14)),
        serial=draw(st.text(_CSET_82, min_size=1, max_size=14)),
        lots=tuple(draw(st.lists(st.tuples(words, numbers), max_size=5))),
        sscc=sscc,
        gtin=checked("0" + draw(digits)[:12]) if with_gtin else None,
        profile=draw(st.sampled_from(["none", "ppe", "device"])),
        cautions=(SPLASH,),
        maker_name="Harrow Lane Workshop",
        maker_address=("12 Harrow Lane", "Thornwick", "Eskmoor"),
        mark=draw(marks),
        copy=draw(copies),
        latex=draw(st.booleans()),
    )


@st.composite
def pallets(draw: st.DrawFn) -> PalletLabel:
    going = Going(
        ship_to=tuple(draw(st.lists(words, min_size=1, max_size=6))),
        name=draw(st.integers(0, 1)),
        country="",
        sent_on=draw(days),
        shipment=draw(numbers),
        reference=draw(st.just("") | words),
    )
    return PalletLabel(
        number=draw(numbers),
        sscc=draw(st.none() | digits.map(checked)),
        boxes=draw(st.integers(0, 240)),
        sets=draw(st.integers(0, 9_999)),
        maker_name="Harrow Lane Workshop",
        maker_address=("12 Harrow Lane", "Thornwick", "Eskmoor"),
        going=draw(st.sampled_from([None, going])),
        mark=draw(marks),
        copy=draw(copies),
    )


@st.composite
def shipments(draw: st.DrawFn) -> ShipmentLabel:
    of = draw(st.integers(1, 240))
    return ShipmentLabel(
        ship_to=tuple(draw(st.lists(words, min_size=1, max_size=6))),
        name=draw(st.integers(0, 1)),
        sent_on=draw(days),
        nth=draw(st.integers(1, of)),
        of=of,
        product=draw(words),
        sets=draw(st.integers(1, 9_999)),
        all_sets=draw(st.integers(1, 100_000)),
        packed_on=draw(days),
        reference=draw(st.just("") | words),
        shipment=draw(numbers),
        serial=draw(numbers),
        sscc=draw(st.none() | digits.map(checked)),
        maker_name="Harrow Lane Workshop",
        maker_address=("12 Harrow Lane", "Thornwick", "Eskmoor"),
        country=draw(st.sampled_from(["", "Polska", "Ελλάδα"])),
        mark=draw(marks),
        copy=draw(copies),
    )


contents = st.builds(
    BagContent,
    part=words,
    revision=st.text(_PLAIN, min_size=1, max_size=4),
    lot=numbers,
    pieces=st.integers(1, 9999).map(str),
    made_on=days,
)
slips = st.builds(
    SetSlip,
    product_name=words,
    kit_batch=st.text(_PLAIN, min_size=1, max_size=14),
    serial=numbers,
    cautions=st.just((SPLASH,)),
    nth=st.integers(1, 60),
    of=st.just(60),
    mark=marks,
    copy=copies,
)
STRATEGIES: dict[str, st.SearchStrategy[Any]] = {
    "box": boxes(),
    "bag": st.builds(BagLabel, numbers, st.none() | contents, mark=marks, copy=copies),
    "cleared": st.builds(
        ClearedLabel,
        numbers,
        st.sampled_from(["Bag", "Carrier"]),
        st.text("0123456789", min_size=1, max_size=8),
        st.tuples(st.text(_PLAIN, min_size=1, max_size=8), st.just("2")),
        days.map(lambda day: f"{day} 14:20"),
        st.just((NOT_STERILE,)),
        mark=marks,
        copy=copies,
    ),
    "set_slip": slips,
    "badge": st.builds(BadgeLabel, words, words, tokens, mark=marks, copy=copies),
    "place": st.builds(
        PlaceLabel,
        st.text(_PLAIN, min_size=1, max_size=6),
        words,
        mark=marks,
        copy=copies,
    ),
    "command": st.builds(
        CommandLabel, numbers.map(lambda text: f"ACT-{text}"), words, mark=marks
    ),
    "shipment": shipments(),
    "pallet": pallets(),
}


def random_box(rng: Random) -> BoxLabel:
    """A box label with random, valid content: the same for the same generator."""

    def some(letters: str, least: int, most: int) -> str:
        return "".join(rng.choices(letters, k=rng.randint(least, most)))

    packed = date(2026, 1, 1) + timedelta(days=rng.randrange(8000))
    profile = rng.choice(["none", "ppe", "device"])
    return BoxLabel(
        product_name=f"Face shield {some(_LETTERS, 3, 12)}",
        sets=rng.choice([6, 24, 60]),
        packed_on=packed,
        disinfected=(
            ("Disinfected (UV-C)", packed - timedelta(days=rng.randrange(9))),
        ),
        use_by=packed + timedelta(days=rng.randint(1, 3650)),
        kit_batch=kit_batch(
            rng.randint(1, 9), some(_CODE, 2, 8), packed, rng.randint(1, 99)
        ),
        serial=some(_PLAIN, 5, 14),
        lots=tuple((part, some(_PLAIN, 4, 10)) for part in ("Headband", "Visor")),
        sscc=checked(some("0123456789", 17, 17)),
        gtin=checked("0" + some("0123456789", 12, 12)),
        profile=profile,
        cautions=(SPLASH,),
        maker_name="Harrow Lane Workshop",
        maker_address=("12 Harrow Lane", "Thornwick", "Eskmoor"),
        mark=rng.choice([None, DEMO]),
        latex=profile == "device",
    )


def seen(raster: Raster) -> list[zxingcpp.Barcode]:
    """What a scanner reads, in the order in which it finds it."""
    return zxingcpp.read_barcodes(picture_of(raster))


def upright(raster: Raster) -> list[zxingcpp.Barcode]:
    """What a scanner reads that looks neither askance nor twice: where symbols are."""
    return zxingcpp.read_barcodes(
        picture_of(raster), try_rotate=False, try_downscale=False, try_invert=False
    )


def picture_of(raster: Raster) -> np.ndarray:
    return np.frombuffer(raster.dots, np.uint8).reshape(raster.high, raster.wide)


def rightly_read(kind: Kind[Any], label: Any, picture: np.ndarray) -> int:
    """How many of a label's symbols are read from a picture as they must be."""
    found = {
        (one.symbology_identifier, one.bytes.decode("latin-1"))
        for one in zxingcpp.read_barcodes(picture)
    }
    return sum(one.read_as in found for one in kind.symbols(label))


def blurred(raster: Raster, sigma: float, *, noise: float, seed: int) -> np.ndarray:
    """The dots as a poor scanner sees them: soft and with noise, in grey."""
    soft = gaussian_filter(picture_of(raster).astype(np.float32), sigma)
    rough = np.random.default_rng(seed).normal(0, noise, soft.shape)
    return np.clip(soft + rough, 0, 255).astype(np.uint8)


def white_around(
    dots: np.ndarray, *, left: int, top: int, right: int, foot: int, by: tuple[int, int]
) -> bool:
    """Whether a ring of dots around a rectangle is on the page and white.

    ``right`` and ``foot`` are the first dots outside; ``by`` is how wide the ring is
    at the sides and above and below.
    """
    across, down = by
    high, wide = dots.shape
    if left < across or top < down or right + across > wide or foot + down > high:
        return False
    ring = dots[top - down : foot + down, left - across : right + across].copy()
    ring[down : down + foot - top, across : across + right - left] = 255
    return bool((ring == 255).all())


def linear_box(
    raster: Raster, widths: tuple[int, ...], symbol: zxingcpp.Barcode
) -> tuple[int, int, int, int, int]:
    """Where the bars stand: X in dots, then left, top, right and foot."""
    dots = picture_of(raster)
    at = symbol.position
    middle = (at.top_left.y + at.bottom_left.y) // 2
    left = min(at.top_left.x, at.bottom_left.x)
    left = next(x for x in range(max(0, left - 3), left + 4) if dots[middle, x] == 0)
    total = max(at.top_right.x, at.bottom_right.x) + 1 - left
    x = round(total / sum(widths))
    right = left + x * sum(widths)
    line = dots[middle, left:right]
    top = foot = middle
    while top > 0 and (dots[top - 1, left:right] == line).all():
        top -= 1
    while foot < raster.high and (dots[foot, left:right] == line).all():
        foot += 1
    return x, left, top, right, foot


def matrix_box(
    raster: Raster, cells: int, symbol: zxingcpp.Barcode
) -> tuple[int, int, int, int, int]:
    """Where the cells stand: X in dots, then left, top, right and foot.

    The left column and the lowest row of a Data Matrix are dark (ISO/IEC 16022).
    """
    dots = picture_of(raster)
    at = symbol.position
    x = round((at.bottom_right.x - at.bottom_left.x) / cells)
    side = x * cells
    near = range(max(0, at.top_left.x - 3), at.top_left.x + 4)
    rows = slice(at.top_left.y + 3, at.bottom_left.y - 3)
    left = next(c for c in near if (dots[rows, c] == 0).all())
    low = range(min(raster.high - 1, at.bottom_left.y + 3), at.bottom_left.y - 4, -1)
    across = slice(left + 3, left + side - 3)
    foot = next(r for r in low if (dots[r, across] == 0).all()) + 1
    return x, left, foot - side, left + side, foot
