"""Scans that arrive late at the bench: for an earlier box, or for the second time."""

from __future__ import annotations

import uuid

import pytest
from django.urls import reverse

from kitting.domain.stages import BoxStage
from kitting.models import Box, Operation, Product, Recipe
from tests import factories
from tests.assertions import assert_problem
from tests.benches import fill, hold, newest_number, page_of, state, step, words
from tests.databases import once_a_module

pytestmark = pytest.mark.django_db


@once_a_module
def colleagues_box(at) -> Box:
    """What somebody else packs at the bench, after the screen showed no box."""
    return factories.make_open_box(at.size, at.bench, *at.bags)


# -- For an earlier box --------------------------------------------------------------


@pytest.mark.parametrize(
    "text",
    ["ACT-CANCEL-PARTS", "ACT-CANCEL", "ACT-CLOSE", "ACT-BOX-6", "ACT-PRINT-LOST"],
)
def test_a_command_for_an_earlier_box_is_refused(
    scan, colleagues_box: Box, text: str
) -> None:
    done = Operation.objects.count()
    assert_problem(scan(text, box=""), "bench_has_another_box", status=409)
    colleagues_box.refresh_from_db()
    assert (colleagues_box.stage, Operation.objects.count()) == (BoxStage.OPEN, done)


@pytest.mark.parametrize("purpose", ["", "take_off"])
def test_a_bag_for_an_earlier_box_is_refused(
    scan, at, colleagues_box: Box, purpose: str
) -> None:
    done = Operation.objects.count()
    response = scan(at.band_bag.number, box="", purpose=purpose)
    assert_problem(response, "bench_has_another_box", status=409)
    assert Operation.objects.count() == done


@pytest.mark.parametrize(
    ("purpose", "out"),
    [("", True), ("cancelled", True), ("take_off", False), ("count", False)],
)
def test_what_a_refused_bag_put_into_the_box_is_to_be_taken_out(
    client, at, hx, purpose: str, *, out: bool
) -> None:
    """The screen of a box that was cancelled asks nothing: its next bag is packed."""
    factories.make_open_box(at.size, at.bench)
    hold("bag", at.band_bag.pk)
    late = {"scan": at.band_bag.number, "purpose": purpose, "waited": "yes"}
    late |= {"box": newest_number(at.bench), "op_key": str(uuid.uuid4())}
    address = reverse("kitting:bench-scan", args=[at.bench.code])
    response = client.post(address, late, headers=hx)
    assert state(response) == "wrong"
    assert ("Take out of the box what you put in" in words(response)) == out


@pytest.mark.smoke
def test_a_box_that_came_and_went_meanwhile_counts_as_well(scan, at) -> None:
    scan("ACT-BOX-6")
    scan("ACT-CANCEL-PARTS")
    assert_problem(scan("ACT-BOX-6", box=""), "bench_has_another_box", status=409)
    assert Box.objects.count() == 1


def test_every_form_of_the_screen_says_which_box_it_shows(client, scan, at) -> None:
    def said(number: str) -> None:
        page = words(client.get(page_of(at)))
        assert page.count('name="op_key"') == page.count(f'name="box" value="{number}"')
        assert page.count('name="op_key"') > 1

    said("")
    scan("ACT-BOX-6")
    said(Box.objects.get().number)
    fill(scan, at)
    scan("ACT-CLOSE")
    said(Box.objects.get().number)


def test_an_answer_says_which_box_its_scan_led_to(scan, at) -> None:
    """Not which one stands there: what was scanned meanwhile did not mean that one."""
    first = words(scan("ACT-BOX-6", key=(key := str(uuid.uuid4()))))
    mine = newest_number(at.bench)
    assert f'data-leads-to="{mine}"' in first
    assert f'data-leads-to="{mine}"' in words(scan(at.band_bag.number))
    scan("ACT-CANCEL-PARTS")
    factories.make_open_box(at.size, at.bench)
    assert f'data-leads-to="{mine}"' in words(scan("ACT-BOX-6", key=key, box=""))
    refused = words(scan("ACT-CLOSE", box=mine))
    assert f'data-leads-to="{mine}"' in refused


# -- For the second time --------------------------------------------------------------


@pytest.fixture
def twice(scan, at):
    """Send a scan, let time pass, and send it again from the same screen."""

    def send(text: str, meanwhile) -> None:
        key, shown = str(uuid.uuid4()), newest_number(at.bench)
        first = scan(text, key=key, box=shown)
        assert state(first) == "right"
        meanwhile()
        done = Operation.objects.count()
        again = scan(text, key=key, box=shown)
        assert (again.status_code, state(again)) == (200, "right")
        assert again.context["last"] == first.context["last"]
        assert Operation.objects.count() == done

    return send


@pytest.mark.smoke
def test_a_closing_is_answered_when_the_next_box_is_in_work(scan, at, twice) -> None:
    def next_box() -> None:
        scan(Box.objects.get().serial)
        scan("ACT-BOX-6")

    scan("ACT-BOX-6")
    fill(scan, at)
    twice("ACT-CLOSE", next_box)
    assert Box.objects.filter(stage=BoxStage.OPEN).count() == 1


def test_a_calling_off_is_answered_when_the_next_box_is_closed(scan, at, twice) -> None:
    def close_the_next() -> None:
        scan("ACT-BOX-6")
        fill(scan, at)
        scan("ACT-CLOSE")

    scan("ACT-BOX-6")
    twice("ACT-CANCEL-PARTS", close_the_next)
    assert Box.objects.filter(stage=BoxStage.VOIDED).count() == 1


def test_a_start_is_answered_when_its_recipe_is_withdrawn(twice) -> None:
    twice("ACT-BOX-6", lambda: Recipe.objects.update(in_force=False))
    assert Box.objects.count() == 1


@pytest.mark.usefixtures("full_box")
def test_a_print_is_answered_when_its_label_no_longer_fits(scan, at, twice) -> None:
    scan("ACT-CLOSE")
    long = "\n".join(f"Caution {n}." * 6 for n in range(40))
    twice(
        "ACT-PRINT-LOST",
        lambda: Product.objects.update(cautions=long, cautions_reviewed_by="Ada"),
    )
    assert Box.objects.get().prints.count() == 2


@pytest.mark.parametrize("text", ["ACT-CLOSE", "ACT-BOX-5", "ACT-BOX-X-6", "ACT-PRINT"])
def test_the_key_of_a_start_answers_nothing_else(scan, at, text: str) -> None:
    scan("ACT-BOX-6", key=(key := str(uuid.uuid4())))
    response = scan(text, key=key)
    assert_problem(response, "operation_key_reused", status=409)
    assert step(response) == "fill"


def test_the_key_of_a_bag_starts_no_box(scan, at) -> None:
    scan(at.band_bag.number, key=(key := str(uuid.uuid4())))
    assert_problem(scan("ACT-BOX-6", key=key), "operation_key_reused", status=409)
    assert not Box.objects.exists()


def test_a_key_answers_only_who_used_it_at_that_bench(
    scan, at, client, make_user, client_for, hx
) -> None:
    scan("ACT-BOX-6", key=(key := str(uuid.uuid4())))
    data = {"scan": "ACT-BOX-6", "op_key": key, "box": ""}
    elsewhere = factories.make_bench()
    other = client_for(make_user("second", group="packer"))
    for who, bench in ((other, at.bench), (client, elsewhere)):
        address = reverse("kitting:bench-scan", args=[bench.code])
        response = who.post(address, data, headers=hx)
        assert_problem(response, "operation_key_reused", status=409)
    assert Box.objects.count() == 1
