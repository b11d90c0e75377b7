"""A scale that sends what it shows: who is let in, what is taken, and what closes a box."""

from __future__ import annotations

import json
from dataclasses import replace
from uuid import uuid4

import pytest
from django.urls import reverse

from kitting.domain.errors import LotwardError
from kitting.models import Bench, Box, Link, Operation, Scale
from kitting.packing.services import boxes, voiding
from kitting.packing.services.hand_over import hand_over
from kitting.packing.services.scales import give_token, token_of
from tests import factories
from tests.assertions import (
    assert_refused,
)
from tests.benches import fill, page_of, state, step, words
from tests.factories import sign
from tests.scales import Sender, door, showing
from tests.weighed import LESS_MG, WHOLE_G

pytestmark = pytest.mark.django_db

EMPTY = "0.0"


@pytest.fixture
def full(scan, at, send) -> Box:
    scan("ACT-BOX-6")
    fill(scan, at)
    send.clock.on(1)
    return Box.objects.get()


# -- At the bench -----------------------------------------------------------------------


def test_what_it_shows_stands_on_the_screen_and_the_close_scan_takes_it(
    client, scan, at, full, send
) -> None:
    shown = client.get(page_of(at))
    assert "Wait until its mass is shown here, or type it" in words(shown)
    seen = shown.context["screen"].seen
    assert send(EMPTY).status_code == 204
    assert send(WHOLE_G).status_code == 204
    poll = reverse("kitting:bench-holds", args=[at.bench.code])
    fresh = client.get(poll, {"seen": seen})
    assert "The scale shows 844.5 g" in words(fresh)
    assert client.get(poll, {"seen": fresh.context["screen"].seen}).status_code == 204
    before = Operation.objects.count()
    response = scan("ACT-CLOSE")
    assert (state(response), step(response)) == ("right", "label")
    assert Operation.objects.count() == before + 2  # closed, printed
    full.refresh_from_db()
    assert full.mass_mg == int(WHOLE_G * 1000)
    outcome = json.loads(Link.objects.get(operation__name="close_box").outcome)
    assert outcome["sent"] is True
    assert factories.prove() == []


def test_a_typed_mass_goes_before_what_it_sends(scan, full, send) -> None:
    send(WHOLE_G)
    scan(f"ACT-MASS-{WHOLE_G - 1}")
    outcome = json.loads(Link.objects.get(operation__name="close_box").outcome)
    assert (outcome["mass_mg"], outcome["sent"]) == (LESS_MG + 35_000, False)


def test_outside_of_the_window_it_closes_nothing(scan, full, send) -> None:
    send(WHOLE_G - 36)
    assert "Lighter by 36 g" in words(scan("ACT-CLOSE"))
    full.refresh_from_db()
    assert full.stage == "open"


@pytest.mark.parametrize(("later", "passes"), [(14, True), (16, False), (3_600, False)])
def test_an_old_reading_closes_nothing(client, at, full, send, later, passes) -> None:
    send(WHOLE_G)
    send.clock.on(later)
    assert ("The scale shows" in words(client.get(page_of(at)))) == passes
    closing = {"box_id": full.pk, "sign": sign(now=None)}
    if passes:
        assert boxes.close_box(**closing).mass_mg
    else:
        with pytest.raises(LotwardError) as caught:
            boxes.close_box(**closing)
        assert_refused(caught.value, "box_not_weighed")


def test_a_reading_from_before_the_last_piece_went_in_closes_nothing(
    scan, undone, at, full, send
) -> None:
    send(WHOLE_G)
    send.clock.on(1)
    undone()
    scan(at.manual_bag.number)
    assert "is not weighed yet" in words(scan("ACT-CLOSE"))
    send(WHOLE_G, after=3)  # it says the same, and says it again
    assert state(scan("ACT-CLOSE")) == "right"


def next_box(scan, at, full: Box) -> Box:
    full.refresh_from_db()
    scan(full.serial)
    scan("ACT-BOX-6")
    scan(at.manual_bag.number)
    return Box.objects.latest("pk")


def test_the_box_before_that_still_stands_there_closes_no_other(
    client, scan, at, full, send
) -> None:
    send(WHOLE_G)
    assert state(scan("ACT-CLOSE")) == "right"
    other = next_box(scan, at, full)
    assert other != full
    for _ in range(5):  # it goes on sending, and a hand moves it
        send(WHOLE_G, after=4)
        send(WHOLE_G / 2, stable=False)
        send(WHOLE_G + 1, after=1)
    shown = client.get(page_of(at))
    assert step(shown) == "weigh"
    assert "First take off what is on it" in words(shown)
    assert "Take everything off the scale" in words(scan("ACT-CLOSE"))
    send(EMPTY)
    assert "Put the box on the scale" in words(client.get(page_of(at)))
    send(WHOLE_G)
    assert state(scan("ACT-CLOSE")) == "right"


def test_a_box_that_was_cancelled_and_still_is_on_it_closes_no_other(
    client, scan, at, full, send
) -> None:
    send(WHOLE_G)
    voiding.cancel_box(box_id=full.pk, reason="Wrong parts", sign=sign(now=None))
    send.clock.on(1)
    scan("ACT-BOX-6")
    send(WHOLE_G, after=5)
    assert step(client.get(page_of(at))) == "weigh"
    assert "Take everything off the scale" in words(scan("ACT-CLOSE"))


def test_a_box_that_was_handed_over_is_weighed_where_it_came(
    client, at, full, send, token, clock
) -> None:
    send(WHOLE_G)
    other = factories.make_bench()
    Bench.objects.filter(pk=other.pk).update(
        scale_step_mg=1_000, scale_u_mg=1_000, scale_most_mg=30_000_000
    )
    by = sign()
    give_token(bench_id=other.pk, sign=by)
    there = Sender(at, token_of(by.key), clock)
    there.at = replace(at, bench=other)
    there(WHOLE_G)
    clock.on(1)
    which = {"bench_id": at.bench.pk, "box_id": full.pk, "to_id": other.pk}
    hand_over(**which, sign=sign(now=None))
    there(WHOLE_G, after=4)
    with pytest.raises(LotwardError) as caught:
        boxes.close_box(box_id=full.pk, sign=sign(now=None))
    assert_refused(caught.value, "scale_not_emptied")
    there(EMPTY)
    there(WHOLE_G)
    assert boxes.close_box(box_id=full.pk, sign=sign(now=None)).sent


def test_a_close_scan_that_waited_for_the_network_takes_no_reading(
    client, at, full, send, hx
) -> None:
    """Who knows what stands on the scale when it arrives."""
    send(WHOLE_G)
    data = {"scan": "ACT-CLOSE", "op_key": str(uuid4()), "box": full.number}
    address = reverse("kitting:bench-scan", args=[at.bench.code])
    response = client.post(address, {**data, "waited": "yes"}, headers=hx)
    assert "is not weighed yet" in words(response)
    full.refresh_from_db()
    assert full.stage == "open"


def test_the_scale_of_another_bench_closes_nothing(scan, at, full, send) -> None:
    other = factories.make_bench()
    Scale.objects.update(bench=other)
    Scale.objects.update(
        mass_mg=int(WHOLE_G * 1000), read_at=send.clock.now, loaded_at=send.clock.now
    )
    assert "is not weighed yet" in words(scan("ACT-CLOSE"))


# -- What is taken ----------------------------------------------------------------------


def test_what_lies_still_is_kept_and_what_does_not_takes_it_away(send) -> None:
    assert send(844.5).status_code == 204
    assert showing() == (844_500, True)
    assert send(900, stable=False).status_code == 204
    assert showing() == (None, True)
    send(844.5)
    for nearly_nothing in ("19.9", "-0.4", "-20", "0"):
        assert send(nearly_nothing).status_code == 204
        assert showing() == (None, False)
        send(844.5)
        assert showing() == (844_500, True)


@pytest.mark.parametrize(
    ("g", "said"),
    [
        ("-20.1", "below 0"),
        ("-844.5", "below 0"),
        ("30000.1", "more than this scale weighs"),
        ("999999999999", "more than this scale weighs"),
        ("9" * 19, "no figure"),
        ("", "no figure"),
        ("heavy", "no figure"),
        ("1e3", "no figure"),
        ("NaN", "no figure"),
        ("844.5 kg", "no figure"),
    ],
)
def test_what_no_box_weighs_is_refused_and_takes_the_one_before_away(
    send, g, said
) -> None:
    send(844.5)
    answer = send(g)
    assert answer.status_code == 422
    assert said in answer.content.decode()
    assert showing()[0] is None


def test_it_takes_json_and_forms_alike(send) -> None:
    for nth, body in enumerate(
        ({"g": "844.5", "stable": True}, {"g": 844.5, "stable": "true"}), start=1
    ):
        send.clock.on(5)
        headers = {"Authorization": f"Bearer {send.token}"}
        answer = send.client.post(
            door(send.at.bench), body, "application/json", headers=headers
        )
        assert (answer.status_code, showing()[0]) == (204, 844_500), nth
        Scale.objects.update(mass_mg=None)


@pytest.mark.parametrize("body", ["", "[", "[1]", "7", "null", "[" * 900, '{"g": {}}'])
def test_json_that_is_no_reading_is_refused(send, body) -> None:
    headers = {"Authorization": f"Bearer {send.token}"}
    answer = send.client.post(
        door(send.at.bench), body, "application/json", headers=headers
    )
    assert answer.status_code == 422


def test_the_same_again_is_written_every_few_seconds_only(
    send, django_assert_num_queries
) -> None:
    send(844.5)
    first = Scale.objects.get().read_at
    for _ in range(2):
        assert send(844.5).status_code == 204
        assert Scale.objects.get().read_at == first
    send(844.5)
    assert Scale.objects.get().read_at > first


def test_more_than_ten_in_two_seconds_are_too_many(send) -> None:
    for g in range(800, 810):
        assert send(g, after=0.1).status_code == 204
    assert showing()[0] == 809_000
    assert send("heavy", after=0.1).status_code == 429
    assert send(810, after=0.8).status_code == 429
    assert showing()[0] == 809_000
    assert send(810, after=0.2).status_code == 204
    assert send(811, after=0.01).status_code == 429


def test_a_reading_is_no_act(send) -> None:
    before = Operation.objects.count()
    send(844.5)
    send(EMPTY)
    assert Operation.objects.count() == before
    assert factories.prove() == []
