"""What a bench is told before it chooses, and of bags that another bench takes."""

from __future__ import annotations

import uuid
from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from kitting.models import Bag, BoxSize, OpenBag, PackPlan
from kitting.packing.queries.choices import Choice
from kitting.packing.services import boxes
from kitting.packing.services.plan import plan_day
from tests import factories
from tests.benches import Packing, fill, hold, lift, page_of, revision_of, words
from tests.factories import TODAY, sign

pytestmark = pytest.mark.django_db


def plan(at: Packing, wanted: int, **more: Any) -> None:
    said = {"day": TODAY, "wanted": {at.size.pk: wanted}, **more}
    plan_day(**said, sign=sign())


def chosen(client, at: Packing) -> Choice:
    """What is said of boxes of 6."""
    found = client.get(page_of(at)).context["screen"].choices
    return next(each for each in found if each.size == at.size)


def told(client, at: Packing) -> tuple[int, int]:
    """Boxes that are wanted, and those that are still to be packed."""
    one = chosen(client, at)
    return one.wanted, one.to_pack


def reach(client, at: Packing) -> tuple[int, str]:
    """Boxes that can be packed, and the part that runs out first."""
    one = chosen(client, at).reaches
    return one.boxes, one.first


def bring(bench: Any, bag: Bag) -> None:
    boxes.bring_bag(bench_id=bench.pk, bag_id=bag.pk, sign=sign())


# -- The plan -----------------------------------------------------------------------


def test_without_a_plan_nothing_is_wanted_and_all_can_be_chosen(client, at) -> None:
    assert told(client, at) == (0, 0)
    assert "To pack" in words(client.get(page_of(at)))
    assert " of 3" not in words(client.get(page_of(at)))


@pytest.mark.smoke
def test_what_any_bench_packed_is_no_longer_to_be_packed(client, scan, at) -> None:
    plan(at, 3)
    assert told(client, at) == (3, 3)
    factories.make_labelled_box(at.size, factories.make_bench())
    assert told(client, at) == (3, 2)
    assert "2 of 3" in words(client.get(page_of(at)))
    scan("ACT-BOX-6")
    fill(scan, at)
    scan("ACT-CLOSE")  # it counts as soon as it is closed
    box = at.bench.boxes.get()
    scan("ACT-STOP")
    shown = scan(str(box.serial)).context["screen"].choices
    assert [(one.wanted, one.to_pack) for one in shown] == [(3, 1)]
    for _ in range(2):  # met, and more than it
        factories.make_labelled_box(at.size, at.bench)
        assert told(client, at) == (3, 0)


def test_yesterdays_plan_says_nothing_of_today(client, at) -> None:
    plan(at, 3)
    PackPlan.objects.update(day=TODAY - timedelta(days=1))
    assert told(client, at) == (0, 0)


def test_a_size_that_is_closed_is_not_offered_though_it_is_planned(client, at) -> None:
    large = factories.make_size(at.recipe, 24)
    plan(at, 3)
    BoxSize.objects.filter(pk=at.size.pk).update(active=False)
    shown = client.get(page_of(at)).context["screen"].choices
    assert [one.size for one in shown] == [large]


# -- What can be packed -------------------------------------------------------------


def test_so_many_boxes_as_the_scarcest_part_gives(client, at) -> None:
    """100 visors, 12 in a box: 8; 100 headbands, 6 in a box: 16; 100 manuals."""
    assert reach(client, at) == (8, "Visor")
    at.bag(at.visor, 200)
    assert reach(client, at) == (16, "Headband")  # 300 / 12 = 25
    assert "Runs out first" in words(client.get(page_of(at)))


def test_only_what_may_be_packed_counts(client, at) -> None:
    at.bag(at.visor, 200)
    placed = hold("bag", at.band_bag.pk)
    assert reach(client, at) == (0, "Headband")
    lift(placed)
    days_ago = [TODAY - timedelta(days=days) for days in (9, 1)]
    at.bag(at.band, 600, made_on=days_ago[0], use_by=days_ago[1])
    at.bag(factories.make_revision(at.band.part, "B"), 600)
    assert reach(client, at) == (16, "Headband")


def test_a_bag_open_here_counts_and_one_open_elsewhere_does_not(client, at) -> None:
    at.bag(at.visor, 200)
    bring(at.bench, at.band_bag)
    assert reach(client, at) == (16, "Headband")
    bring(factories.make_bench(), at.band_bag)
    assert reach(client, at) == (0, "Headband")


def test_a_substitute_counts_and_what_goes_apart_is_not_summed(client, at) -> None:
    newer = factories.make_revision(at.band.part, "B")
    factories.substitute(at.recipe, at.band.part, newer)
    at.bag(newer, 8)
    at.bag(at.visor, 200)
    assert reach(client, at) == (18, "Headband")  # (100 + 8) / 6
    factories.only_with(at.recipe, newer, factories.make_revision(at.visor.part, "B"))
    factories.only_with(at.recipe, newer, at.visor)
    assert reach(client, at) == (18, "Headband")
    short = factories.make_revision(at.visor.part, "C")
    factories.substitute(at.recipe, at.visor.part, short)
    Bag.objects.filter(lot__revision=at.visor).update(stage="rejected")
    at.bag(short, 200)
    assert reach(client, at) == (16, "Headband")  # of B only with visors that are gone


def test_a_carton_runs_out_first_and_counts_in_its_own_size(client, scan, at) -> None:
    large = factories.make_size(at.recipe, 24)
    cartons = {}
    for size, pieces in ((at.size, 2), (large, 7)):
        carton = revision_of(f"Carton for {size.sets}")
        said = {"per": "box", "pieces": 1, "sets": size.sets}
        at.recipe.lines.create(part=carton.part, revision=carton, **said)
        cartons[size] = at.bag(carton, pieces)
    assert reach(client, at) == (2, "Carton for 6")
    shown = client.get(page_of(at)).context["screen"].choices
    assert [one.reaches.boxes for one in shown] == [2, 2]  # 100 visors, 48 in a box
    assert shown[1].reaches.first == "Visor"
    scan("ACT-BOX-6")
    fill(scan, at)
    screen = client.get(page_of(at)).context["screen"]
    assert (screen.asked.part, screen.asked.needed) == ("Carton for 6", 1)
    assert [offer.bag for offer in screen.offers] == [cartons[at.size].number]
    # The other one may lie open here, and none of it goes in.
    scan(cartons[large].number)
    screen = scan(cartons[at.size].number).context["screen"]
    assert (screen.step, len(screen.lines)) == ("close", 4)
    scan("ACT-CLOSE")
    scan(str(at.bench.boxes.get().serial))
    assert [
        bag.pieces for bag in Bag.objects.filter(lot__part__name__startswith="C")
    ] == [
        *(1, 7),
    ]
    assert reach(client, at) == (1, "Carton for 6")
    factories.seal_set_up()
    assert factories.prove() == []


def test_a_scan_of_a_bag_does_not_ask_what_could_be_packed(scan, at) -> None:
    plan(at, 3)
    scan("ACT-BOX-6")
    with CaptureQueriesContext(connection) as seen:
        scan(at.band_bag.number)
    assert [each["sql"] for each in seen if "packplan" in each["sql"]] == []


# -- Bags that go to another bench --------------------------------------------------


def holds_of(client, at: Packing, seen: str) -> Any:
    address = reverse("kitting:bench-holds", args=[at.bench.code])
    return client.get(address, {"seen": seen})


def seen_by(client, at: Packing) -> str:
    return str(client.get(page_of(at)).context["screen"].seen)


@pytest.mark.smoke
def test_a_bag_that_another_bench_takes_is_said_at_both(client, scan, at) -> None:
    scan("ACT-BOX-6")
    scan(at.band_bag.number)
    more = at.bag(at.visor, 5)
    scan(more.number)  # used up: only the headbands stay open
    scan(at.visor_bag.number)
    seen = seen_by(client, at)
    assert holds_of(client, at, seen).status_code == 204
    other = factories.make_bench()
    said = client.post(
        reverse("kitting:bench-scan", args=[other.code]),
        {"scan": at.visor_bag.number, "box": "", "op_key": str(uuid.uuid4())},
        follow=True,
    )
    assert f"It was open at {at.bench.name}." in words(said)
    told_by = holds_of(client, at, seen)
    assert told_by.status_code == 200
    gone = f"bag {at.visor_bag.number} was taken to {other.name}"
    assert gone in words(told_by)
    # It stays said over the answers to other scans, until another one is open here.
    assert gone in words(scan(at.manual_bag.number))
    assert gone not in words(scan(at.bag(at.visor, 50).number))
    assert OpenBag.objects.get(bag=at.visor_bag).bench == other


def test_a_bag_that_goes_while_no_box_is_open_is_said(client, scan, at) -> None:
    scan(at.band_bag.number)
    seen = seen_by(client, at)
    other = factories.make_bench()
    bring(other, at.band_bag)
    shown = holds_of(client, at, seen)
    assert f"was taken to {other.name}" in words(shown)
    bring(at.bench, at.band_bag)  # and back again
    assert "was taken to" not in words(client.get(page_of(at)))


def test_the_part_that_is_asked_for_says_where_its_bag_went(client, scan, at) -> None:
    scan(at.visor_bag.number)
    scan(at.band_bag.number)
    bring(factories.make_bench(), at.visor_bag)
    asked = scan("ACT-BOX-6").context["screen"].asked
    assert (asked.part, asked.gone.bag) == ("Visor", at.visor_bag.number)


def test_a_plan_that_changes_is_seen_by_a_bench_that_chooses(client, scan, at) -> None:
    seen = seen_by(client, at)
    assert holds_of(client, at, seen).status_code == 204
    plan(at, 3)
    shown = holds_of(client, at, seen)
    assert "3 of 3" in words(shown)
    seen = shown.context["screen"].seen
    assert holds_of(client, at, seen).status_code == 204
    BoxSize.objects.update(active=False)  # what cannot be chosen stays on the plan
    assert holds_of(client, at, seen_by(client, at)).status_code == 204
    BoxSize.objects.update(active=True)
    factories.make_labelled_box(at.size, factories.make_bench())
    assert "2 of 3" in words(holds_of(client, at, seen))
    scan("ACT-BOX-6")  # at work it is not disturbed
    seen = seen_by(client, at)
    plan(at, 9)
    assert holds_of(client, at, seen).status_code == 204


# -- Any number ---------------------------------------------------------------------


def test_a_packer_looks_a_number_up_from_the_bench(client, scan, at) -> None:
    to = reverse("kitting:benches")
    for page in (client.get(page_of(at)), scan("ACT-BOX-6")):
        assert f'href="{to}#find"' in page.content.decode()
    assert 'id="find"' in client.get(to).content.decode()
    found = client.get(reverse("kitting:find"), {"q": at.band_bag.number}, follow=True)
    assert found.status_code == 200
    assert at.band_bag.lot.number in words(found)
