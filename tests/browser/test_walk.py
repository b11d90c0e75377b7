"""The whole line on its pages: from intake to the recall lookup, by the right people.

Nothing but master data is made behind the pages' backs, and nobody's clock is bent:
the belt of the test is fast, so that a bag has had its passes after a fifth of a second.
"""

from __future__ import annotations

import csv
import io
import re
import time
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path

import pypdf
import pytest
import zxingcpp
from django.utils import timezone
from PIL import Image
from playwright.sync_api import Browser, Page, expect

from kitting.labels.readback import rasterise
from kitting.ledger.setup import ROLES, ensure_workshop
from kitting.models import Bag, Box, Workshop
from kitting.models.catalogue import Per, PlaceKind
from tests import factories
from tests.browser.measuring import settle
from tests.browser.walking import DESK, GS, HEAVIEST_PAGE, TABLET, Walker
from tests.kitting.labels.samples import BOX_100X150

pytestmark = pytest.mark.django_db(transaction=True)

LOT, MANUALS = "HB-0398", "MAN-0012"
MM_PER_POINT = 25.4 / 72


@dataclass
class Scene:
    """What is set up before the first lot comes."""

    bench: str
    consignee: str


@pytest.fixture
def scene(transactional_db: None, monkeypatch: pytest.MonkeyPatch) -> Scene:
    """Master data as of now: the server in the test reads the real clock."""
    ensure_workshop()
    Workshop.objects.update(
        name="Harrow Lane Workshop",
        gs1_prefix="9521234",
        address="1 Harrow Lane\nEskmoor",
    )
    now = timezone.now()
    monkeypatch.setattr(factories, "NOW", now)
    monkeypatch.setattr(factories, "TODAY", now.date())
    for role in ROLES:
        factories.make_person(role, name=role)
    band = factories.make_revision(factories.make_part(name="Headband"))
    manual = factories.make_revision(
        factories.make_part(name="Manual", needs_check=False, needs_clearing=False)
    )
    factories.make_protocol(band, required_top_uj_cm2=400)
    factories.make_meter(due=now.date() + timedelta(days=30))
    _named_place(PlaceKind.LINE, "Line 1")
    _named_place(PlaceKind.SHELF, "Rack C")
    recipe = factories.make_recipe([(band, 1, Per.SET), (manual, 1, Per.BOX)])
    # 0952… is GS1's own range for demonstrations; the last digit is the check digit.
    factories.make_size(recipe, 6, gtin="09521234000013")
    return Scene(
        bench=factories.make_bench().code,
        consignee=factories.make_consignee("Eskmoor General").code,
    )


def _named_place(kind: str, name: str) -> None:
    place = factories.make_place(kind)
    place.name = name
    place.save()


# -- The checker ---------------------------------------------------------------------


def take_in(walker: Walker) -> None:
    with walker.signed_in("checker", DESK, "/lots/") as page:
        walker.look("Lots")
        _take_in_headbands(walker, page)
        _accept(walker, page)
        _take_in_manuals(walker, page)
        page.get_by_role("link", name="The day").click()
        walker.look("The day")


def _take_in_headbands(walker: Walker, page: Page) -> None:
    _begin_lot(walker, page, "Headband, revision A", LOT)
    page.get_by_label("Or the count of every bag").fill("4 20")
    page.get_by_role("button", name="Take in the lot").click()
    expect(page).to_have_url(f"{walker.address}/lots/{LOT}/")
    expect(page.locator(".answer")).to_contain_text("24 pieces in 2 bags")
    expect(page.locator(".answer")).to_contain_text("open for more bags")
    walker.look("A lot")
    page.get_by_role("link", name="Close the lot").click()
    walker.look("Close a lot")
    page.get_by_role("button", name=f"Close lot {LOT}").click()
    expect(page.locator(".answer")).to_contain_text("waits for its check")


def _begin_lot(walker: Walker, page: Page, part: str, number: str) -> None:
    page.get_by_role("link", name="Take in a lot").click()
    walker.look("Take in a lot")
    choose = page.get_by_label("Part and revision")
    if walker.script:
        with page.expect_response(re.compile("/lots/new/")):
            choose.select_option(part)
        settle(page)
    else:
        choose.select_option(part)
    page.locator("summary").filter(has_text="More").click()
    page.get_by_label("Lot number").fill(number)
    page.get_by_label("Made on").fill(timezone.now().date().isoformat())
    page.get_by_label("Source", exact=True).fill("Print bench")
    page.get_by_label("Place").select_option("Rack C")


def _accept(walker: Walker, page: Page) -> None:
    page.get_by_role("link", name="Check the lot").click()
    walker.look("Check a lot")
    expect(page.locator(".answer")).to_contain_text("none may be bad")
    page.get_by_label("Accept the lot").check()
    page.get_by_label(re.compile("^I looked at all 24")).check()
    page.get_by_role("button", name="Give the verdict").click()
    expect(page.locator(".answer")).to_contain_text("closed and accepted")


def _take_in_manuals(walker: Walker, page: Page) -> None:
    page.get_by_role("link", name="Lots", exact=True).click()
    _begin_lot(walker, page, "Manual, revision A", MANUALS)
    page.get_by_label("Bags", exact=False).first.fill("1")
    page.get_by_label("In each bag").fill("50")
    page.get_by_label("Container").select_option("bundle")
    page.get_by_label("Close the lot: there will be no more bags").check()
    page.get_by_role("button", name="Take in the lot").click()
    expect(page.locator(".answer")).to_contain_text("closed and needs no check")
    expect(page.locator("#lot")).to_contain_text("cleared")


# -- The line operator ---------------------------------------------------------------


def disinfect(walker: Walker) -> None:
    with walker.signed_in("line operator", TABLET, "/disinfection/") as page:
        walker.look("Runs")
        page.get_by_role("link", name="Open a run on Line 1").click()
        walker.look("Open a run")
        page.get_by_label("Length of the lit zone").fill("20")
        page.get_by_label("Speed of the belt").fill("100")
        page.get_by_label("Uncertainty of the speed").fill("1")
        page.get_by_label("Decline of the lamps").fill("1")
        _read_meter(page, "4.0")
        page.get_by_role("button", name="Open the run on Line 1").click()
        expect(page).to_have_url(re.compile("/disinfection/R[0-9]"))
        _on_and_off(walker, page)
        walker.look("A run")
        page.get_by_role("link", name=re.compile("^Close run")).click()
        walker.look("Close a run")
        _read_meter(page, "3.9")
        page.get_by_label("Your password again").fill("pass")
        page.get_by_role("button", name=re.compile("^Close run")).click()
        expect(page.locator(".answer")).to_contain_text("released")


def _read_meter(page: Page, reading: str) -> None:
    for point in (1, 2, 3):
        page.get_by_label(f"Point {point}, top").fill(reading)


def _on_and_off(walker: Walker, page: Page) -> None:
    field, bags = page.locator("#line-read"), _bags(LOT)
    for bag in bags:
        walker.scan(field, bag)
        expect(page.locator("#main")).to_contain_text(f"Bag {bag} is on the line.")
    time.sleep(0.3)  # 20 mm at 100 mm/s, once
    for bag in bags:
        walker.scan(field, bag)
        expect(page.locator("#main")).to_contain_text(f"Bag {bag} is off the line.")


def _bags(lot: str) -> list[str]:
    """Numbers of the bags of a lot, as their labels carry them."""
    return list(Bag.objects.filter(lot__number=lot).values_list("number", flat=True))


# -- The packer ----------------------------------------------------------------------


def pack(walker: Walker, scene: Scene) -> Box:
    """Pack one box of 6: the first bag has 4 headbands, so the second is asked for."""
    with walker.signed_in("packer", TABLET, "/bench/") as page:
        walker.look("Benches")
        page.get_by_role("link", name=f"Bench {scene.bench}").click()
        walker.look("The bench, no box")
        _fill(walker, page)
        box = _close(walker, page)
        _stick(walker, page, box)
        page.get_by_role("link", name=re.compile("^packer")).click()
    return box


def _fill(walker: Walker, page: Page) -> None:
    small, large = _bags(LOT)
    (manuals,) = _bags(MANUALS)
    following = page.locator("#bench-next")
    walker.scan(page.locator("#scan"), small)
    expect(page.locator("#bench-lines")).to_contain_text("Headband")
    following.get_by_role("button", name=re.compile("^6")).click()
    expect(page.locator(".count")).to_contain_text("4 of 6 sets")
    # What runs short is asked for by name, with a bag and where it stands.
    expect(following).to_contain_text("Headband: scan a bag")
    expect(following).to_contain_text("Line 1")  # where it came off
    holds = Bag.objects.get(number=large).pieces
    assert holds > 2
    expect(following).to_contain_text(f"bag {large} holds {holds}; wanted 2")
    walker.look("The bench, a box open")
    walker.scan(page.locator("#scan"), large)
    expect(following).to_contain_text("Manual: scan a bag")
    walker.scan(page.locator("#scan"), manuals)
    expect(page.locator(".count")).to_contain_text("6 of 6 sets")


def _close(walker: Walker, page: Page) -> Box:
    page.get_by_role("button", name="Close box").click()
    expect(page.locator("#bench-next")).to_contain_text("stick its label on")
    walker.look("The bench, a box closed")
    return Box.objects.get()


def _stick(walker: Walker, page: Page, box: Box) -> None:
    """Scan the label that was printed, as a scanner sends its symbols.

    A scanner types FNC1 as Ctrl+], which a browser without script swallows: the matrix
    loses its separator on the way and the bars, which need none, are scanned instead.
    """
    answer = walker.fetch(page.get_by_role("link", name="Open the label"))
    assert answer.headers["content-type"] == "application/pdf"
    assert box.packed_on is not None
    text = (
        f"]d201{box.size.gtin}13{box.packed_on:%y%m%d}10{box.batch}{GS}21{box.serial}"
    )
    assert _matrix_on(answer.body()) == text
    bars = f"]C100{box.sscc}"
    walker.scan(page.locator("#scan"), text if walker.script else bars)
    expect(page.locator("#bench-box")).to_contain_text("1 box from here today")
    expect(page.locator("#bench-strip")).to_contain_text(f"Box {box.serial} labelled")


def _matrix_on(pdf: bytes) -> str:
    """Measure the one page of a box label; read its matrix as a scanner reports it."""
    (paper,) = pypdf.PdfReader(io.BytesIO(pdf)).pages
    assert float(paper.mediabox.width) * MM_PER_POINT == pytest.approx(100, abs=0.1)
    assert float(paper.mediabox.height) * MM_PER_POINT == pytest.approx(150, abs=0.1)
    raster = rasterise(pdf, BOX_100X150)
    image = Image.frombytes("L", (raster.wide, raster.high), raster.dots)
    (symbol,) = zxingcpp.read_barcodes(image, formats=zxingcpp.BarcodeFormat.DataMatrix)
    return symbol.symbology_identifier + symbol.bytes.decode("ascii")


# -- The clerk -----------------------------------------------------------------------


def ship(walker: Walker, scene: Scene, box: Box) -> None:
    with walker.signed_in("clerk", DESK, "/shipments/") as page:
        walker.look("Shipments")
        page.get_by_role("link", name="Begin a shipment").click()
        walker.look("Begin a shipment")
        page.get_by_label("Consignee", exact=True).select_option(scene.consignee)
        page.get_by_label("Reference").fill("PO 7731")
        page.get_by_role("button", name="Begin the shipment").click()
        expect(page.locator("#shipment")).to_contain_text("Scan the first box")
        walker.scan(page.locator("#scan"), f"]C100{box.sscc}")
        expect(page.locator("#main")).to_contain_text(
            f"Box {box.serial} is on the shipment."
        )
        walker.look("A shipment, open")
        page.get_by_role("link", name="Send 1 box").click()
        walker.look("Sending a shipment")
        page.get_by_label("Driver").fill("Driver 2")
        page.get_by_label("Why it goes without").fill("Written by hand")
        page.get_by_role("button", name="Send 1 box").click()
        expect(page.locator(".answer")).to_contain_text("1 box with 6 sets in shipment")
        walker.look("A shipment, sent")
        _read_log(walker, page)


def _read_log(walker: Walker, page: Page) -> None:
    page.get_by_role("link", name="Shipping log", exact=True).click()
    walker.look("Shipping log")
    row = page.locator("#log tbody tr")
    expect(row).to_have_count(1)
    for words in ("Eskmoor General", "PO 7731", "clerk", LOT, MANUALS):
        expect(row).to_contain_text(words)
    file = walker.download(page.get_by_role("link", name="CSV"))
    assert re.search(r"\.csv$", file.suggested_filename)
    text = Path(file.path()).read_text(encoding="utf-8-sig")
    _head, *rows = csv.reader(io.StringIO(text))
    assert len(rows) == 1
    assert {"Eskmoor General", "PO 7731"} <= set(rows[0])
    assert LOT in " ".join(rows[0])


# -- The quality officer -------------------------------------------------------------


def recall(walker: Walker) -> None:
    with walker.signed_in("quality officer", DESK, "/recall/") as page:
        walker.look("Recall")
        walker.scan(page.locator("#recall-q"), LOT)
        expect(page.locator(".answer")).to_contain_text(
            "6 pieces in 1 box sent to 1 consignee"
        )
        expect(page.locator(".answer")).to_contain_text("18 pieces in 1 bag here")
        assert _balance(page)["Difference"] == "0"
        assert _balance(page) == {
            **dict.fromkeys(_balance(page), "0"),
            "Received": "24",
            "In bags": "18",
            "Sent": "6",
        }
        expect(page.locator("table.reached")).to_contain_text("Eskmoor General")
        walker.look("A lot, recalled")
        page.get_by_role("link", name="Stop it").click()
        page.get_by_label("this lot").check()
        page.get_by_label("Reason").fill("Sharp edge at the strap hole")
        page.get_by_role("button", name="Place the hold").click()
        expect(page.locator("#said")).to_contain_text("1 box")
        expect(page.locator("#holds + .table")).to_contain_text("Sharp edge")
        rest = page.get_by_role("row", name=_bags(LOT)[1])
        expect(rest).to_contain_text("held")
        walker.look("A lot, held")


def _balance(page: Page) -> dict[str, str]:
    settle(page)
    table = page.get_by_role("table", name="The balance of the lot")
    heads = table.locator("thead th").all_inner_texts()
    figures = table.locator("tbody tr").first.locator("td").all_inner_texts()
    return dict(zip(heads[1:], figures, strict=True))


def meet_the_hold(walker: Walker, scene: Scene) -> None:
    """The bench's open bag is of the held lot: nothing is taken, and a scan says why."""
    with walker.signed_in("packer", TABLET, f"/bench/{scene.bench}/") as page:
        following = page.locator("#bench-next")
        following.get_by_role("button", name=re.compile("^6")).click()
        expect(following).to_contain_text("Headband: none may be packed")
        expect(following).to_contain_text("On hold: 18")
        walker.look("The bench, parts on hold")
        walker.scan(page.locator("#scan"), _bags(LOT)[1])
        expect(following).to_have_attribute("data-state", "wrong")
        expect(following).to_contain_text("is on hold")
        expect(following).to_contain_text("Put it in quarantine and take another")
        expect(page.locator(".count")).to_contain_text("0 of 6 sets")
        walker.look("The bench, a scan refused")
        page.get_by_role("link", name=re.compile("^packer")).click()


def walk(walker: Walker, scene: Scene) -> None:
    take_in(walker)
    disinfect(walker)
    box = pack(walker, scene)
    ship(walker, scene, box)
    recall(walker)
    meet_the_hold(walker, scene)
    assert walker.asked == {walker.address.removeprefix("http://")}
    assert walker.complaints == []
    # Of the whole walk one scan is refused, and it was meant to be.
    assert walker.refused == [422]


def test_the_whole_line_is_walked_by_its_pages(
    page: Page, live_server, scene: Scene
) -> None:
    walker = Walker(page, live_server.url, by_page=True)
    walk(walker, scene)
    assert factories.prove() == []
    assert len(walker.weights) > 20
    assert walker.barriers == []
    heavy = {name: n for name, n in walker.weights.items() if n > HEAVIEST_PAGE}
    assert heavy == {}


@pytest.fixture
def page_without_script(browser: Browser) -> Iterator[Page]:
    context = browser.new_context(java_script_enabled=False)
    yield context.new_page()
    context.close()


@pytest.mark.long
def test_the_whole_line_is_walked_without_javascript(
    page_without_script: Page, live_server, scene: Scene
) -> None:
    """Each page of it is used without scripts in the gate as well, by its own test."""
    walker = Walker(page_without_script, live_server.url, script=False, by_page=True)
    walk(walker, scene)
    assert factories.prove() == []
