"""What the bench says beside the next thing to do: refused bags, empty ones, the end."""

from __future__ import annotations

from datetime import timedelta
from urllib.parse import parse_qs, urlsplit

import pytest
from django.urls import reverse

from kitting.ledger import holds
from kitting.ledger.operations import Sign
from kitting.models import Bag, Box, Lot, Part
from kitting.packing.services import boxes
from tests import factories
from tests.benches import Packing, bag_of, page_of, state, step, words
from tests.databases import guards_away
from tests.factories import sign

pytestmark = pytest.mark.django_db


# -- A bag that lies open and may not be packed ---------------------------------------


def spoil(bag: Bag, how: str) -> None:
    """Let something befall a bag that is open at a bench."""
    if how == "bag_on_hold":
        holds.place_hold(target="bag", value=bag.pk, reason="Torn", sign=sign())
    if how == "lot_past_use_by":
        with guards_away():
            Lot.objects.filter(pk=bag.lot_id).update(
                made_on=factories.TODAY - timedelta(days=9),
                use_by=factories.TODAY - timedelta(days=1),
            )
    if how == "bag_open_too_long":
        Part.objects.filter(pk=bag.lot.part_id).update(open_hours=8)
        hours = factories.NOW - timedelta(hours=9)
        with guards_away():
            Bag.objects.filter(pk=bag.pk).update(opened_at=hours)


SAID = {
    "bag_on_hold": "bag on hold: put it in quarantine",
    "lot_past_use_by": "bag past its date: put it in quarantine",
    "bag_open_too_long": "bag open too long: set it back",
}


@pytest.mark.parametrize("how", SAID)
def test_a_bag_that_went_bad_shows_before_a_box_is_begun(
    how: str, client, scan, at
) -> None:
    scan(at.band_bag.number)
    assert SAID[how] not in words(client.get(page_of(at)))
    spoil(at.band_bag, how)
    assert SAID[how] in words(client.get(page_of(at)))


@pytest.mark.parametrize("how", SAID)
def test_a_box_begun_beside_a_bad_bag_shows_no_tick(how: str, scan, at) -> None:
    other = bag_of(at.band)
    scan(at.band_bag.number)
    spoil(at.band_bag, how)
    if how == "bag_open_too_long":
        Bag.objects.filter(pk=other.pk).update(opened_at=None)
    response = scan("ACT-BOX-6")
    assert (state(response), step(response)) == ("ask", "fill")
    line = response.context["screen"].lines[0]
    assert (line.bag, line.inside, line.refusal.code) == (at.band_bag.number, 0, how)
    assert "Headband: scan another bag" in words(response)
    assert SAID[how] in words(response)
    assert state(scan(other.number)) == "right"


def test_a_box_begun_beside_good_bags_shows_the_tick(scan, at) -> None:
    scan(at.band_bag.number)
    response = scan("ACT-BOX-6")
    assert state(response) == "right"
    assert "Visor: scan a bag" in words(response)
    assert "quarantine</small>" not in words(response)


def test_an_open_bag_of_a_revision_that_is_not_pinned_shows(scan, at) -> None:
    scan(at.band_bag.number)
    other = factories.make_revision(at.band.part, "Z")
    at.recipe.lines.filter(part=at.band.part).update(revision=other)
    response = scan("ACT-BOX-6")
    assert state(response) == "ask"
    assert "bag of another revision: take it off the bench" in words(response)
    assert "Headband: none may be packed" in words(response)


@pytest.mark.usefixtures("full_box")
@pytest.mark.smoke
def test_a_held_box_says_who_holds_it_and_why(client, scan, at) -> None:
    officer = factories.make_person("quality officer", name="quality")
    holds.place_hold(
        target="lot", value=at.visor_bag.lot_id, reason="Haze.", sign=sign(officer)
    )
    assert "By quality: Haze." in words(client.get(page_of(at)))


# -- A bag that is empty ----------------------------------------------------------------


def test_the_strip_says_that_a_bag_is_empty(client, scan, at) -> None:
    scan("ACT-BOX-6")
    bag = at.bag(at.band, 6)
    said = f"Headband bag {bag.number} is empty: 6 taken"
    assert said in words(scan(bag.number))
    assert said in words(client.get(page_of(at)))
    assert f"Visor bag {at.visor_bag.number}: 12 taken" in words(
        scan(at.visor_bag.number)
    )


def test_the_strip_says_which_bags_a_new_box_emptied(scan, at) -> None:
    bands, visors = at.bag(at.band, 6), at.bag(at.visor, 12)
    for bag in (bands, visors, at.manual_bag):
        scan(bag.number)
    response = scan("ACT-BOX-6")
    said = words(response)
    assert state(response) == "right"
    assert "empty now: " in said
    for bag in (bands, visors):
        assert bag.number in said.split("empty now: ")[1].split("<")[0]
    assert at.manual_bag.number not in said.split("empty now: ")[1].split("<")[0]


def test_an_act_that_emptied_a_bag_is_the_same_when_it_is_sent_again(at) -> None:
    bag = at.bag(at.band, 6)
    factories.make_open_box(at.size, at.bench)
    one: Sign = sign()
    first, again = (
        boxes.bring_bag(bench_id=at.bench.pk, bag_id=bag.pk, sign=one) for _ in range(2)
    )
    assert repr(first) == repr(again)
    assert first.emptied


# -- Its serial, and where it goes ------------------------------------------------------


@pytest.mark.usefixtures("full_box")
def test_closing_says_which_serial_the_box_has_now(client, scan, at) -> None:
    response = scan("ACT-CLOSE")
    serial = str(Box.objects.get().serial)
    assert f"Now box {serial}: stick its label on" in words(response)
    assert f"Box closed; its serial is {serial}" in words(response)


@pytest.mark.usefixtures("full_box")
def test_after_its_label_a_box_is_to_go_to_those_that_go_out(client, scan, at) -> None:
    scan("ACT-CLOSE")
    response = scan(str(Box.objects.get().serial))
    for seen in (words(response), words(client.get(page_of(at)))):
        assert "with the boxes that go out." in seen
    assert "with the boxes that go out." not in words(scan("ACT-BOX-6"))


# -- Signing out ------------------------------------------------------------------------


@pytest.mark.smoke
def test_one_touch_signs_out_and_the_next_person_comes_back(
    client, at: Packing
) -> None:
    page = words(client.get(page_of(at)))
    assert f'action="{reverse("sign-out")}"' in page
    assert f'name="next" value="{page_of(at)}"' in page
    response = client.post(reverse("sign-out"), {"next": page_of(at)})
    to = urlsplit(response.headers["Location"])
    assert (to.path, parse_qs(to.query)) == ("/sign-in/", {"next": [page_of(at)]})
    assert client.get(page_of(at)).status_code == 302


@pytest.mark.parametrize("away", ["https://elsewhere.example/", "//elsewhere.example"])
def test_signing_out_leads_to_no_other_host(client, at, away: str) -> None:
    response = client.post(reverse("sign-out"), {"next": away})
    assert "elsewhere" not in response.headers["Location"]
