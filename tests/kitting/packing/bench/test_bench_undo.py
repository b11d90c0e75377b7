"""The last act at a bench undone: two scans, nothing deleted, as long as nothing rests."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from functools import partial
from typing import Any

import pytest
from django.urls import reverse

from kitting.domain.stages import BagStage, BoxStage
from kitting.lots.queries.lots import bag_ends
from kitting.models import (
    Bag,
    Box,
    BoxLine,
    Count,
    Movement,
    OpenBag,
    Operation,
)
from kitting.packing.queries import miscounts
from kitting.packing.services import boxes
from kitting.packing.services import undo as service
from kitting.packing.services.practice import SAID
from kitting.packing.services.undo import Undone
from tests import factories
from tests.assertions import assert_problem
from tests.benches import (
    Packing,
    fill,
    in_box,
    page_of,
    state,
    step,
    words,
)
from tests.factories import sign
from tests.kitting.packing.bench.test_bench_cancels import purpose
from tests.kitting.packing.bench.test_practice import Packer

pytestmark = pytest.mark.django_db

Scan = Callable[..., Any]


def asked_first(response: Any) -> str:
    """What the first key of the menu is for."""
    page = response.content.decode()
    button = page.split('class="zone-act"', 1)[1].split("</button>")[0]
    said = button.partition(">")[2].split("<small>")[0]
    return " ".join(re.sub("<[^>]+>", "", said).split())


def ledger(bag: Bag) -> tuple[int, str, int | None, bool]:
    bag.refresh_from_db()
    is_open = OpenBag.objects.filter(bag=bag).exists()
    return bag.pieces, bag.stage, bag.place_id, is_open


def said(bag: Bag, *texts: str, scan: Scan) -> Any:
    """Name a bag after ``ACT-COUNT``, then answer, each from the screen before."""
    shown = scan("ACT-COUNT")
    for text in (bag.number, *texts):
        shown = scan(text, purpose=purpose(shown))
    return shown


# -- Scans ---------------------------------------------------------------------------


@pytest.mark.smoke
def test_the_last_scan_goes_out_of_the_box_in_two_scans(
    scan: Scan, at: Packing, undone: Any
) -> None:
    before = ledger(at.visor_bag)
    scan("ACT-BOX-6")
    scan(at.band_bag.number)
    scan(at.visor_bag.number)
    menu = scan("ACT-UNDO")
    assert (menu.context["next"], state(menu)) == ("undo", "ask")
    number = at.visor_bag.number
    assert asked_first(menu) == f"Visor bag {number}: 12 taken"
    response = scan("ACT-YES", purpose=purpose(menu))
    assert (state(response), response.context["next"]) == ("right", "cancelled")
    place = at.visor_bag.place
    assert place is not None
    shown = words(response)
    assert f"Back into the bag: 12 × Visor ({number})." in shown
    assert f"Bag {number} goes back to {place.name}." in shown
    assert f"Visor bag {number}: its scan is undone" in shown
    assert ledger(at.visor_bag) == before
    assert in_box() == 6
    kinds = Movement.objects.filter(bag=at.visor_bag).order_by("nth")
    told = [(row.kind, row.delta, row.corrects_id) for row in kinds][-4:]
    placed, packed = kinds[len(kinds) - 4], kinds[len(kinds) - 3]
    assert told == [
        ("placed", 0, None),
        ("packed", -12, None),
        ("unpacked", 12, packed.pk),
        ("placed", 0, placed.pk),
    ]
    assert step(scan("ACT-NEXT")) == "fill"
    assert state(scan(number)) == "right"
    assert in_box() == 18
    assert factories.prove() == []


def test_each_act_before_it_can_be_undone_in_turn(
    scan: Scan, at: Packing, undone: Any
) -> None:
    bags = [ledger(bag) for bag in at.bags]
    scan("ACT-BOX-6")
    fill(scan, at)
    for _ in range(4):
        assert state(undone()) == "right"
    assert [ledger(bag) for bag in at.bags] == bags
    box = Box.objects.get()
    assert (box.stage, box.events.latest("nth").reason) == (
        BoxStage.VOIDED,
        "Begun by mistake",
    )
    nothing = scan("ACT-UNDO")
    assert "There is no act here that can be undone." in words(nothing)
    assert_problem(scan("ACT-YES", purpose=purpose(nothing)), "nothing_asked")
    assert factories.prove() == []


def test_a_bag_that_was_emptied_into_the_box_is_open_again(
    scan: Scan, at: Packing, undone: Any
) -> None:
    bag = at.bag(at.visor, 12)
    scan(bag.number)
    scan("ACT-BOX-6")
    assert ledger(bag)[:2] == (0, BagStage.USED_UP)
    shown = undone()
    assert f"Back into the bag: 12 × Visor ({bag.number})." in words(shown)
    assert "Empty the box" in words(shown)
    assert ledger(bag) == (12, BagStage.CLEARED, at.bench.place_id, True)
    assert BoxLine.objects.count() == 0
    assert step(scan("ACT-NEXT")) == "choose"
    assert factories.prove() == []


def test_the_bag_that_was_open_before_it_is_open_again(
    scan: Scan, at: Packing, undone: Any
) -> None:
    other = at.bag(at.visor)
    scan(at.visor_bag.number)
    scan(other.number)
    undone()
    assert [row.bag for row in OpenBag.objects.all()] == [at.visor_bag]
    scan(at.visor_bag.number)  # open already: nothing changes
    undone()
    assert [row.bag for row in OpenBag.objects.all()] == [at.visor_bag]
    assert factories.prove() == []


def test_a_bag_of_another_bench_goes_back_there_open(
    scan: Scan, at: Packing, undone: Any
) -> None:
    there = factories.make_bench()
    bag = at.visor_bag
    boxes.bring_bag(bench_id=there.pk, bag_id=bag.pk, sign=sign(bench_id=there.pk))
    other = at.bag(at.visor)
    scan(other.number)
    scan(bag.number)
    assert f"Bag {bag.number} goes back to {there.place.name}." in words(undone())
    open_at = {row.bench: row.bag for row in OpenBag.objects.all()}
    assert open_at == {there: bag, at.bench: other}
    assert ledger(bag) == (100, BagStage.CLEARED, there.place_id, True)
    assert factories.prove() == []


def test_a_bag_stays_where_its_place_is_closed_meanwhile(
    scan: Scan, at: Packing, undone: Any
) -> None:
    place = at.visor_bag.place
    assert place is not None
    scan(at.visor_bag.number)
    type(place).objects.filter(pk=place.pk).update(active=False)
    undone()
    assert ledger(at.visor_bag) == (100, BagStage.CLEARED, at.bench.place_id, False)


def test_a_bag_that_was_taken_off_is_open_again(
    scan: Scan, at: Packing, undone: Any
) -> None:
    scan(at.visor_bag.number)
    scan(at.visor_bag.number, purpose=purpose(scan("ACT-TAKE-OFF")))
    assert not OpenBag.objects.exists()
    shown = undone()
    assert f"Visor bag {at.visor_bag.number} is open here again" in words(shown)
    assert OpenBag.objects.get().bag == at.visor_bag
    assert factories.prove() == []


def test_lots_that_lay_together_come_out_if_they_can_be_told_apart(
    scan: Scan, at: Packing
) -> None:
    few = at.bag(at.visor, 5)
    scan("ACT-BOX-6")
    scan(few.number)
    scan(at.visor_bag.number)
    menu = scan("ACT-UNDO")
    assert f"only if you can tell it from 5 × Visor ({few.number})" in words(menu)
    scan("ACT-YES", purpose=purpose(menu))
    gave = json.loads(Operation.objects.get(name="undo").link.outcome)
    assert gave["apart"] is True
    assert in_box() == 5
    assert factories.prove() == []


# -- Counts --------------------------------------------------------------------------


@pytest.mark.usefixtures("full_box")
def test_what_was_missing_is_in_the_bag_and_the_box_again(
    client: Any, scan: Scan, at: Packing, undone: Any
) -> None:
    before = ledger(at.visor_bag)
    said(at.visor_bag, "ACT-EMPTY", "ACT-3", scan=scan)
    assert in_box() == 16
    assert [each.bag for each in miscounts.miscounts()] == [at.visor_bag.number]
    shown = undone()
    assert (state(shown), step(shown)) == ("right", "close")
    assert f"Visor bag {at.visor_bag.number}: its count is undone" in words(shown)
    assert ledger(at.visor_bag) == before
    assert in_box() == 19
    moved = Movement.objects.filter(bag=at.visor_bag).order_by("-nth")[:4]
    assert [(row.kind, row.delta) for row in moved] == [
        ("packed", -3),
        ("missing", 91),
        ("missing", -91),
        ("unpacked", 3),
    ]
    assert Count.objects.count() == 1  # it stays
    bag_page = client.get(reverse("kitting:bag-detail", args=[at.visor_bag.number]))
    assert 'missing <span class="soft">undone</span>' in words(bag_page).lower()
    assert miscounts.miscounts() == []
    ends = bag_ends(at.visor_bag.lot)
    assert [(end.came, end.went) for end in ends] == [
        (100, [("packed into boxes", 12)])
    ]
    assert state(scan("ACT-CLOSE")) == "right"
    assert factories.prove() == []


@pytest.mark.parametrize("used_up", [False, True])
def test_what_was_found_was_never_there(
    scan: Scan, at: Packing, undone: Any, *, used_up: bool
) -> None:
    bag = at.bag(at.visor, 12) if used_up else at.visor_bag
    scan("ACT-BOX-6")
    scan(bag.number)
    before = ledger(bag)
    said(bag, "ACT-MORE", "ACT-5", scan=scan)
    menu = scan("ACT-UNDO")
    assert "only if none of it is in the waste" in words(menu)
    scan("ACT-YES", purpose=purpose(menu))
    assert ledger(bag) == before
    moved = Movement.objects.filter(bag=bag).order_by("-nth")[:4]
    assert [(row.kind, row.delta) for row in moved] == [
        ("found", -5),
        ("scrapped", 5),
        ("scrapped", -5),
        ("found", 5),
    ]
    (end,) = bag_ends(bag.lot)
    assert (end.came, end.went) == (before[0] + 12, [("packed into boxes", 12)])
    assert factories.prove() == []


# -- The page ------------------------------------------------------------------------


@pytest.mark.parametrize("act", ["ACT-CANCEL-SIZE", "ACT-YES"])
def test_a_reload_still_says_what_goes_back_where(
    scan: Scan, client: Any, at: Packing, act: str
) -> None:
    scan("ACT-BOX-6")
    scan(at.visor_bag.number)
    shown = scan(act, purpose=purpose(scan("ACT-UNDO")))
    again = client.get(page_of(at))
    back = f"Back into the bag: 12 × Visor ({at.visor_bag.number})"
    assert back in words(shown)
    assert back in words(again)
    assert again.context["next"] == "cancelled"
    plain = scan("ACT-NEXT", plain=True)
    assert (plain.status_code, plain.context["next"]) == (
        200,
        "choose" if act != "ACT-YES" else "scan",
    )
    scan(at.band_bag.number)
    assert back not in words(client.get(page_of(at)))


def test_an_undo_is_practised_as_well(client: Any, at: Packing) -> None:
    practising = Packer(client)
    for text in ("ACT-BOX-6", SAID, SAID):
        practising.scan(text)
    menu = practising.scan("ACT-UNDO")
    assert asked_first(menu) == f"Visor bag {SAID} is empty: 12 taken"
    shown = practising.scan("ACT-YES")
    assert f"Back into the bag: 12 × Visor ({SAID})." in words(shown)
    assert shown.context["screen"].lines[1].inside == 0


# -- The proof -----------------------------------------------------------------------


@pytest.mark.parametrize("wrong", ["nothing moved back", "another act"])
def test_the_proof_names_an_undo_that_put_nothing_back(
    scan: Scan,
    at: Packing,
    undone: Any,
    monkeypatch: pytest.MonkeyPatch,
    wrong: str,
) -> None:
    scan("ACT-BOX-6")
    scan(at.visor_bag.number)
    if wrong == "another act":
        monkeypatch.setattr(service, "Undone", partial(replace_of, Undone))
    else:
        monkeypatch.setattr(service, "_back", lambda _found: "")
    undone()
    said = " ".join(fault.words for fault in factories.prove())
    assert "does not put back what operation" in said
    assert ("It undoes what is no earlier act" in said) == (wrong == "another act")


def replace_of(made: type[Undone], **values: Any) -> Undone:
    return made(**values | {"of": 1})
