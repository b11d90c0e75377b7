"""Pages of a bag: who may see and do what, what they say, what they refuse."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from kitting.ledger import holds
from kitting.lots.services import counts, samples
from kitting.lots.views.counts import MOST_NAMED, boxes_named
from kitting.models import Bag, Count, Link, Sample, SampleResult, User
from tests import factories
from tests.assertions import (
    assert_page,
    assert_part,
    assert_problem,
    assert_sent_to_sign_in,
    text_of,
)
from tests.assertions import text_of as as_copied
from tests.databases import once_a_module
from tests.factories import sign

pytestmark = pytest.mark.django_db

ClientFor = Callable[[User], Client]


@once_a_module
def bag() -> Bag:
    return factories.make_bag(pieces=41, name="Visor", mass_mg=5_000, spread_mg=5)


@pytest.fixture
def checker(client_for: ClientFor) -> Client:
    return client_for(factories.make_person("checker"))


def at(act: str, bag: Bag) -> str:
    return reverse(f"kitting:bag-{act}", args=[bag.number])


def keyed(**values: Any) -> dict[str, Any]:
    return {"op_key": str(uuid.uuid4()), **values}


def count_values(bag: Bag, **changes: Any) -> dict[str, Any]:
    values = {"moves": bag.moves, "counted_by": "hand", "counted": "40"}
    return keyed(**{**values, "reason": "One was torn", **changes})


def weigh_values(bag: Bag, **changes: Any) -> dict[str, Any]:
    values = {
        "moves": bag.moves,
        "gross": "250",
        "tare": "50,0",
        "reference_pieces": "40",
        "reference": "200",
        "spread": "0.005",
        "scale_u": "0.02",
        "reason": "One was torn",
    }
    return keyed(**{**values, **changes})


def sample_values(**changes: Any) -> dict[str, Any]:
    values = {"pieces": "3", "what_for": "Swab", "sent_to": "Eskmoor laboratory"}
    return keyed(**{**values, **changes})


# -- Who ----------------------------------------------------------------------------

ACTS = ("count", "weigh", "sample", "scrap", "repack")


@pytest.mark.parametrize("act", ["detail", *ACTS])
def test_the_unknown_are_sent_to_sign_in(act: str, bag: Bag) -> None:
    assert_sent_to_sign_in(Client().get(at(act, bag)))


@pytest.mark.parametrize("act", ["detail", *ACTS])
def test_who_has_no_right_gets_403(
    act: str, bag: Bag, outsider: User, client_for: ClientFor
) -> None:
    assert client_for(outsider).get(at(act, bag)).status_code == 403


@pytest.mark.parametrize("act", ACTS)
def test_a_clerk_sees_a_bag_and_counts_none(
    act: str, bag: Bag, client_for: ClientFor
) -> None:
    clerk = client_for(factories.make_person("clerk"))
    page = clerk.get(at("detail", bag))
    assert_page(page)
    assert at("count", bag) not in text_of(page)
    assert clerk.post(at(act, bag), count_values(bag)).status_code == 403
    assert Count.objects.count() == 0


@pytest.mark.parametrize("act", ["detail", *ACTS])
def test_a_bag_that_is_not_there_is_404(act: str, checker: Client) -> None:
    address = reverse(f"kitting:bag-{act}", args=["B1000001Q"])
    assert checker.get(address).status_code == 404


@pytest.mark.parametrize("pk", [1, 10**30])
def test_a_sample_that_is_not_there_is_404(pk: int, checker: Client) -> None:
    assert checker.get(f"/samples/{pk}/result/").status_code == 404


@pytest.mark.parametrize(
    ("act", "part"), [("count", "bag-count"), ("weigh", "bag-weigh")]
)
def test_htmx_gets_the_form_and_others_the_page(
    act: str, part: str, bag: Bag, checker: Client, hx: dict[str, str]
) -> None:
    assert_page(checker.get(at(act, bag)))
    assert_part(checker.get(at(act, bag), headers=hx), part)


# -- The bag ------------------------------------------------------------------------


def test_the_page_of_a_bag_says_what_where_and_what_happened(
    bag: Bag, checker: Client
) -> None:
    place = factories.make_place()
    Bag.objects.filter(pk=bag.pk).update(place=place)
    counts.count_again(
        bag_id=bag.pk,
        counted=40,
        counted_by="stack",
        stacks=(4, 10),
        reason="One was torn",
        sign=sign(),
    )
    text = text_of(checker.get(at("detail", bag)))
    for words in ("Visor, revision A", "40\N{NO-BREAK SPACE}pieces", place.name):
        assert words in text
    assert "4 × 10" in text
    assert "One was torn" in text
    assert "missing" in text


@pytest.mark.smoke
def test_the_page_of_a_bag_names_its_runs_boxes_and_holds(checker: Client) -> None:
    revision = factories.make_revision()
    lot = factories.accept(factories.make_lot(revision))
    bag = lot.bags.get()
    run = factories.open_run(factories.make_protocol(revision))
    factories.expose(run, bag)
    factories.close_run(run)
    size = factories.make_size(factories.make_recipe([(revision, 1, "set")]), 2)
    box = factories.make_open_box(size, None, bag)
    holds.place_hold(target="bag", value=bag.pk, reason="Look again", sign=sign())
    text = text_of(checker.get(at("detail", bag)))
    for number in (run.number, box.number):
        assert f"/{number}/" in text
    assert "Look again" in text
    assert "open at" in text


def test_a_hold_from_elsewhere_is_said(bag: Bag, checker: Client) -> None:
    holds.place_hold(target="lot", value=bag.lot_id, reason="Drill", sign=sign())
    assert "a hold on its lot" in text_of(checker.get(at("detail", bag)))


def test_a_bag_on_the_line_offers_no_count(bag: Bag, checker: Client) -> None:
    Bag.objects.filter(pk=bag.pk).update(stage="in_run")
    assert at("count", bag) not in text_of(checker.get(at("detail", bag)))


def test_the_pages_of_lot_and_box_link_to_the_bag(checker: Client) -> None:
    box = factories.make_closed_box()
    bag = box.lines.get().bag
    for name, of in (("lot-detail", bag.lot.number), ("box-detail", str(box))):
        page = checker.get(reverse(f"kitting:{name}", args=[of]))
        assert at("detail", bag) in text_of(page)


def test_the_page_of_a_bag_takes_few_queries(
    bag: Bag, checker: Client, django_assert_max_num_queries: Any
) -> None:
    for counted in (40, 39, 38):
        counts.count_again(
            bag_id=bag.pk, counted=counted, counted_by="hand", reason="x", sign=sign()
        )
    with django_assert_max_num_queries(20):
        checker.get(at("detail", bag))


# -- Counting again -----------------------------------------------------------------


def test_a_count_is_taken_and_its_boxes_are_named(checker: Client) -> None:
    recipe = factories.make_recipe()
    bag = factories.make_bag(recipe.lines.get().revision, 41)
    box = factories.make_open_box(factories.make_size(recipe, 2), None, bag)
    bag.refresh_from_db()
    response = checker.post(at("count", bag), count_values(bag, counted="38"))
    assert response.headers["Location"] == at("detail", bag)
    bag.refresh_from_db()
    assert bag.pieces == 38
    page = as_copied(checker.get(at("detail", bag)))
    assert "Missing: 1." in page
    assert f"may be wrong too: {box.number}" in page


def test_many_boxes_are_counted_and_the_last_are_named() -> None:
    said = boxes_named([f"S{n}" for n in range(MOST_NAMED + 5)])
    assert said.startswith("25 boxes")
    assert "the last are S5," in said


def test_a_count_that_agrees_says_so(bag: Bag, checker: Client) -> None:
    checker.post(at("count", bag), count_values(bag, counted="41", reason=""))
    assert "as on record" in text_of(checker.get(at("detail", bag)))


def test_found_pieces_beyond_the_protocol_ask_for_a_quality_officer(
    checker: Client,
) -> None:
    revision = factories.make_revision()
    bag = factories.accept(factories.make_lot(revision)).bags.get()
    protocol = factories.make_protocol(revision)
    protocol.loads.update(max_pieces=100)
    factories.expose(factories.open_run(protocol), bag)
    bag.refresh_from_db()
    checker.post(at("count", bag), count_values(bag, counted="101"))
    page = text_of(checker.get(at("detail", bag)))
    assert "Found: 1." in page
    assert "Tell a quality officer" in page


def test_stacks_are_added_up(bag: Bag, checker: Client) -> None:
    values = count_values(
        bag, counted_by="stack", counted="", stacks="3", stack_pieces="10", loose="9"
    )
    checker.post(at("count", bag), values)
    row = bag.counts.get()
    assert (row.counted, row.stacks, row.stack_pieces) == (39, 3, 10)


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"counted": "-1"}, "min_value"),
        ({"counted": "10000001"}, "max_value"),
        ({"counted": "forty"}, "invalid"),
        ({"counted": ""}, "quantity_missing"),
        ({"counted_by": "guess"}, "invalid_choice"),
        ({"counted_by": "weight"}, "invalid_choice"),
        ({"stacks": "4"}, "quantity_twice"),
        ({"counted_by": "stack"}, "quantity_missing"),
        ({"reason": ""}, "reason_missing"),
        ({"reason": "x" * 201}, "max_length"),
        ({"op_key": "x"}, "invalid"),
        ({"moves": ""}, "required"),
    ],
)
def test_a_bad_count_gets_its_reason_and_nothing_is_written(
    changes: dict[str, str], code: str, bag: Bag, checker: Client
) -> None:
    links = Link.objects.count()
    assert_problem(checker.post(at("count", bag), count_values(bag, **changes)), code)
    assert (Count.objects.count(), Link.objects.count()) == (0, links)


@pytest.mark.smoke
def test_a_bag_that_moved_meanwhile_is_counted_afresh(
    bag: Bag, checker: Client
) -> None:
    values = count_values(bag)
    samples.send_to_test(
        bag_id=bag.pk, pieces=1, what_for="Fit", sent_to="Ward", sign=sign()
    )
    response = checker.post(at("count", bag), values)
    assert_problem(response, "bag_moved_since", status=409)
    assert "holds 40 now" in text_of(response)


@pytest.mark.smoke
def test_a_count_sent_twice_is_taken_once(bag: Bag, checker: Client) -> None:
    values = count_values(bag)
    for _ in range(2):
        assert checker.post(at("count", bag), values).status_code == 302
    assert bag.counts.count() == 1


# -- By weight ----------------------------------------------------------------------


def test_a_weighing_is_worked_out_before_anything_is_taken(
    bag: Bag, checker: Client
) -> None:
    page = checker.post(at("weigh", bag), weigh_values(bag, work_out="1"))
    assert page.status_code == 200
    text = text_of(page)
    assert "Save 40 as the count" in text
    assert "5.0000 g" in text
    assert Count.objects.count() == 0


@pytest.mark.smoke
def test_a_weighing_is_taken(bag: Bag, checker: Client) -> None:
    response = checker.post(at("weigh", bag), weigh_values(bag, take="1"))
    assert response.headers["Location"] == at("detail", bag)
    row = bag.counts.get()
    assert (row.counted, row.counted_by, row.tare_mg) == (40, "weight", 50_000)


def test_the_form_knows_the_spread_and_the_scale_of_last_time(
    bag: Bag, checker: Client
) -> None:
    form = checker.get(at("weigh", bag)).context["form"]
    assert form.initial["spread"] == "0.005"
    assert "scale_u" not in form.initial
    checker.post(at("weigh", bag), weigh_values(bag, take="1"))
    form = checker.get(at("weigh", bag)).context["form"]
    assert form.initial["scale_u"] == "0.02"


def test_a_count_that_is_not_trusted_asks_for_a_word(bag: Bag, checker: Client) -> None:
    rough = weigh_values(bag, spread="0.5", take="1")
    response = checker.post(at("weigh", bag), rough)
    assert_problem(response, "count_not_trusted")
    assert Count.objects.count() == 0
    sure = weigh_values(bag, spread="0.5", take="1", sure="on", reason="Hurry")
    assert checker.post(at("weigh", bag), sure).status_code == 302
    assert bag.counts.get().reason == "Hurry"


@pytest.mark.smoke
def test_a_mass_that_fits_no_count_is_said(bag: Bag, checker: Client) -> None:
    values = weigh_values(bag, gross="252.5", work_out="1")
    assert "not that of a whole number" in text_of(
        checker.post(at("weigh", bag), values)
    )


@pytest.mark.parametrize("press", ["work_out", "take"])
@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"gross": "-1"}, "figure_negative"),
        ({"gross": "heavy"}, "figure_unreadable"),
        ({"gross": ""}, "required"),
        ({"gross": "9999999999"}, "mass_out_of_range"),
        ({"tare": "251"}, "gross_below_tare"),
        ({"reference_pieces": "0"}, "min_value"),
        ({"reference": "0"}, "mass_out_of_range"),
        ({"reference": "0.001"}, "weighed_out_of_range"),
        ({"reason": "x" * 201}, "max_length"),
    ],
)
def test_a_bad_weighing_gets_its_reason_and_nothing_is_written(
    changes: dict[str, str], code: str, press: str, bag: Bag, checker: Client
) -> None:
    values = weigh_values(bag, **changes, **{press: "1"})
    assert_problem(checker.post(at("weigh", bag), values), code)
    assert Count.objects.count() == 0


# -- Pieces for tests ---------------------------------------------------------------


@pytest.mark.smoke
def test_pieces_are_sent_and_their_result_is_recorded(
    bag: Bag, checker: Client
) -> None:
    response = checker.post(at("sample", bag), sample_values())
    assert response.headers["Location"] == at("detail", bag)
    sample = Sample.objects.get()
    address = reverse("kitting:sample-result", args=[sample.pk])
    lot_page = text_of(
        checker.get(reverse("kitting:lot-detail", args=[bag.lot.number]))
    )
    assert "Samples without a result" in lot_page
    assert address in lot_page
    assert "Eskmoor laboratory: Swab" in text_of(checker.get(address))
    values = keyed(result="No growth", document="Report 4")
    for _ in range(2):
        response = checker.post(address, values)
        assert response.headers["Location"] == at("detail", bag)
    assert SampleResult.objects.get().document == "Report 4"
    assert "No growth" in text_of(checker.get(at("detail", bag)))
    assert "No growth" in text_of(checker.get(address))
    lot_page = text_of(
        checker.get(reverse("kitting:lot-detail", args=[bag.lot.number]))
    )
    assert "Samples without a result" not in lot_page
    again = checker.post(address, keyed(result="Growth"))
    assert again.status_code == 409


@pytest.mark.parametrize("role", ["packer", "manager"])
def test_whoever_does_not_check_sends_samples_and_enters_no_laboratorys_result(
    role: str, bag: Bag, client_for: ClientFor
) -> None:
    packer = client_for(factories.make_person(role))
    assert packer.post(at("sample", bag), sample_values()).status_code == 302
    address = reverse("kitting:sample-result", args=[Sample.objects.get().pk])
    refused = packer.post(address, keyed(result="No growth", document="Report 4"))
    assert refused.status_code == 403
    assert not SampleResult.objects.exists()
    assert address not in text_of(packer.get(at("detail", bag)))


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"pieces": "0"}, "min_value"),
        ({"pieces": "42"}, "not_enough_pieces"),
        ({"pieces": "2.5"}, "invalid"),
        ({"what_for": ""}, "required"),
        ({"sent_to": "x" * 81}, "max_length"),
    ],
)
def test_a_bad_sample_gets_its_reason_and_nothing_is_written(
    changes: dict[str, str], code: str, bag: Bag, checker: Client
) -> None:
    response = checker.post(at("sample", bag), sample_values(**changes))
    assert_problem(response, code)
    assert Sample.objects.count() == 0
