"""The bench's screen, scan by scan, as a packer uses it."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from kitting.domain.prints import DESTROYED
from kitting.domain.stages import BoxStage
from kitting.labels.box_label import box_symbols
from kitting.ledger import holds
from kitting.models import (
    Bag,
    Box,
    OpenBag,
    Operation,
    PackPlan,
    Part,
    Print,
    PrintJob,
    Recipe,
)
from kitting.packing.labels import box_label
from kitting.packing.queries.bench_offers import Fetched
from kitting.packing.services.boxes import bring_bag, take_off_bench
from kitting.packing.services.miscounts import miss_pieces
from kitting.packing.services.voiding import void_box
from tests import factories
from tests.assertions import (
    assert_page,
    assert_part,
    assert_problem,
    assert_sent_to_sign_in,
)
from tests.benches import (
    Packing,
    fill,
    hold,
    newest_number,
    page_of,
    state,
    step,
    words,
)
from tests.factories import sign
from tests.printers import make_printer

pytestmark = pytest.mark.django_db


# -- Who may ------------------------------------------------------------------------


def test_a_packer_sees_the_benches_and_the_commands(client, at) -> None:
    factories.make_open_box(at.size, at.bench, at.band_bag)
    response = client.get(reverse("kitting:benches"))
    assert_page(response)
    assert at.bench.name in words(response)
    (row,) = response.context["rows"]
    assert (row.box, row.open_bags) == (Box.objects.get(), 1)
    assert "ACT-CANCEL-DAMAGED" in words(response)


def test_without_a_bench_the_list_says_what_to_do(client, db) -> None:
    assert "There is no bench yet" in words(client.get(reverse("kitting:benches")))


def test_who_has_not_signed_in_is_asked_to(at, client_for, hx) -> None:
    assert_sent_to_sign_in(Client().get(page_of(at)))
    scan_page = reverse("kitting:bench-scan", args=[at.bench.code])
    assert_sent_to_sign_in(Client().post(scan_page, headers=hx))


def test_an_outsider_may_not(at, outsider, client_for) -> None:
    client = client_for(outsider)
    assert client.get(page_of(at)).status_code == 403
    scan_page = reverse("kitting:bench-scan", args=[at.bench.code])
    assert client.post(scan_page, {"scan": "ACT-CLOSE"}).status_code == 403
    assert client.get(reverse("kitting:benches")).status_code == 403


def test_a_bench_that_is_not_there_is_404(client, at) -> None:
    assert client.get(reverse("kitting:bench", args=["NONE"])).status_code == 404


# -- One box, from size to label ----------------------------------------------------


@pytest.mark.smoke
def test_one_box_is_packed_wholly_by_scans(client, scan, at) -> None:
    assert step(client.get(page_of(at))) == "choose"
    response = scan("ACT-BOX-6")
    assert_part(response, "bench")
    assert (state(response), step(response)) == ("right", "fill")
    assert "Headband: scan a bag" in words(response)
    fill(scan, at)
    assert step(client.get(page_of(at))) == "close"
    response = scan("ACT-CLOSE")
    assert (state(response), step(response)) == ("right", "label")
    box = Box.objects.get()
    assert Print.objects.get().box == box
    response = scan(f"]C100{box.sscc}")
    assert (state(response), step(response)) == ("right", "choose")
    assert f"Box {box.serial} labelled" in words(response)
    box.refresh_from_db()
    assert box.stage == BoxStage.LABELLED
    assert Operation.objects.filter(bench=at.bench).count() == 7
    assert response.context["screen"].packed_today == 1
    assert response.context["screen"].choices[0].again
    void_box(box_id=box.pk, reason="Crushed", label=DESTROYED, sign=sign())
    assert client.get(page_of(at)).context["screen"].packed_today == 0


@pytest.mark.usefixtures("full_box")
def test_the_label_is_seen_by_its_matrix_as_well(scan, at) -> None:
    scan("ACT-CLOSE")
    _, matrix = box_symbols(box_label(Box.objects.get().pk))
    assert state(scan(matrix.identifier + matrix.data)) == "right"
    assert Box.objects.get().stage == BoxStage.LABELLED


def test_a_plain_form_goes_back_to_the_screen(client, scan, at) -> None:
    response = scan("ACT-BOX-6", plain=True)
    assert (response.status_code, response.headers["Location"]) == (302, page_of(at))
    assert_page(client.get(page_of(at)))
    response = scan("no such thing", plain=True)
    assert_page(response, status=404)
    assert state(response) == "wrong"
    response = scan("ACT-UNDO", plain=True)
    assert_page(response)
    assert "Undo what?" in words(response)


def test_what_the_box_needs_and_has_stands_in_the_lines(client, scan, at) -> None:
    scan("ACT-BOX-6")
    scan(at.band_bag.number)
    screen = client.get(page_of(at)).context["screen"]
    lines = [(line.part, line.needed, line.inside) for line in screen.lines]
    assert lines == [("Headband", 6, 6), ("Visor", 12, 0), ("Manual", 1, 0)]
    assert [line.done for line in screen.lines] == [True, False, False]
    assert (screen.lines[0].bag, screen.lines[0].left) == (at.band_bag.number, 94)
    assert screen.asked.part == "Visor"
    assert (screen.complete, screen.started) == (0, 6)
    scan(at.visor_bag.number)
    screen = client.get(page_of(at)).context["screen"]
    assert (screen.complete, screen.started) == (6, 0)


# -- What runs short ----------------------------------------------------------------


def offers(client, at) -> list[str]:
    return [offer.bag for offer in client.get(page_of(at)).context["screen"].offers]


def test_the_bag_that_expires_first_is_named_with_its_place(client, scan, at) -> None:
    soon = at.bag(at.band, 50, use_by=factories.TODAY + timedelta(days=30))
    at.bag(at.band, 50, use_by=factories.TODAY + timedelta(days=90))
    response = scan("ACT-BOX-6")
    offer = response.context["screen"].offers[0]
    assert (offer.bag, offer.pieces, offer.holds) == (soon.number, 6, 50)
    assert f"bag {soon.number} holds 50; wanted 6" in words(response)
    assert (offer.lot, offer.place, offer.here) == (
        soon.lot.number,
        soon.place.name,
        False,
    )
    assert soon.place.name in words(response)


def test_a_lot_that_is_in_the_box_already_comes_first(client, scan, at) -> None:
    lot = factories.make_lot(
        at.visor, bags=(factories.lots.NewBag(5), factories.lots.NewBag(50))
    )
    first, second = lot.bags.order_by("pieces")
    at.bag(at.visor, 50, use_by=factories.TODAY + timedelta(days=1))
    scan("ACT-BOX-6")
    scan(at.band_bag.number)
    scan(first.number)
    assert offers(client, at) == [second.number]


def spoil(at: Packing, how: str) -> Bag:
    """A bag that would be offered first, were it not for one thing."""
    soon = factories.TODAY + timedelta(days=1)
    dates = {"use_by": soon}
    if how == "past its date":
        dates = {
            "made_on": soon - timedelta(days=9),
            "use_by": soon - timedelta(days=2),
        }
    revision = at.band
    if how == "another revision":
        revision = factories.make_revision(at.band.part, "B")
    bag = at.bag(revision, **dates)
    if how == "held":
        holds.place_hold(target="bag", value=bag.pk, reason="Torn", sign=sign())
    if how == "open elsewhere":
        OpenBag.objects.create(bench=factories.make_bench(), part=at.band.part, bag=bag)
    if how == "open too long":
        Part.objects.filter(pk=at.band.part_id).update(open_hours=8)
        Bag.objects.filter(pk=bag.pk).update(
            opened_at=factories.NOW - timedelta(hours=9)
        )
    return bag


@pytest.mark.parametrize(
    "how",
    ["another revision", "held", "past its date", "open elsewhere", "open too long"],
)
def test_a_bag_that_may_not_be_packed_is_not_offered(
    client, scan, at, how: str
) -> None:
    spoil(at, how)
    scan("ACT-BOX-6")
    assert offers(client, at) == [at.band_bag.number]


def test_the_same_bag_without_its_fault_is_offered(client, scan, at) -> None:
    bag = spoil(at, "nothing")
    scan("ACT-BOX-6")
    assert offers(client, at) == [bag.number]


@pytest.mark.smoke
def test_where_nothing_can_be_packed_the_screen_says_why(client, scan, at) -> None:
    holds.place_hold(target="bag", value=at.band_bag.pk, reason="Torn", sign=sign())
    at.band.part.needs_clearing = True
    at.band.part.save(update_fields=["needs_clearing"])
    at.bag(at.band, 30)
    at.band.part.needs_clearing = False
    at.band.part.save(update_fields=["needs_clearing"])
    away = at.bag(at.band, 40)
    other = factories.make_bench()
    OpenBag.objects.create(bench=other, part=at.band.part, bag=away)
    days_ago = [factories.TODAY - timedelta(days=days) for days in (9, 1)]
    at.bag(at.band, 20, made_on=days_ago[0], use_by=days_ago[1])
    response = scan("ACT-BOX-6")
    lacking = response.context["screen"].lacking
    assert (lacking.held, lacking.not_cleared) == (100, 30)
    assert lacking.elsewhere == (Fetched(away.number, 40, other.name),)
    assert "Headband: fetch a bag" in words(response)
    assert other.name in words(response)
    assert f"bag {away.number} is open there and holds 40" in words(response)
    assert "On hold: 100." in words(response)
    OpenBag.objects.all().delete()
    Bag.objects.filter(pk=away.pk).update(stage="rejected")
    assert "Headband: none may be packed" in words(client.get(page_of(at)))


def test_a_substitute_is_offered_and_a_bag_here_is_said_to_be(client, scan, at) -> None:
    newer = factories.make_revision(at.band.part, "B")
    factories.substitute(at.recipe, at.band.part, newer)
    bag = at.bag(newer)
    holds.place_hold(target="bag", value=at.band_bag.pk, reason="Torn", sign=sign())
    scan(bag.number)
    scan(bag.number, purpose="take_off")
    response = scan("ACT-BOX-6")
    offer = response.context["screen"].offers[0]
    assert (offer.bag, offer.here) == (bag.number, True)
    assert "At this bench" in words(response)
    assert "in its place: Headband B" in words(response)


def test_what_does_not_go_with_the_box_is_refused_in_words(scan, at) -> None:
    newer = factories.make_revision(at.visor.part, "B")
    factories.substitute(at.recipe, at.visor.part, newer)
    later = factories.make_revision(at.band.part, "C")
    factories.substitute(at.recipe, at.band.part, later)
    factories.only_with(at.recipe, at.visor, at.band)
    band, visor = at.bag(later), at.bag(newer)
    scan(at.visor_bag.number)  # it lies open before the box is begun
    scan("ACT-BOX-6")
    refused = scan(band.number)
    assert state(refused) == "wrong"
    for said in (
        "holds Headband revision C, which does not go with Visor revision A in the box",
        "Take a bag of this instead: Headband revision A.",
    ):
        assert said in words(refused)
    scan(at.band_bag.number)
    # Of a box that has headband C, visor A is taken off: B is asked for.
    scan("ACT-CANCEL-PARTS")
    scan(band.number)
    begun = scan("ACT-BOX-6")
    (lacks,) = [each for each in begun.context["screen"].lines if each.part == "Visor"]
    assert lacks.bag == at.visor_bag.number
    assert "bag does not go with what is in the box" in words(begun)
    assert [each.bag for each in begun.context["screen"].offers] == [visor.number]
    holds.place_hold(target="bag", value=visor.pk, reason="Torn", sign=sign())
    lacking = scan(band.number).context["screen"].lacking
    assert (lacking.held, lacking.apart) == (100, 100)


@pytest.mark.usefixtures("full_box")
def test_a_held_box_goes_to_quarantine(client, scan, at) -> None:
    holds.place_hold(
        target="lot", value=at.visor_bag.lot_id, reason="Haze", sign=sign()
    )
    assert step(client.get(page_of(at))) == "held"
    assert state(scan("ACT-CLOSE")) == "wrong"


def test_a_hold_on_the_box_itself_shows(client, scan, at) -> None:
    scan("ACT-BOX-6")
    box = Box.objects.get()
    holds.place_hold(target="box", value=box.pk, reason="Crushed", sign=sign())
    assert step(client.get(page_of(at))) == "held"


def test_a_hold_on_something_else_does_not_show(client, scan, at) -> None:
    other = factories.make_lot()
    holds.place_hold(target="lot", value=other.pk, reason="Haze", sign=sign())
    scan("ACT-BOX-6")
    assert step(client.get(page_of(at))) == "fill"


# -- Sizes --------------------------------------------------------------------------


def test_sizes_of_two_products_name_the_product(client, scan, at) -> None:
    other = factories.make_recipe()
    factories.make_size(other, 6)
    commands = {c.command for c in client.get(page_of(at)).context["screen"].choices}
    code = at.size.product.code
    assert commands == {f"ACT-BOX-{code}-6", f"ACT-BOX-{other.product.code}-6"}
    assert_problem(scan("ACT-BOX-6"), "size_of_two_products")
    assert state(scan(f"ACT-BOX-{code}-6")) == "right"
    assert Box.objects.get().size == at.size


def test_a_size_that_nothing_has_is_refused(scan, at) -> None:
    assert_problem(scan("ACT-BOX-7"), "size_not_packed")


def test_without_a_recipe_in_force_there_is_nothing_to_choose(client, at) -> None:
    Recipe.objects.update(in_force=False)
    assert "Nothing to pack" in words(client.get(page_of(at)))


@pytest.mark.smoke
def test_a_second_box_waits_for_the_first(scan, at) -> None:
    scan("ACT-BOX-6")
    assert_problem(scan("ACT-BOX-6"), "bench_has_a_box", status=409)


# -- How much it costs --------------------------------------------------------------

MARKS = ("RELEASE",) if connection.vendor == "sqlite" else ("SAVEPOINT", "RELEASE")
"""Not counted: in a test a transaction is a part of another one. On SQLite, where one
begins by a statement of its own, what stands for that is."""
A_SCAN = 16
"""1 to find session, workshop, person and rights, 1 for the bench, its newest box and the
bag; 7 to begin, claim and seal the act; 1 to read what decides behind the locks, which on
PostgreSQL are waited for by 1 more, and 1 what holds reach; 4 to write. 1 to show what could be scanned next: all
else the act hands on to its screen."""
A_CLOSING = 28
"""Two acts, one that closes the box and one that prints its label."""


def asked(scan: Any, at: Packing, text: str) -> list[str]:
    box = newest_number(at.bench)
    with CaptureQueriesContext(connection) as seen:
        assert state(scan(text, box=box)) == "right"
    return [q["sql"][:120] for q in seen if not q["sql"].startswith(MARKS)]


def test_a_scan_at_the_bench_asks_the_database_little(scan, at) -> None:
    hold("lot", factories.make_lot().pk)
    scan("ACT-BOX-6")
    for bag in at.bags:
        counted = asked(scan, at, bag.number)
        assert len(counted) <= A_SCAN, "\n".join(counted)


@pytest.mark.parametrize("printer", [False, True])
def test_closing_a_box_asks_the_database_little(scan, at, printer: bool) -> None:
    if printer:
        make_printer("ipp://printer.example/ipp/print", bench=at.bench)
    hold("lot", factories.make_lot().pk)
    PackPlan.objects.create(day=factories.TODAY, size=at.size, boxes=3)
    scan("ACT-BOX-6")
    fill(scan, at)
    counted = asked(scan, at, "ACT-CLOSE")
    assert len(counted) <= A_CLOSING, "\n".join(counted)
    assert PrintJob.objects.count() == printer


def test_what_a_scan_is_answered_with_is_what_a_new_look_shows(
    client, scan, at
) -> None:
    """An act hands on to the screen what it read and wrote, and leaves nothing out."""
    other = factories.make_bench()
    away = at.bag(at.band, 50)
    bring_bag(bench_id=other.pk, bag_id=away.pk, sign=sign(bench_id=other.pk))
    scan("ACT-BOX-6")
    few, place = at.bag(at.visor, 4), {"bench_id": at.bench.pk}
    for each in (few, away, *at.bags, "short", at.visor_bag, "ACT-CLOSE"):
        if each == "short":
            take_off_bench(bag_id=at.visor_bag.pk, sign=sign(), **place)
            miss_pieces(bag_id=few.pk, inside=2, moves=None, sign=sign(), **place)
            continue
        text = each.number if isinstance(each, Bag) else str(each)
        answered = scan(text)
        assert state(answered) == "right", text
        fresh = client.get(page_of(at)).context["screen"]
        assert answered.context["screen"] == fresh, text
