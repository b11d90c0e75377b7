"""The longest that labels say, in eight scripts and at three resolutions: drawn, decoded by
two rasterisers, and measured for words that lie on symbols or on one another."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from itertools import combinations, product
from typing import Any

import pypdfium2
import pytest

from kitting.labels.carried import same
from kitting.labels.kinds import Kind
from kitting.labels.press import press
from kitting.labels.stock import Stock
from tests.kitting.labels.drawn import KINDS
from tests.kitting.labels.samples import HEAD_203, HEAD_300, SAMPLES, poppler, scanned

HEADS = {"203.2": HEAD_203, "300": HEAD_300, "600": HEAD_300 * 2}
BY_NAME = {kind.name: kind for kind in KINDS}
DEMO = "DEMONSTRATION – NOT FOR USE"
NAMES = {
    "Latin": "Gesichtsschutz mit Kinnstück, Stirnpolster und Sichtscheibe",
    "Latin with accents": "Přilba: žluťoučký štít s pěnou, gąbką i şeffaf siper, ğü",
    "Vietnamese": "Tấm chắn giọt bắn có đệm trán, dùng một lần, ợ ặ ễ ữ",
    "Greek": "Προσωπίδα με αφρό, μιας χρήσης, με γείσο και πηγούνι",
    "Cyrillic": "Щиток лицевой с мягкой вставкой, одноразовый, прозрачный",
    "Hebrew": "מגן פנים חד פעמי (FS-2) עם רצועה וריפוד ספוג למצח, שקוף",
    "Arabic": "واقي وجه شفاف (FS-2) مع رباط مرن وبطانة للجبين، لمرة واحدة",
    "Georgian": "სახის ფარი შუბლის ბალიშით, ერთჯერადი, გამჭვირვალე",
}
"""Product names of 51 to 60 letters."""

CAUTIONS = ("A splash barrier.", "Not sterile; gyp, jig.")
NUMBER = "9999999999999X"


def longest(name: str, script: str, lots: int) -> Any:
    """A label of a kind with the longest that it may say."""
    said = NAMES[script]
    of = SAMPLES[name]
    if name == "box":
        return replace(
            of,
            product_name=said,
            sets=60,
            disinfected=(("Disinfected (UV-C)", of.packed_on),) * 2,
            kit_batch="9-WWWWWWWW-26366-99",
            serial=f"K{NUMBER}",
            lots=tuple((f"Part {n}, gypsum", f"L10000{n:02}K") for n in range(lots)),
            profile="device",
            latex=True,
            cautions=CAUTIONS,
            contact="+44 1632 960123",
            reference="HL-FS1-0001-EN",
            single_use=True,
        )
    if name == "set_slip":
        return replace(
            of,
            product_name=said,
            kit_batch="9-WWWWWWWW-26366-99",
            serial=f"K{NUMBER}",
            cautions=CAUTIONS,
            nth=60,
            of=60,
        )
    if name == "bag":
        content = replace(of.content, part=said, lot=f"L{NUMBER}", pieces="999999 mm")
        content = replace(content, made_on=date(2026, 12, 31), unit="mm")
        return replace(of, number=f"B{NUMBER}", content=content)
    if name == "cleared":
        return replace(of, number=f"C{NUMBER}", what="Carrier", run=f"R{NUMBER}")
    if name == "badge":
        return replace(of, name=said[:32], role="Quality officer")
    if name == "place":
        return replace(of, code="RACK-0003-BB", words=said)
    if name == "command":
        return replace(of, command="ACT-BOX-FS1ABCDE-60", words=said)
    if name == "pallet":
        going = replace(of.going, ship_to=(said, *of.going.ship_to))
        return replace(of, going=going, boxes=9999, sets=99999)
    return replace(of, ship_to=(said, *of.ship_to), of=240, nth=240)


Box = tuple[float, float, float, float]
"""Left, foot, right and top in points."""


def drawn_things(pdf: bytes) -> tuple[list[tuple[str, Box]], list[Box]]:
    """Every line of text with its ink, and every other thing: bars, cells, marks."""
    document = pypdfium2.PdfDocument(pdf)
    words, things = [], []
    try:
        page = document[0]
        text = page.get_textpage()
        for thing in page.get_objects():
            box = thing.get_bounds()
            if thing.type == pypdfium2.raw.FPDF_PAGEOBJ_TEXT:
                words.append((text.get_text_bounded(*box), box))
            else:
                things.append(box)
    finally:
        document.close()
    return words, things


def overlap(one: Box, other: Box) -> float:
    """How far two rectangles lie on one another, in mm, the lesser way."""
    across = min(one[2], other[2]) - max(one[0], other[0])
    down = min(one[3], other[3]) - max(one[1], other[1])
    return min(across, down) * 25.4 / 72


LEAST_MM = 0.3
"""Boxes around lines have the highest accent and the deepest letter of the whole line."""


def assert_clear(kind: Kind[Any], label: Any, head: str) -> None:
    on = Stock(kind.width_mm, kind.height_mm, HEADS[head])
    pressed = press(kind, [label], on)
    image = poppler(pressed.pdf, str(float(on.dots_per_inch)))
    assert same(kind.symbols(label), scanned(image).items())
    words, things = drawn_things(press(kind, [replace(label, mark=None)], on).pdf)
    assert len(words) >= 3
    for (said, one), (other_said, other) in combinations(words, 2):
        assert overlap(one, other) < LEAST_MM, (said, other_said)
    # Marks of ISO 15223-1 have 5 mm, and letters inside; symbols are larger.
    symbols = [one for one in things if min(one[2] - one[0], one[3] - one[1]) > 16]
    assert len(symbols) >= len(kind.symbols(label)) - 1
    for (said, one), symbol in product(words, symbols):
        assert overlap(one, symbol) < 0, said


@pytest.mark.long
@pytest.mark.parametrize("head", HEADS)
@pytest.mark.parametrize("name", BY_NAME)
def test_the_longest_labels_are_read_and_nothing_lies_on_anything(
    name: str, head: str, subtests: pytest.Subtests
) -> None:
    counts = range(1, 9) if name == "box" else (1,)
    for script, lots, mark in product(NAMES, counts, (None, DEMO)):
        label = replace(longest(name, script, lots), mark=mark)
        if "copy" in label.__dataclass_fields__:
            label = replace(label, copy=99)
        with subtests.test(script, lots=lots, mark=mark):
            assert_clear(BY_NAME[name], label, head)


@pytest.mark.parametrize(
    ("name", "script", "head"),
    [
        ("box", "Greek", "300"),
        ("set_slip", "Georgian", "203.2"),
        ("bag", "Vietnamese", "203.2"),
        ("place", "Cyrillic", "300"),
    ],
)
def test_some_of_the_longest_labels(name: str, script: str, head: str) -> None:
    assert_clear(BY_NAME[name], longest(name, script, 8), head)
