"""What stands on each kind of label, in any language, and what is refused."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import fields, replace
from datetime import date
from io import BytesIO
from typing import Any

import pypdfium2
import pytest
from hypothesis import given, settings
from pypdf import PdfReader

from kitting.domain.batch import kit_batch
from kitting.domain.errors import CodeError, LotwardError, NotFit
from kitting.labels import kinds, press
from kitting.labels.box_label import BoxWords, box_symbols
from kitting.labels.kinds import Kind
from kitting.labels.readback import rasterise
from kitting.labels.stock import Stock
from kitting.web.tags.look import number
from tests.kitting.labels.drawn import KINDS, SPLASH, boxes
from tests.kitting.labels.samples import BLANK, DEVICE, HEAD_203, SAMPLES, plain

BY_NAME = {kind.name: kind for kind in KINDS}
each_kind = pytest.mark.parametrize("kind", KINDS, ids=list(BY_NAME))


def drawn(name: str, label: Any) -> bytes:
    kind = BY_NAME[name]
    on = Stock(kind.width_mm, kind.height_mm, HEAD_203)
    return press.press(kind, [label], on).pdf


def text(name: str, label: Any) -> str:
    """Everything that a person reads, as pdfium finds it on the page."""
    document = pypdfium2.PdfDocument(drawn(name, label))
    try:
        found = document[0].get_textpage().get_text_range()
    finally:
        document.close()
    return plain(found)


def changed(name: str, /, **more: Any) -> Any:
    return replace(SAMPLES[name], **more)


IDENTIFIERS = {
    "bag": {"number": "B1000042T", "lot": "L1000017K"},
    "box": {"serial": "K1000042B", "sscc": "395212340000012345", "lot": "HB-20260301"},
    "cleared": {"number": "B1000042T", "run": "R1000007V"},
    "set_slip": {"serial": "K1000042B", "kit_batch": "1-SHIELDXL-26073-3"},
    "shipment": {"shipment": "S1000001Z", "serial": "K1000042B"},
    "pallet": {"number": "P10000423", "sscc": "395212340000012352"},
}
"""Some that are long enough to be divided; no two lots on one label here."""


@pytest.mark.parametrize("name", IDENTIFIERS)
def test_identifiers_are_divided_on_labels_as_they_are_on_screens(name: str) -> None:
    values = dict(IDENTIFIERS[name])
    lot = values.pop("lot", "")
    label = changed(name, **values)
    if name == "bag":
        label = replace(label, content=replace(label.content, lot=lot))
    elif name == "box":
        label = replace(label, lots=(("Headband", lot),))
    page = PdfReader(BytesIO(drawn(name, label))).pages[0]
    read = page.extract_text().replace("\n", " ")
    for identifier in filter(None, (*values.values(), lot)):
        groups = re.findall('<span class="four">(.*?)</span>', number(identifier))
        assert len(groups) > 1
        assert "\N{NARROW NO-BREAK SPACE}".join(groups) in read, identifier
        assert identifier not in read


SAID = {
    "cleared": [
        "Cleared",
        "Bag",
        "Run 260041",
        "Protocol UVC-HB v2",
        "Released 2026-03-13 14:20",
        "Disinfection is not sterilisation.",
        "B1-0004821-7",
    ],
    "set_slip": [
        "Face shield with forehead foam, single use",
        "Box X1-0001234-K",
        "Kit batch HL-FS1-26073-3",
        "Set 3 of 24",
        SPLASH,
    ],
    "badge": ["Packer, bench 2", "Packs and labels boxes"],
    "place": ["RACK-03-B", "Rack 3, second shelf: visors, cleared"],
    "command": ["Close the box and print its label", "ACT-CLOSE"],
    "shipment": [
        "Ship to",
        "Eskmoor General Goods-in, door 4 Hospital Road 1 Thornwick Eskmoor ES1 4QT",
        "Box",
        "3 of 12",
        "Shipment S1-0000017-2",
        "Serial X1-0001234-K",
        "From Harrow Lane Workshop",
        "12 Harrow Lane · Thornwick · Eskmoor",
        "(00)395212340000012345",
    ],
    "pallet": [
        "Ship to",
        "Eskmoor General Goods-in, door 4 Hospital Road 1 Thornwick Eskmoor ES1 4QT",
        "Sent",
        "2026-03-17",
        "Boxes",
        "Pallet P1-0000004-7",
        "Sets 288",
        "Shipment S1-0000017-2",
        "Reference Order 4471",
        "From Harrow Lane Workshop",
        "(00)395212340000012352",
    ],
}


@pytest.mark.parametrize("name", SAID)
def test_everything_a_person_needs_is_printed(name: str) -> None:
    shown = text(name, SAMPLES[name])
    missing = [wanted for wanted in SAID[name] if wanted not in shown]
    assert missing == [], shown
    assert "Reprint" not in shown


def test_a_pallet_that_is_on_no_shipment_says_which_it_is_and_what_is_on_it() -> None:
    here = changed("pallet", going=None)
    shown = text("pallet", here)
    assert "Pallet P1-0000004-7 Boxes" in shown
    assert "12 288" in shown
    assert "(00)395212340000012352" in shown
    assert "Ship to" not in shown
    begun = text("pallet", replace(here, boxes=0, sets=0))
    assert "P1-0000004-7" in begun
    assert "Boxes" not in begun


@pytest.mark.parametrize("kind", [k for k in KINDS if k is not kinds.COMMAND])
def test_a_reprint_says_so(kind: Kind[Any]) -> None:
    assert "Reprint 3" in text(kind.name, changed(kind.name, copy=3))


# The names of the job's own languages, as their keyboards may send them: accents apart.
NAMES = {
    "Czech": "Ochranný štít s pěnou na čelo, žluťoučký kůň",
    "Polish": "Przyłbica z gąbką, zażółć gęślą jaźń",
    "Greek": "Προσωπίδα με αφρό, μιας χρήσης, ΐΰώ",
    "Vietnamese": "Tấm chắn mặt dùng một lần, ợ ặ ễ ữ",
    "Turkish": "Süngerli yüz siperliği, İıĞğŞş",
    "Cyrillic": "Щиток лицевой, їжак ґава ёлка љубав",
}


@pytest.mark.parametrize("language", NAMES)
@pytest.mark.parametrize(
    ("kind", "field"),
    [
        ("box", "product_name"),
        ("set_slip", "product_name"),
        ("shipment", "ship_to"),
        ("place", "words"),
        ("badge", "name"),
    ],
)
def test_names_print_right_in_their_own_letters(
    kind: str, field: str, language: str
) -> None:
    name = NAMES[language]
    given_as = unicodedata.normalize("NFD", name)
    value: Any = (given_as, "Thornwick") if field == "ship_to" else given_as
    assert name in text(kind, changed(kind, **{field: value}))


def _texts(label: Any) -> list[tuple[str, Any]]:
    """Every field that holds text, with a letter in it that no font here has."""
    found: list[tuple[str, Any]] = []
    for field in fields(label):
        value = getattr(label, field.name)
        if field.name in {"profile", "sscc", "gtin", "token"}:
            continue
        if isinstance(value, str):
            found.append((field.name, value + "フ"))
        elif isinstance(value, tuple) and value and isinstance(value[0], str):
            found.append((field.name, (*value[:-1], value[-1] + "フ")))
        elif isinstance(value, tuple) and value:
            first, *more = value[-1]
            found.append((field.name, (*value[:-1], (first + "フ", *more))))
    return found


@each_kind
def test_a_letter_that_the_typeface_lacks_is_refused_and_named(
    kind: Kind[Any],
) -> None:
    label = replace(SAMPLES[kind.name], mark="DEMO")
    known = {field.name for field in fields(label)}
    if "copy" in known:
        label = replace(label, copy=2)
    if "profile" in known:
        # Only a device's label says its reference.
        label = replace(label, profile="device")
    tried = _texts(label)
    assert len(tried) >= 2
    for name, value in tried:
        with pytest.raises((NotFit, CodeError)) as caught:
            drawn(kind.name, replace(label, **{name: value}))
        assert "フ" in str(caught.value.params.values()), name
        assert caught.value.code in {
            "missing_glyph",
            "not_encodable",
            "gs1_field_characters",
        }, name


def test_a_letter_that_the_typeface_lacks_is_refused_where_lots_are_many() -> None:
    """It does not become the line that sends people to the packing list."""
    many = tuple(
        (f"Part {part}", f"HB-{lot:04}") for part in "ABCDEFGH" for lot in range(4)
    )
    shown = text("box", changed("box", lots=many))
    assert "Lots: Part A HB-0000" in shown
    with pytest.raises(NotFit) as caught:
        drawn("box", changed("box", lots=(*many, ("Part フ", "HB-0001"))))
    assert caught.value.code == "missing_glyph"


@settings(max_examples=60)
@given(label=boxes())
def test_a_box_says_one_thing_about_its_count_and_dates(label: Any) -> None:
    """GS1: no (37) or (30) beside a GTIN; a real day; (11) only from who makes."""
    linear, matrix = box_symbols(label)
    found = dict(matrix.pairs)
    assert len(found) == len(matrix.pairs)
    if label.gtin is None:
        assert matrix.pairs == ()
    else:
        made = "11" if label.profile == "device" else "13"
        assert set(found) <= {"01", made, "17", "10", "21"}
        assert found[made] == label.packed_on.strftime("%y%m%d")
        assert all(found[ai][4:] != "00" for ai in {made, "17"} & set(found))
        assert ("17" in found) == (label.use_by is not None)
    assert linear.pairs == ((("00", label.sscc),) if label.sscc else ())


@each_kind
def test_without_a_prefix_no_label_shows_an_identifier(kind: Kind[Any]) -> None:
    label = SAMPLES[kind.name]
    plain = {"sscc": None, "gtin": None, "disinfected": ()}
    known = {field.name for field in fields(label)}
    label = replace(label, **{k: v for k, v in plain.items() if k in known})
    assert not re.search(r"\(\d", text(kind.name, label))
    assert {one.identifier for one in kind.symbols(label)} <= {"]C0", "]d1"}


def test_only_a_device_says_that_it_is_not_sterile_and_carries_marks() -> None:
    words = ("Non-sterile.", "MD", "SN", "LOT")
    for profile, there in (("device", True), ("ppe", False), ("none", False)):
        shown = text("box", replace(DEVICE, profile=profile)).split()
        assert all((word in shown) == there for word in words), profile


def test_words_may_be_in_the_labels_own_language() -> None:
    words = BoxWords(packed="Zabaleno", sets="sad", serial="Krabice", use_by="Do")
    shown = text("box", changed("box", words=words))
    assert "Zabaleno 2026-03-14" in shown
    assert "Packed" not in shown


def test_the_figures_and_dates_of_a_box_stand_with_their_titles() -> None:
    shown = text("box", SAMPLES["box"])
    assert "Packed 2026-03-14" in shown
    assert "Disinfected (UV-C) 2026-03-13" in shown
    assert "Use by 2029-03-13" in shown


# The widest that a product code of eight and a number of this house can be.
def test_the_widest_kit_batch_and_serial_have_room() -> None:
    batch = kit_batch(1, "WWWWWWWW", date(2026, 11, 25), 123)
    label = changed("box", kit_batch=batch, serial="XW-WWWWWW-W")
    for profile in ("none", "device"):
        shown = text("box", replace(label, profile=profile))
        assert f"(10){batch}" in shown
        assert f"Kit batch {batch}" in shown


# The fullest label of a device: all dates, three cautions, a long name, a wide script.
def test_a_device_with_everything_has_room() -> None:
    label = replace(
        DEVICE,
        product_name="Προσωπίδα με αφρό, μιας χρήσης, με προστατευτικό γείσο",
        sets=60,
        disinfected=(("Απολυμάνθηκε (UV-C)", date(2026, 3, 13)),),
        cautions=("Φραγμός πιτσιλίσματος. Δεν αντικαθιστά αναπνευστήρα.",),
    )
    shown = text("box", label)
    for wanted in (*label.cautions, "Contains natural rubber latex.", "Non-sterile."):
        assert wanted in shown
    assert all(number in shown for _, number in label.lots) or "packing list" in shown


# An address may be long: eight lines, some too wide for one.
def test_a_long_address_is_set_smaller_and_whole() -> None:
    lines = (
        "Eskmoor General Hospital and Community Care Trust",
        "Central goods-in and stores department, door 4",
        "Attention: ward sister, respiratory high dependency unit",
        "Level 2, East Wing",
        "Hospital Road 1",
        "Thornwick",
        "Eskmoor",
        "ES1 4QT",
    )
    shown = text("shipment", changed("shipment", ship_to=lines, country="Ελλάδα"))
    assert " ".join(lines) + " ΕΛΛΆΔΑ" in shown


def test_the_country_stands_last_in_capitals_and_blank_lines_nowhere() -> None:
    label = changed("shipment", ship_to=("A", " ", "B"), country="Česko")
    assert "Ship to A B ČESKO Sent on Box" in text("shipment", label)
    assert "ČESKO" not in text("shipment", replace(label, country=""))


REFUSED: list[tuple[str, dict[str, Any], str]] = [
    ("shipment", {"ship_to": ("A line",) * 25}, "label_full"),
    ("shipment", {"ship_to": ("Hospital " * 40,)}, "text_too_long"),
    ("shipment", {"shipment": "W" * 60}, "text_too_long"),
    ("shipment", {"sscc": "395212340000012346"}, "gs1_check_digit"),
    ("set_slip", {"cautions": (SPLASH,) * 5}, "label_full"),
    ("set_slip", {"cautions": ("word " * 90,)}, "text_too_long"),
    ("set_slip", {"product_name": "Face shield " * 9}, "text_too_long"),
    ("set_slip", {"serial": "z" * 90}, "matrix_too_wide"),
    ("cleared", {"cautions": (SPLASH,) * 6}, "label_full"),
    ("cleared", {"protocol": ("P" * 60, "1")}, "text_too_long"),
    ("cleared", {"number": "Z" * 30}, "bars_too_wide"),
    ("badge", {"name": "Somebody " * 9}, "text_too_long"),
    ("badge", {"token": ""}, "nothing_to_encode"),
    ("place", {"code": "WWWWWWWWWWWW"}, "text_too_long"),
    ("place", {"words": "Rack " * 30}, "text_too_long"),
    ("command", {"words": "Do this " * 30}, "text_too_long"),
    ("command", {"command": "ACT-" + "Z" * 30}, "bars_too_wide"),
]


@pytest.mark.parametrize(
    ("name", "change", "code"), REFUSED, ids=[f"{n}-{c}" for n, _, c in REFUSED]
)
def test_what_has_no_room_is_refused(
    name: str, change: dict[str, Any], code: str
) -> None:
    with pytest.raises(LotwardError) as caught:
        drawn(name, changed(name, **change))
    assert caught.value.code == code


# 1 mm of height for 200 to 300 mm of distance is common practice: 7 mm for 2 m.
@pytest.mark.parametrize("code", ["A1", "RACK-03", "RACK-03-B", "SHELF-A-04-1"])
def test_the_code_of_a_place_is_read_at_two_metres(code: str) -> None:
    label = changed("place", code=code, words="")
    raster = rasterise(
        drawn("place", label),
        Stock(kinds.PLACE.width_mm, kinds.PLACE.height_mm, HEAD_203),
    )
    # The first column of letters: their upright stems, left of everything else.
    letter = raster.part(20, 0, 70, 200)
    rows = [0 in letter.row(y) for y in range(200)]
    first = rows.index(True)
    high = rows.index(False, first) - first
    assert high / 8 >= 6.9
    # pdfium gives a hyphen at the end of a line as U+FFFE.
    shown = text("place", label).replace("\ufffe", "-")
    assert shown.replace(" ", "") == code


def test_a_blank_bag_number_says_nothing_else() -> None:
    assert text("bag", BLANK) == "B1-0004821-7"
