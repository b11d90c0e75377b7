"""Labels and helpers that several label tests share."""

from __future__ import annotations

import json
import subprocess
import tempfile
from dataclasses import replace
from datetime import date
from fractions import Fraction
from io import BytesIO
from pathlib import Path
from typing import Any

import zxingcpp
from PIL import Image
from pypdf import PdfReader

from dispatch.labels.pallet import Going, PalletLabel
from dispatch.labels.shipment import ShipmentLabel
from kitting.domain.badges import make_token
from kitting.labels.bag import BagContent, BagLabel
from kitting.labels.box_label import BoxLabel
from kitting.labels.cards import BadgeLabel, CommandLabel, PlaceLabel
from kitting.labels.cleared import ClearedLabel
from kitting.labels.dots import Symbol
from kitting.labels.kinds import BOX as BOX_KIND
from kitting.labels.press import draw, prove
from kitting.labels.pressed import Pressed
from kitting.labels.readback import decode, rasterise
from kitting.labels.slip import SetSlip
from kitting.labels.stock import Stock
from tests.patience import PATIENCE_S

DATA = Path(__file__).parents[2] / "data" / "code128"
EXAMPLES: list[dict[str, Any]] = json.loads(
    (DATA / "code128-examples.json").read_text()
)
TABLE: dict[str, Any] = json.loads((DATA / "code128-widths.json").read_text())

HEAD_203 = Fraction(8)
"""A head sold as "203 dpi", which really has 203.2."""
HEAD_300 = Fraction(300) / Fraction("25.4")
"""A head with 300 dots to the inch. Some heads have 12 to the mm."""
BOX_100X150 = Stock(Fraction(100), Fraction(150), HEAD_203)
BAG_70X40 = Stock(Fraction(70), Fraction(40), HEAD_203)

# 952 is the prefix that GS1 keeps for demonstrations; check digits by python-stdnum.
BOX = BoxLabel(
    product_name="Face shield with forehead foam, single use",
    sets=24,
    packed_on=date(2026, 3, 14),
    disinfected=(("Disinfected (UV-C)", date(2026, 3, 13)),),
    use_by=date(2029, 3, 13),
    kit_batch="HL-FS1-26073-3",
    serial="X1-0001234-K",
    lots=(
        ("Headband", "HB-0312"),
        ("Chin piece", "CP-0307"),
        ("Visor 0.5 mm", "VS-0288"),
        ("Elastic", "EL-0019"),
        ("Manual", "MN-0004"),
    ),
    sscc="395212340000012345",
    gtin="09521234000013",
    profile="none",
    cautions=("A splash barrier. Does not replace a respirator.",),
    maker_name="Harrow Lane Workshop",
    maker_address=("12 Harrow Lane", "Thornwick", "Eskmoor"),
)
MARKED = replace(BOX, mark="DEMONSTRATION – NOT FOR USE", copy=2)
DEVICE = replace(BOX, profile="device", latex=True, sets=6)
PLAIN = replace(BOX, sscc=None, gtin=None, use_by=None, sets=120)

CONTENT = BagContent("Headband, printed", "R7", "HB-0312", "48", date(2026, 3, 10))
BAG = BagLabel("B1-0004821-7", CONTENT)
BLANK = BagLabel("B1-0004821-7")

SAMPLES: dict[str, Any] = {
    "box": BOX,
    "bag": BAG,
    "cleared": ClearedLabel(
        "B1-0004821-7",
        "Bag",
        "260041",
        ("UVC-HB", "2"),
        "2026-03-13 14:20",
        ("Disinfection is not sterilisation.",),
    ),
    "set_slip": SetSlip(
        "Face shield with forehead foam, single use",
        "HL-FS1-26073-3",
        "X1-0001234-K",
        ("A splash barrier. Does not replace a respirator.",),
        3,
        24,
    ),
    "badge": BadgeLabel(
        "Packer, bench 2", "Packs and labels boxes", make_token(bytes(range(16)))
    ),
    "place": PlaceLabel("RACK-03-B", "Rack 3, second shelf: visors, cleared"),
    "command": CommandLabel("ACT-CLOSE", "Close the box and print its label"),
    "shipment": ShipmentLabel(
        ship_to=(
            "Eskmoor General",
            "Goods-in, door 4",
            "Hospital Road 1",
            "Thornwick",
            "Eskmoor ES1 4QT",
        ),
        sent_on=date(2026, 3, 17),
        nth=3,
        of=12,
        product="Face shield with chin piece",
        sets=24,
        all_sets=288,
        packed_on=date(2026, 3, 16),
        reference="Order 4471",
        shipment="S1-0000017-2",
        serial="X1-0001234-K",
        sscc="395212340000012345",
        maker_name="Harrow Lane Workshop",
        maker_address=("12 Harrow Lane", "Thornwick", "Eskmoor"),
    ),
    "pallet": PalletLabel(
        number="P1-0000004-7",
        sscc="395212340000012352",
        boxes=12,
        sets=288,
        maker_name="Harrow Lane Workshop",
        maker_address=("12 Harrow Lane", "Thornwick", "Eskmoor"),
        going=Going(
            ship_to=(
                "Eskmoor General",
                "Goods-in, door 4",
                "Hospital Road 1",
                "Thornwick",
                "Eskmoor ES1 4QT",
            ),
            name=0,
            country="",
            sent_on=date(2026, 3, 17),
            shipment="S1-0000017-2",
            reference="Order 4471",
        ),
    ),
}
"""One label of every kind."""


def draw_box(label: BoxLabel, stock: Stock) -> bytes:
    return draw(BOX_KIND, [label], stock).pdf


def check_box(pdf: bytes, label: BoxLabel, stock: Stock) -> None:
    prove(Pressed(pdf, 1), BOX_KIND, [label], stock)


def plain(text: str) -> str:
    """What was read from paper, blanks and line ends made equal, without thin spaces."""
    return " ".join(text.replace("\N{NARROW NO-BREAK SPACE}", "").split())


def pages_of(pdf: bytes) -> list[str]:
    """Everything that a person can read, page by page."""
    return [plain(page.extract_text()) for page in PdfReader(BytesIO(pdf)).pages]


def text_of(pdf: bytes) -> str:
    """Everything that a person can read."""
    return " ".join(pages_of(pdf))


def page_mm(pdf: bytes) -> tuple[float, float]:
    box = PdfReader(BytesIO(pdf)).pages[0].mediabox
    return float(box.width) * 25.4 / 72, float(box.height) * 25.4 / 72


def read_back(pdf: bytes, stock: Stock) -> list[Symbol]:
    """Every symbol on the first page, from its top to its foot."""
    return decode(rasterise(pdf, stock))


def poppler(pdf: bytes, dpi: str) -> Image.Image:
    """Rasterise with a second, independent rasteriser, in black and white."""
    with tempfile.TemporaryDirectory() as folder:
        Path(folder, "in.pdf").write_bytes(pdf)
        command = ["pdftoppm", "-r", dpi, "-mono", "-singlefile", "in.pdf", "out"]
        subprocess.run(command, cwd=folder, check=True, timeout=PATIENCE_S)
        return Image.open(Path(folder, "out.pbm")).convert("L")


def scanned(image: Image.Image) -> dict[str, str]:
    """What a scanner would send for each symbol: identifier to data."""
    found = zxingcpp.read_barcodes(image)
    return {one.symbology_identifier: one.bytes.decode("latin-1") for one in found}


def decoded(widths: tuple[int, ...]) -> str:
    """Decode element widths with nothing but the published table.

    FNC1 comes out as GS; the check character is verified.
    """
    text = "".join(map(str, widths))
    assert text.endswith(TABLE["widths"][106])
    cut = [text[at : at + 6] for at in range(0, len(text) - 7, 6)]
    *values, check = [TABLE["widths"].index(part) for part in cut]
    weighted = values[0] + sum(at * value for at, value in enumerate(values[1:], 1))
    assert weighted % 103 == check
    here = {103: "A", 104: "B", 105: "C"}[values[0]]
    found, shifted = "", False
    for value in values[1:]:
        code_set = {"A": "B", "B": "A"}[here] if shifted else here
        shifted = False
        if value == 102:
            found += "\x1d"
        elif code_set == "C" and value < 100:
            found += f"{value:02d}"
        elif value == 98:
            shifted = True
        elif value >= 99:
            here = {99: "C", 100: "B", 101: "A"}[value]
        elif code_set == "A" and value >= 64:
            found += chr(value - 64)
        else:
            found += chr(value + 32)
    return found
