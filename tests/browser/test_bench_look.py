"""The look of the bench and the script of every page, in a browser.

No server is needed: the markup is the one that static/kitting/packing/bench.css documents, the styles
and the script are the real files.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from playwright.sync_api import expect

from kitting.web.tags.drawing import box_drawing
from tests.browser.benching import Size, turn

if TYPE_CHECKING:
    from playwright.sync_api import FloatRect, Page

STATIC = Path(__file__).resolve().parent.parent.parent / "static"
SIZES = [(1280, 800), (800, 1280)]
ZONES = ["#bench-box", "#bench-next", "#bench-lines", "#bench-strip"]
# One inch is 25.4 mm and, in CSS Values and Units, 96 px.
TARGET_PX = 18 / 25.4 * 96

WORDS = "<h2>Scan a bag of visors</h2><p class='go-to'>Bag B1-0398-1, Rack C</p>"
CHOICE = """<div class="choice"><form><button class="zone-act">6</button></form>
<form><button class="zone-act">24</button></form></div>"""
LINES = "".join(
    f'<tr class="{state}"><th scope="row">{part}<small>B1-03, 12 left</small></th>'
    '<td class="figure">24</td><td class="figure">14</td></tr>'
    for part, state in [
        ("Headband", "line-done"),
        ("Chin piece", "line-done"),
        ("Visor", "line-short"),
        ("Elastic", ""),
        ("Manual", ""),
    ]
)


def show_bench(page: Page, *, state: str, words: str = WORDS) -> None:
    turn(page, SIZES[0])
    page.set_content(
        f"""<!doctype html><html lang="en-gb" class="bench"><body>
        <main class="bench-page">
        <section class="zone zone-box" id="bench-box"><h1>Box 1-000201-4</h1>
        {box_drawing(24, complete=14, started=1)}
        <p class="count"><b>14</b> of 24 sets</p></section>
        <section class="zone zone-next" id="bench-next" data-state="{state}">
        <div class="next-words">{words}</div>{CHOICE if state == "choice" else ""}
        <form class="scan"><label for="scan">Scan</label>
        <input id="scan" data-scan><span class="scan-lost">Touch here</span>
        <button class="out-of-sight" tabindex="-1">Take</button></form></section>
        <section class="zone zone-lines" id="bench-lines"><table><thead><tr>
        <th>Part</th><th class="figure">Needed</th><th class="figure">In</th></tr>
        </thead><tbody>{LINES}</tbody></table></section>
        <footer class="strip" id="bench-strip"><div class="strip-who">
        <p><a href="#">Packer 3 <small>Bench 2</small></a></p>
        <form><button>Sign out</button></form></div>
        <p class="strip-last">Elastic bag B1-0377-4 opened</p>
        <form class="strip-undo"><button>Undo</button></form>
        <p class="strip-waiting" data-waiting="0">No scan waits</p></footer></main>
        </body></html>"""
    )
    page.add_style_tag(path=STATIC / "lotward.css")
    page.add_style_tag(path=STATIC / "kitting/packing/bench.css")


def boxes(page: Page) -> list[FloatRect]:
    found = [page.locator(zone).bounding_box() for zone in ZONES]
    return [box for box in found if box is not None]


def test_every_target_at_the_bench_is_18_mm(page: Page) -> None:
    show_bench(page, state="choice")
    targets = page.locator("button:not(.out-of-sight), input[data-scan]").all()
    for size in SIZES:
        turn(page, size)
        measured = [box for target in targets if (box := target.bounding_box())]
        assert len(measured) == 5
        assert min(box["height"] for box in measured) >= TARGET_PX - 0.1
        assert min(box["width"] for box in measured) >= TARGET_PX - 0.1


def test_no_zone_moves_whatever_is_said(page: Page) -> None:
    # As long as the longest refusals at a bench, set as its page sets what is long.
    long = (
        "<h2 class='long'>Box 1-000197-4 left with shipment SH-260041 for the stores"
        " and central sterile services of Eskmoor General, goods entrance 2, on the far"
        " side of the canal</h2><p class='go-to'>If it is here, put it in quarantine"
        " and tell a quality officer. Nothing was done with it at this bench.</p>"
    )
    seen: dict[Size, list[list[FloatRect]]] = {size: [] for size in SIZES}
    for state, words in [("ask", WORDS), ("right", WORDS), ("wrong", long)]:
        show_bench(page, state=state, words=words)
        for size, found in seen.items():
            turn(page, size)
            found.append(boxes(page))
    for asked, right, wrong in seen.values():
        assert len(asked) == len(ZONES)
        assert asked == right == wrong


def test_the_zones_fill_the_tablet_and_nothing_scrolls(page: Page) -> None:
    show_bench(page, state="ask")
    for size in SIZES:
        turn(page, size)
        area = sum(box["width"] * box["height"] for box in boxes(page))
        assert area == pytest.approx(size[0] * size[1], rel=0.001)
        assert page.evaluate(
            "[...document.querySelectorAll('html, body, .zone')]"
            ".every(e => e.scrollHeight <= e.clientHeight + 1)"
        )


def test_the_cross_is_as_tall_as_its_zone_and_covers_no_word(page: Page) -> None:
    show_bench(page, state="wrong")
    for size in SIZES:
        turn(page, size)
        assert_the_cross_is_beside_the_words(page)


def assert_the_cross_is_beside_the_words(page: Page) -> None:
    zone, words = "#bench-next", ".next-words"
    cross = page.evaluate(
        """zone => { const s = getComputedStyle(document.querySelector(zone), '::after');
        return {height: parseFloat(s.height), width: parseFloat(s.width),
                right: parseFloat(s.right), visibility: s.visibility}; }""",
        zone,
    )
    zone_box = page.locator(zone).bounding_box()
    words_box = page.locator(words).bounding_box()
    assert zone_box is not None
    assert words_box is not None
    assert cross["visibility"] == "visible"
    assert cross["height"] >= zone_box["height"] - 40
    left_of_cross = zone_box["x"] + zone_box["width"] - cross["right"] - cross["width"]
    assert words_box["x"] + words_box["width"] <= left_of_cross


def test_the_tick_is_gone_after_its_time(page: Page) -> None:
    show_bench(page, state="right")
    opacity = (
        "getComputedStyle(document.querySelector('#bench-next'), '::after').opacity"
    )
    page.wait_for_function(f"{opacity} === '0'")
    duration = page.evaluate(
        "getComputedStyle(document.querySelector('#bench-next'), '::after')"
        ".animationDuration"
    )
    # 600 ms of tick, then 120 ms in which it fades.
    assert duration == "0.72s"


def test_a_lost_scan_field_says_that_it_wants_a_touch(page: Page) -> None:
    show_bench(page, state="ask")
    expect(page.locator(".scan-lost")).to_be_visible()
    page.locator("#scan").click()
    expect(page.locator(".scan-lost")).to_be_hidden()


# -- lotward.js, keys.js and scans.js ---------------------------------------------------


def show_script(page: Page, body: str) -> None:
    page.set_content(f"<!doctype html><body>{body}</body>")
    for script in ("keys.js", "scans.js", "lotward.js"):
        page.add_script_tag(path=STATIC / script)


def test_the_separator_of_a_scanner_arrives_in_a_scan_field(page: Page) -> None:
    show_script(page, '<input id="scan" data-scan>')
    field = page.locator("#scan")
    for key in ("Control+]", "F8"):
        field.fill("")
        field.press_sequentially("10A")
        field.press(key)
        field.press_sequentially("21B")
        # GS1 General Specifications: FNC1 as a separator is sent as 0x1D.
        expect(field).to_have_value("10A\x1d21B")


def test_other_fields_keep_their_keys(page: Page) -> None:
    show_script(page, '<input id="name">')
    page.locator("#name").press("F8")
    expect(page.locator("#name")).to_have_value("")


def test_enter_sends_a_scan_even_from_a_form_of_many_fields(page: Page) -> None:
    show_script(
        page, '<form><input id="scan" data-scan><input name="count"></form><p></p>'
    )
    page.evaluate(
        """document.forms[0].addEventListener('submit', e => {
        e.preventDefault(); document.querySelector('p').textContent += 'sent'; })"""
    )
    page.locator("#scan").press("Enter")
    expect(page.locator("p")).to_have_text("sent")


def test_a_scan_at_a_desk_says_what_it_does_not_do(page: Page) -> None:
    show_script(
        page,
        """<div id="alarm" role="alert" data-command="No such act." data-unsaved="Not kept."></div>
        <main><form class="form"><input type="number"></form></main>
        <form><input id="find" data-scan></form><p tabindex="0">Here</p>""",
    )
    page.evaluate("document.documentElement.classList.add('desk')")
    page.evaluate("void (document.forms[1].onsubmit = () => document.body.remove())")
    for entered, said in (("", "No such act."), ("7", "Not kept.")):
        page.locator("input[type=number]").fill(entered)
        page.locator("p").focus()
        page.keyboard.type("ACT-UNDO" if not entered else "B1000001X")
        page.keyboard.press("Enter")
        expect(page.get_by_role("alert")).to_have_text(said)
    page.locator("input[type=number]").fill("")
    page.locator("p").focus()
    page.keyboard.type("B1000001X")
    page.keyboard.press("Enter")
    expect(page.locator("p")).to_have_count(0)  # nothing is lost: it was looked up


PLAIN = (
    "{xhr: {status: 503, responseText: 'The disk is full.',"
    " getResponseHeader: () => '%s'}}"
)


SAID = (
    ("htmx:responseError", "{xhr: {status: 403}}", "You may not."),
    ("htmx:responseError", "{xhr: {status: 500}}", "The server failed."),
    ("htmx:responseError", PLAIN % "text/plain", "The disk is full."),
    ("htmx:responseError", PLAIN % "text/html", "The server failed."),
    ("htmx:sendError", "{}", "No network."),
)


def test_a_failed_request_is_said_and_the_next_one_clears_it(page: Page) -> None:
    show_script(
        page,
        '<div id="alarm" role="alert" data-403="You may not." '
        'data-other="The server failed." data-away="No network."></div>',
    )
    for event, detail, said in SAID:
        page.evaluate(
            f"document.dispatchEvent(new CustomEvent('{event}', {{detail: {detail}}}))"
        )
        expect(page.get_by_role("alert")).to_have_text(said)
        page.evaluate("document.dispatchEvent(new CustomEvent('htmx:beforeRequest'))")
        expect(page.get_by_role("alert")).to_have_text("")


def test_the_focus_goes_to_what_is_wrong_after_a_swap(page: Page) -> None:
    show_script(
        page, "<section><div data-wrong tabindex='-1'>Two errors</div></section>"
    )
    page.evaluate(
        """document.querySelector('section').dispatchEvent(
        new CustomEvent('htmx:afterSettle', {bubbles: true}))"""
    )
    assert page.evaluate("document.activeElement.textContent") == "Two errors"
