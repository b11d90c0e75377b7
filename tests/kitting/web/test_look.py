"""The look: contrast, nothing inline, marks of stage, numbers, the drawn box."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime
from itertools import product
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from django.utils import timezone
from django.utils.html import strip_tags

from kitting.domain.stages import (
    BagStage,
    BoxStage,
    PrintState,
    RunStage,
    ShipmentStage,
)
from kitting.web.shapes import SHAPES, WORDS
from kitting.web.tags import look
from kitting.web.tags.drawing import box_drawing, grid

ROOT = Path(__file__).resolve().parents[3]
TEMPLATES = sorted((ROOT / "templates").rglob("*.html"))
DESK = ROOT / "static/lotward.css"
BENCH = ROOT / "static/kitting/packing/bench.css"
ICON = ROOT / "static/favicon.svg"
STYLES = sorted((ROOT / "static").glob("*.css"))

# -- Contrast -----------------------------------------------------------------------

# WCAG 2.2 asks for 7:1 (success criterion 1.4.6) between text and its ground, and 3:1
# (1.4.11) for what marks a field.
PAIRS = [
    *product(
        ["--ink", "--soft", "--accent", "--yes", "--no", "--hold"],
        ["--paper", "--sheet"],
    ),
    ("--on-accent", "--accent"),
    ("--paper", "--ink"),  # the skip link; a key of the bench or a tally, pressed
]


def luminance(colour: str) -> float:
    """Relative luminance, WCAG 2.2 "relative luminance", for a colour as #rrggbb."""
    channels = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    linear = [
        c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels
    ]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    """Contrast ratio, WCAG 2.2 "contrast ratio"."""
    dark, light = sorted((luminance(one), luminance(other)))
    return (light + 0.05) / (dark + 0.05)


def tokens(css: str, opening: str) -> dict[str, str]:
    """Read the colours of the first rule that starts with ``opening``."""
    body = css[css.index(opening) + len(opening) :]
    return dict(re.findall(r"(--[\w-]+):\s*(#[0-9a-f]{6})\b", body[: body.index("}")]))


def schemes() -> dict[str, dict[str, str]]:
    css = DESK.read_text()
    light = tokens(css, ":root {")
    dark_at = css.index("prefers-color-scheme: dark")
    dark = light | tokens(css[dark_at:], ":root {")
    bench = light | tokens(BENCH.read_text(), ":root.bench {")
    return {"light": light, "dark": dark, "bench": bench}


@pytest.mark.parametrize(
    ("one", "other", "ratio"),
    [
        # The definition's own end points, WCAG 2.2: from 1:1 to 21:1.
        ("#000000", "#ffffff", 21.0),
        ("#1f4e5f", "#1f4e5f", 1.0),
        # Known from common practice: the lightest greys that pass 4.5:1 and 7:1 on white.
        ("#767676", "#ffffff", 4.54),
        ("#595959", "#ffffff", 7.0),
    ],
)
def test_the_contrast_formula_gives_known_ratios(
    one: str, other: str, ratio: float
) -> None:
    assert contrast(one, other) == pytest.approx(ratio, abs=0.01)


@pytest.mark.parametrize("scheme", ["light", "dark", "bench"])
@pytest.mark.parametrize(("text", "ground"), PAIRS)
def test_every_text_has_a_contrast_of_seven(
    scheme: str, text: str, ground: str
) -> None:
    colours = schemes()[scheme]
    assert contrast(colours[text], colours[ground]) >= 7


@pytest.mark.parametrize("scheme", ["light", "dark", "bench"])
@pytest.mark.parametrize("ground", ["--paper", "--sheet"])
def test_the_frame_of_a_field_has_a_contrast_of_three(scheme: str, ground: str) -> None:
    colours = schemes()[scheme]
    assert contrast(colours["--edge"], colours[ground]) >= 3


def test_a_refused_scan_has_a_contrast_of_seven() -> None:
    colours = schemes()["bench"]
    assert contrast(colours["--on-no"], colours["--no"]) >= 7


def test_dark_has_every_colour_of_light() -> None:
    css = DESK.read_text()
    dark = tokens(css[css.index("prefers-color-scheme: dark") :], ":root {")
    assert dark.keys() == tokens(css, ":root {").keys()


@pytest.mark.parametrize("style", STYLES, ids=lambda style: style.name)
def test_a_style_names_colours_only_as_tokens(style: Path) -> None:
    rules = re.sub(r"/\*.*?\*/", "", style.read_text(), flags=re.DOTALL)
    beside = [
        line
        for line in rules.splitlines()
        if re.search(r"#[0-9a-fA-F]{3,8}\b|\brgba?\(|\bhsla?\(", line)
        and not line.strip().startswith("--")
    ]
    # On paper, black on white.
    paper = ["background: #ffffff;", "color: #000000;"] if style == DESK else []
    assert [line.strip() for line in beside] == paper


@pytest.mark.parametrize("style", STYLES, ids=lambda style: style.name)
@pytest.mark.parametrize(
    "word", ["gradient", "shadow", "url(", "@import", "@font-face"]
)
def test_a_style_has_no_ornament_and_asks_no_other_machine(
    style: Path, word: str
) -> None:
    # A pattern drawn in the same page is named by url("#…").
    assert word not in style.read_text().replace('url("#', "")


# -- The content security policy -----------------------------------------------------


INLINE = re.compile(
    r"<style|\bstyle=|(?<![\w-])on[a-z]+=[\"']|javascript:|https?://|//cdn"
    r"|<script(?![^>]*\bsrc=)"
)


def test_a_template_has_nothing_inline() -> None:
    found = {path.name: INLINE.findall(path.read_text()) for path in TEMPLATES}
    assert {name: inline for name, inline in found.items() if inline} == {}
    assert len(found) > 300


@pytest.mark.parametrize(
    ("script", "lines"), [("lotward", 100), ("scans", 150), ("keys", 190)]
)
def test_the_scripts_of_every_page_stay_small(script: str, lines: int) -> None:
    text = (ROOT / f"static/{script}.js").read_text("utf-8")
    assert len(text.splitlines()) < lines


# -- Marks ---------------------------------------------------------------------------

STAGES = [
    *(("bag", stage) for stage in BagStage),
    *(("box", stage) for stage in BoxStage),
    *(("run", stage) for stage in RunStage),
    *(("shipment", stage) for stage in ShipmentStage),
    *(("job", state) for state in PrintState),
]


@pytest.mark.parametrize(("kind", "stage"), STAGES)
def test_every_stage_has_a_shape_and_its_word_beside_it(kind: str, stage: str) -> None:
    html = look.mark(stage, kind)
    assert re.search(r'aria-hidden="true"[^>]*><(path|circle)', html)
    assert strip_tags(html) == str(WORDS[stage])
    assert "style" not in html


def test_shapes_differ_in_outline_and_not_only_in_fill() -> None:
    outlines = [
        re.sub(r'class="[^"]*"', "", shape)
        for shapes in SHAPES.values()
        for shape in shapes.values()
    ]
    assert len(outlines) == len(set(outlines))


def test_a_hold_stands_on_any_mark_and_in_its_words() -> None:
    html = look.mark(BagStage.CLEARED, held=True)
    assert SHAPES["bag"]["cleared"] in html
    assert html.count('class="mark-bar"') == 1
    assert strip_tags(html) == "cleared, held"


def test_a_hold_alone_is_two_upright_bars() -> None:
    html = look.mark("held")
    assert strip_tags(html) == "held"
    assert re.findall(r'd="([^"]+)"', html) == ["M7 0v20M13 0v20"]


def test_an_open_run_is_not_drawn_as_an_open_box() -> None:
    assert look.mark("open", "run") != look.mark("open", "box") == look.mark("open")


def test_an_unknown_stage_is_written_out_and_escaped() -> None:
    assert strip_tags(look.mark("<b>")) == "&lt;b&gt;"


# -- The icon ------------------------------------------------------------------------


def test_the_icon_of_the_site_and_the_mark_of_the_head_are_one_drawing() -> None:
    [drawing] = re.findall(r'<g id="box">(.*?)</g>', ICON.read_text(), re.DOTALL)
    assert drawing.count("<path ") == 2
    head = (ROOT / "templates/_head.html").read_text()
    [mark] = re.findall(r"<svg.*?</svg>", head, re.DOTALL)
    assert re.findall(r"<(\w+)", mark) == ["svg", "use"]
    assert """href="{% static 'favicon.svg' %}#box\"""" in mark
    document = (ROOT / "templates/_document.html").read_text()
    assert (
        """rel="icon" type="image/svg+xml" href="{% static 'favicon.svg' %}\""""
        in document
    )


def test_the_icon_has_the_accent_as_its_ground() -> None:
    [ground] = re.findall(r'<rect [^>]*fill="([^"]+)"', ICON.read_text())
    assert ground == schemes()["light"]["--accent"]


# -- Numbers and days ----------------------------------------------------------------


@pytest.mark.parametrize(
    ("plain", "groups"),
    [
        # GS1 General Specifications: an SSCC has 18 digits, a GTIN 14.
        ("395212340000001238", ["3952", "1234", "0000", "0012", "38"]),
        ("09521234000013", ["0952", "1234", "0000", "13"]),
        ("V-251119-A", ["V-251119-A"]),
        ("1FS25323-02", ["1FS2", "5323-02"]),
        ("SH-12345678/9", ["SH-1234", "5678/9"]),
        ("--", ["--"]),
        ("12345678", ["1234", "5678"]),
    ],
)
def test_an_identifier_stands_in_groups_and_copies_plain(
    plain: str, groups: list[str]
) -> None:
    html = look.number(plain)
    assert re.findall(r'<span class="four">(.*?)</span>', html) == groups
    assert strip_tags(html) == plain


def test_an_identifier_is_escaped_and_nothing_stays_nothing() -> None:
    assert strip_tags(look.number("<i>x")) == "&lt;i&gt;x"
    assert look.number(None) == look.number("") == ""


def test_numbers_are_listed_and_led_to_where_they_are_looked_up() -> None:
    plain = look.numbers(["L1000002A", "a&b"])
    assert strip_tags(plain) == "L1000002A, a&amp;b"
    assert "<a" not in plain
    linked = look.numbers(["L1000002A", "a&b"], "/recall/")
    assert re.findall('href="(.*?)"', linked) == [
        "/recall/?q=L1000002A",
        "/recall/?q=a%26b",
    ]
    assert look.numbers([], "/recall/") == ""


def test_a_fact_is_told_under_its_title_where_there_is_one() -> None:
    assert look.fact("Source", "A & B") == "<dt>Source</dt><dd>A &amp; B</dd>"
    assert look.fact("Packed on", look.day(date(2026, 3, 4))).endswith("</time></dd>")
    assert look.fact("Use by", look.day(None)) == ""


def test_numbers_in_a_sentence_are_set_as_they_are_alone() -> None:
    told = look.grouped("Bag B1000042T & box 340123456700000018 came; X-B1000042T not.")
    assert str(look.number("B1000042T")) in told
    assert str(look.number("340123456700000018")) in told
    assert told.count('class="number"') == 2
    assert strip_tags(told) == (
        "Bag B1000042T &amp; box 340123456700000018 came; X-B1000042T not."
    )


@pytest.mark.parametrize(
    ("value", "text"),
    [
        # ISO 80000-1: groups of three digits with a small space, never a comma.
        (0, "0"),
        (999, "999"),
        (4812, "4\N{NARROW NO-BREAK SPACE}812"),
        (1234567, "1\N{NARROW NO-BREAK SPACE}234\N{NARROW NO-BREAK SPACE}567"),
        (-4812, "\N{MINUS SIGN}4\N{NARROW NO-BREAK SPACE}812"),
        (None, ""),
        ("many", "many"),
    ],
)
def test_pieces_are_grouped_in_thousands(value: object, text: str) -> None:
    assert look.pieces(value) == text


def test_a_day_is_the_day_at_the_workshop() -> None:
    late = datetime(2026, 3, 1, 23, 30, tzinfo=UTC)
    with timezone.override(ZoneInfo("Europe/Berlin")):
        assert strip_tags(look.day(late)) == "2026-03-02"
        assert strip_tags(look.moment(late)) == "2026-03-02 00:30"
    with timezone.override(ZoneInfo("UTC")):
        assert strip_tags(look.day(late)) == "2026-03-01"


def test_a_date_needs_no_time_zone_and_nothing_stays_nothing() -> None:
    assert strip_tags(look.day(date(2026, 3, 1))) == "2026-03-01"
    assert strip_tags(look.moment(date(2026, 3, 1))) == "2026-03-01"
    assert look.day(None) == look.moment(None) == ""


# -- The box -------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("sets", "shape"), [(1, (1, 1)), (6, (3, 2)), (24, (6, 4)), (60, (10, 6))]
)
def test_a_box_is_drawn_about_three_by_two(sets: int, shape: tuple[int, int]) -> None:
    assert grid(sets) == shape


def test_a_drawn_box_has_room_for_all_its_sets_and_no_empty_row() -> None:
    for sets in range(1, 121):
        columns, rows = grid(sets)
        assert columns * (rows - 1) < sets <= columns * rows, sets


def test_a_box_fills_as_sets_become_complete() -> None:
    html = box_drawing(24, complete=14, started=1)
    assert html.count('class="set-out"') == 10
    assert html.count('class="set-in"') == 14 + 1
    assert 'aria-label="Box, open: 14 of 24\N{NO-BREAK SPACE}sets complete"' in html
    assert "box-flap" in html


def test_a_labelled_box_is_shut_and_shows_its_label() -> None:
    html = box_drawing(6, complete=6, stage="labelled")
    assert "box-label" in html
    assert "box-flap" not in html
    assert "box-label" not in box_drawing(6, complete=6, stage="closed")
