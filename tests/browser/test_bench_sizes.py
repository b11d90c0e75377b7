"""At every size of a tablet the bench shows the whole of what it asks for."""

from __future__ import annotations

import re
import uuid
from itertools import chain
from typing import TYPE_CHECKING

import pytest
from django.test import Client
from django.urls import reverse

from kitting.ledger import clock
from kitting.models import Box, BoxSize, Product, Workshop
from kitting.models.catalogue import PlaceKind
from kitting.packing.services import boxes
from kitting.packing.services.plan import plan_day
from tests import factories
from tests.benches import Packing, hold, make_packing, newest_number, page_of
from tests.browser.still import show
from tests.kitting.packing.bench.test_bench_sets_back import overdue_since
from tests.tablets import packer, sign_on, tied

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from playwright.sync_api import Page

# Tablets in both positions, and one of 1280 by 800 at twice its zoom, in both.
SIZES = [(1280, 800), (1024, 768), (800, 1280), (640, 400), (400, 640)]

# What is not there whole: hidden by its zone or the screen, squeezed, or wider than
# its key. A heading has text, so that it has a height.
CUT_OFF = """() => {
  const zone = document.querySelector('#bench-next').getBoundingClientRect();
  const asked = '#bench-next :is(h2, p, li, .zone-act, #scan)';
  const cut = [...document.querySelectorAll(asked)].filter(e => {
    const box = e.getBoundingClientRect();
    const whole = box.height >= 20 && box.width >= 20 &&
      box.top >= zone.top && box.bottom <= zone.bottom + 0.5 &&
      box.bottom <= innerHeight && box.right <= innerWidth;
    const holds = !e.matches('.zone-act') ||
      (e.scrollWidth <= e.clientWidth && e.scrollHeight <= e.clientHeight);
    const clipped = e.parentElement.closest('.next-words') &&
      e.parentElement.scrollHeight > e.parentElement.clientHeight + 1;
    return !whole || !holds || clipped;
  });
  return cut.map(e => e.textContent.trim().slice(0, 40) || e.id);
}"""


# Keys that a glove misses, and the one thing to do where it is not read from a step away.
SMALL = """least => {
  const keys = [...document.querySelectorAll('main :is(button, .zone-act, #scan)')];
  const seen = keys.filter(e => e.checkVisibility() && !e.matches('.out-of-sight'));
  const missed = seen.filter(e => {
    const box = e.getBoundingClientRect();
    return Math.min(box.width, box.height) < least - 0.5;
  });
  const steps = [...document.querySelectorAll('#bench-next h2')].filter(
    e => parseFloat(getComputedStyle(e).fontSize) < least * 28 / 68);
  return [...missed, ...steps].map(e => e.textContent.trim().slice(0, 40) || e.id);
}"""

ASKED_AND_FOUND = f"""least => [
  document.querySelectorAll('#bench-next h2').length,
  [...({CUT_OFF})(), ...({SMALL})(least)]]"""


@pytest.fixture
def at(db: None) -> Packing:
    """A bench at which boxes of two products can be packed, in three sizes each."""
    at = make_packing()
    at.recipe.product.name = "Face shield with chin piece"
    at.recipe.product.save()
    other = factories.make_recipe(
        [(at.band, 1, "set")], name="Face shield with a short visor"
    )
    for recipe, sizes in ((at.recipe, (24, 60)), (other, (6, 24, 60))):
        for sets in sizes:
            factories.make_size(recipe, sets)
    factories.make_labelled_box(at.size, at.bench)
    factories.make_place("boxes ready")
    wanted = {size.pk: 120 for size in BoxSize.objects.all()}
    plan_day(day=clock.today(), wanted=wanted, sign=factories.sign())
    return at


def scanner(client: Client, at: Packing) -> Callable[..., bytes]:
    """What a scan at the bench shows."""

    def scan(text: str, purpose: str = "") -> bytes:
        return client.post(
            reverse("kitting:bench-scan", args=[at.bench.code]),
            {
                "box": newest_number(at.bench),
                "scan": text,
                "purpose": purpose,
                "op_key": str(uuid.uuid4()),
            },
            follow=True,
        ).content

    return scan


def screens(client: Client, at: Packing) -> Iterator[tuple[str, bytes]]:
    """Every kind of screen of the bench, each after what leads to it."""
    scan = scanner(client, at)
    choose = client.get(page_of(at)).content
    assert choose.count(b'value="ACT-BOX-') == 6
    yield "choose", choose
    yield "refused", scan("no such number")
    yield "start", scan(f"ACT-BOX-{at.recipe.product.code}-6")
    yield "wrong bag", scan(at.band_bag.lot.number)
    yield "undo", scan("ACT-UNDO")
    yield "why cancelled", scan("ACT-CANCEL")
    yield "which bag off", scan("ACT-TAKE-OFF")
    few = at.bag(at.visor, 5)
    for bag in (few, *at.bags[1:]):
        scan(bag.number)
        if bag == at.visor_bag:
            yield "undo a scan", scan("ACT-UNDO")
    yield "close", scan(at.bags[0].number)
    visors = at.visor_bag.number
    for name, text, asked in (
        ("what is damaged", visors, "damaged"),
        ("which bag", "ACT-COUNT", ""),
        ("one bag", visors, "count"),
        ("how many short", "ACT-EMPTY", f"bag:{visors}"),
        ("how many more", "ACT-MORE", f"bag:{visors}"),
        ("why bad", "ACT-BAD", f"bag:{visors}"),
    ):
        yield name, scan(text, asked)
    yield "which to put away", scan("ACT-CLEAR")
    yield "where it goes", scan(visors, "clear")
    last = re.findall(r'name="purpose" value="(undo:[^"]+)"', scan("ACT-UNDO").decode())
    yield "undone", scan("ACT-YES", last[0])
    scan(at.bags[0].number)
    Product.objects.update(set_slips=True)
    yield "label", (label := scan("ACT-CLOSE"))
    assert b"ACT-STOP" in label
    assert b"Open the slips" in label
    yield "nothing to undo", scan("ACT-UNDO")
    yield "why again", scan("ACT-PRINT")
    yield "wrong label", scan(at.band_bag.number)
    other = factories.make_bench()
    few = at.bag(at.band, 2)
    mixed = factories.make_open_box(at.size, other, few, *at.bags)
    at.bench = other
    yield "told apart", (asked := scan("ACT-CANCEL-SIZE"))
    purposes = re.findall(r'name="purpose" value="(apart:[^"]+)"', asked.decode())
    yield "cancelled", scan("ACT-NO", purposes[0])
    mixed.refresh_from_db()
    assert mixed.stage == "voided"
    at.bench = factories.make_bench()
    scan(at.band_bag.number)
    scan(f"ACT-BOX-{at.recipe.product.code}-24")
    for bench, away in ((at.bench, at.visor_bag), (other, at.visor_bag)):
        boxes.bring_bag(bench_id=bench.pk, bag_id=away.pk, sign=factories.sign())
    there = scan("ACT-NEXT")
    assert b"is open there" in there
    yield "fetch a bag", there
    at.bag(at.visor)
    gone = scan("ACT-NEXT")
    assert b"was taken to" in gone
    yield "taken, another offered", gone


def stopped(scan: Callable[..., bytes], at: Packing) -> Iterator[tuple[str, bytes]]:
    """Screens of a box that is held, handed over, or has a bag that was open too long."""
    factories.make_bench()
    yield "to which bench", (asked := scan("ACT-HAND-OVER"))
    assert b"hand_over" in asked
    hold("bag", at.band_bag.pk, "Rough at the edge of the forehead, found by a nurse")
    held = scan("ACT-NEXT")
    assert b"Rough at the edge" in held
    yield "held", held
    cages = [factories.make_place(PlaceKind.QUARANTINE) for _ in range(2)]
    yield "to which quarantine", (asked := scan("ACT-QUARANTINE"))
    assert cages[1].code.encode() in asked
    yield "a bag to a held box", scan(at.visor_bag.number)
    at.bench = factories.make_bench()
    scan("ACT-BOX-6")
    late = overdue_since(at.bag(at.band))
    yield "open too long", scan(late.number)
    yield "which is set back", scan("ACT-SET-BACK")
    yield "set back", scan(late.number, "set_back")
    at.bench = factories.make_bench()
    tablet = tied(at.bench)
    sign_on(tablet, packer("petra")[1])
    yield "a shift begins", (asked := tablet.get(page_of(at)).content)
    assert b"another batch" in asked
    longest = "Is each glove new, and was the table wiped with the cloth?".ljust(
        60, "?"
    )
    Workshop.objects.update(shift_questions=longest)
    for nth, said in (("own", "YYY"), ("own, not yet", "YYYN")):
        sent = {"scan": "ACT-NEXT", "purpose": f"shift::{said}", "box": ""}
        sent["op_key"] = str(uuid.uuid4())
        address = reverse("kitting:bench-scan", args=[at.bench.code])
        shown = tablet.post(address, sent, follow=True)
        yield f"a question of its {nth}", shown.content
        assert longest.encode() in shown.content


def test_all_that_is_asked_is_there_at_every_size(
    page: Page, at: Packing, make_user, client_for
) -> None:
    client = client_for(make_user("packer", group="packer"))
    cut = {}
    seen = 0
    scan = scanner(client, at)
    for name, html in chain(screens(client, at), stopped(scan, at)):
        show(page, html)
        for width, height in SIZES:
            page.set_viewport_size({"width": width, "height": height})
            # One inch is 96 px, and 18 mm are 68 of them; half as many at twice the zoom.
            least = 68 if min(width, height) > 400 else 34
            asked, found = page.evaluate(ASKED_AND_FOUND, least)
            seen += asked
            if found:
                cut[f"{name} at {width} × {height}"] = found
    assert seen == 36 * len(SIZES)
    assert cut == {}


# The key of each size, by its command: where it is to be touched.
KEYS = """() => Object.fromEntries([...document.querySelectorAll('.choice form')].map(
  form => {
    const key = form.querySelector('button').getBoundingClientRect();
    const at = [key.x, key.y, key.width, key.height].map(Math.round);
    return [form.querySelector('[name=scan]').value, at.join(' ')];
  }))"""


def choosing(client: Client, at: Packing) -> Iterator[tuple[str, bytes]]:
    """Screens that ask for a size: whatever was packed, whatever was said last."""
    scan = scanner(client, at)
    fresh = factories.make_bench().code
    yield "never packed", client.get(reverse("kitting:bench", args=[fresh])).content
    for size in BoxSize.objects.order_by("pk"):
        factories.make_labelled_box(size, at.bench)
        yield f"packed {size}", client.get(page_of(at)).content
    scan(f"ACT-BOX-{at.recipe.product.code}-6")
    for bag in at.bags:
        scan(bag.number)
    scan("ACT-CLOSE")
    scan("ACT-STOP")
    labelled = scan(str(Box.objects.latest("pk").serial))
    assert b"away, and scan the place." in labelled
    yield "labelled", labelled
    scan("ACT-TAKE-OFF")
    yield "none taken off", scan("ACT-NEXT")
    yield "bag brought", scan(at.bag(at.band).number)


def test_each_size_has_its_key_at_one_place(
    page: Page, at: Packing, make_user, client_for
) -> None:
    """A gloved hand finds it without looking, whatever was packed before."""
    client = client_for(make_user("packer", group="packer"))
    found: dict[tuple[int, int], dict[str, str]] = {}
    moved = {}
    seen = 0
    for name, html in choosing(client, at):
        show(page, html)
        for width, height in SIZES:
            page.set_viewport_size({"width": width, "height": height})
            keys = page.evaluate(KEYS)
            seen += len(keys)
            if keys != found.setdefault((width, height), keys):
                moved[f"{name} at {width} × {height}"] = keys
    assert seen == 6 * 10 * len(SIZES)
    assert moved == {}
