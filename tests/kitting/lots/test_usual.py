"""Taking in proposes what was used last, and asks about what can hardly be right."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from dispatch.trace.balance import balance_of
from kitting.domain.errors import Doubted
from kitting.domain.usual import is_far, usual
from kitting.lots.queries.usual import LAST_BAGS, last_lots, like, usual_in
from kitting.lots.services import cancelling, files, lots, yields
from kitting.lots.services.lots import NewBag
from kitting.models import Link, Lot, Method, Revision, User
from tests import factories
from tests.assertions import assert_part, assert_problem, text_of
from tests.factories import sign

pytestmark = pytest.mark.django_db

PAGE = "kitting:lot-new"


@pytest.fixture
def checker(client_for: Callable[[User], Client]) -> Client:
    return client_for(factories.make_person("checker"))


@pytest.fixture
def bands() -> Revision:
    """A headband of which one lot came in: three bags of 100, and the rest."""
    revision = factories.make_revision(factories.make_part(name="Headband"), "C")
    place = factories.make_place()
    bag = NewBag(100, "open tray", place.pk, counted_by="machine")
    factories.make_lot(
        revision,
        number="HB-1",
        source="Print room",
        method_id=factories.make_method().pk,
        bags=(*(bag,) * 3, NewBag(18)),
    )
    return revision


def values(revision: Revision, **changes: Any) -> dict[str, Any]:
    return {
        "op_key": str(uuid.uuid4()),
        "revision": revision.pk,
        "made_on": "2026-01-14",
        "source": "Print room",
        "bag_count": "2",
        "pieces_each": "100",
        "container": "tote",
        **changes,
    }


# -- What a bag usually holds -------------------------------------------------------


# Common practice: a digit too many or too few is ten times as much, or a tenth.
@pytest.mark.parametrize(
    ("pieces", "asked"),
    [(1_000, True), (500, True), (499, False), (11, False), (10, True), (1, True)],
)
def test_a_count_with_a_digit_too_many_or_too_few_is_far(
    pieces: int, asked: bool
) -> None:
    assert is_far(pieces, 100) is asked


def test_there_is_nothing_usual_about_two_bags() -> None:
    assert usual([100, 100]) is None
    assert not is_far(10**7, None)
    assert usual([10_000_000, 100, 90]) == 100


def test_the_newest_bags_say_what_is_usual(bands: Revision) -> None:
    for pieces in (100, 60):
        factories.make_lot(bands, bags=(NewBag(pieces),) * LAST_BAGS)
    assert usual_in(bands.part_id) == 60


def test_a_cancelled_lot_says_nothing_of_what_is_usual(bands: Revision) -> None:
    slip = factories.make_lot(bands, bags=(NewBag(10**6),) * 9, sure="Yes")
    assert usual_in(bands.part_id) == 10**6
    cancelling.cancel_lot(lot_id=slip.pk, reason="Digits too many", sign=sign())
    assert usual_in(bands.part_id) == 100
    assert [lot.number for lot in last_lots()] == ["HB-1"]


def test_a_count_far_from_the_usual_is_asked_about(
    checker: Client, bands: Revision
) -> None:
    sent = values(bands, number="HB-2", pieces_each="2500000")
    asked = checker.post(reverse(PAGE), sent)
    assert_problem(asked, "count_unusual")
    assert "2,500,000 in one bag" in text_of(asked)
    assert 'type="hidden" name="sure"' not in text_of(asked)
    assert not Lot.objects.filter(number="HB-2").exists()
    sent |= {"sure": "A whole container", "op_key": str(uuid.uuid4())}
    assert checker.post(reverse(PAGE), sent).status_code == 302
    assert "A whole container" in Link.objects.latest("seq").outcome


def test_all_that_is_in_doubt_is_asked_at_once(
    checker: Client, bands: Revision
) -> None:
    filament = factories.make_part(name="Filament", unit="gram", needs_check=False)
    material = factories.make_lot(
        factories.make_revision(filament), number="F-1", bags=(NewBag(1_000),)
    )
    rate = {"part_id": bands.part_id, "material_id": filament.pk}
    yields.set_yield(**rate, pieces=1, amount=10, sign=sign())
    sent = values(bands, bag_count="1", pieces_each="900", made_from="F-1 500")
    asked = checker.post(reverse(PAGE), sent)
    assert_problem(asked, "count_unusual")
    assert_problem(asked, "yield_impossible")
    assert material.bags.get().pieces == 1_000


def test_a_file_names_the_row_of_a_count_in_doubt(bands: Revision) -> None:
    part = bands.part.code
    rows = [f"HB-2;{part};C;2026-01-14;Print room;{n};" for n in (100, 1_000)]
    head = "lot;part;revision;made on;source;counts;sure"
    data = "\n".join([head, *rows]).encode()
    plan = files.plan_file(data=data, date_order=None, now=factories.NOW)
    (problem,) = plan.questions
    assert (problem.line, problem.column) == (3, "counts")
    assert (problem.code, problem.value) == ("count_unusual", "1000")


# -- Again like the last lot --------------------------------------------------------


def test_what_was_used_last_is_proposed(checker: Client, bands: Revision) -> None:
    first = checker.get(reverse(PAGE))
    assert f"{reverse(PAGE)}?like=HB-1" in text_of(first)
    lot = Lot.objects.get()
    form = checker.get(reverse(PAGE), {"like": "HB-1"}).context["form"]
    begun = {name: form[name].value() for name in form.first if name != "made_on"}
    assert begun == {
        "revision": bands.pk,
        "method": lot.method_id,
        "source": "Print room",
        "bag_count": None,
        "pieces_each": 100,
        "container": "open tray",
        "place": lot.bags.first().place_id,
    }
    assert form["counted_by"].value() == "machine"


def test_newer_settings_are_proposed_once_they_are_released(
    checker: Client, bands: Revision
) -> None:
    lot = Lot.objects.get()
    factories.make_released_method(machine_group="Cutter")
    tried = factories.make_method()
    page = checker.get(reverse(PAGE), {"like": "HB-1"})
    assert page.context["form"]["method"].value() == lot.method_id
    assert "That lot was made by method" not in text_of(page)
    newer = factories.make_released_method()
    assert newer.pk > tried.pk
    page = checker.get(reverse(PAGE), {"like": "HB-1"})
    assert page.context["form"]["method"].value() == newer.pk
    assert f"That lot was made by method {lot.method}." in text_of(page)
    assert f"released for the same machines: {newer}." in text_of(page)


def test_settings_that_are_not_used_any_more_are_not_proposed(
    checker: Client, bands: Revision
) -> None:
    lot = Lot.objects.get()
    other = factories.make_part()
    elsewhere = factories.make_released_method()
    elsewhere.made_with_it.create(part=other)
    Method.objects.filter(pk=lot.method_id).update(active=False)
    page = checker.get(reverse(PAGE), {"like": "HB-1"})
    assert page.context["form"]["method"].value() is None
    assert "That one is not used any more" in text_of(page)
    newer = factories.make_released_method()
    assert like(number="HB-1", revision=None).values["method"] == newer.pk


def test_choosing_a_part_proposes_what_was_used_last_for_it(
    checker: Client, bands: Revision, hx: dict[str, str]
) -> None:
    """What was typed stays: tests/browser/test_bags.py."""
    newer = factories.make_revision(bands.part, "D")
    response = checker.get(reverse(PAGE), {"revision": newer.pk}, headers=hx)
    assert_part(response, "lot-new")
    form = response.context["form"]
    assert form["revision"].value() == newer.pk
    assert (form["source"].value(), form["pieces_each"].value()) == ("Print room", 100)


@pytest.mark.parametrize(
    "asked", [{"like": "NONE"}, {"revision": "x"}, {"revision": ""}, {"like": "\0"}]
)
def test_an_odd_address_proposes_nothing(
    asked: dict[str, str], checker: Client, bands: Revision
) -> None:
    form = checker.get(reverse(PAGE), asked).context["form"]
    assert form["source"].value() is None


def test_of_a_new_part_nothing_is_known(checker: Client) -> None:
    revision = factories.make_revision()
    found = like(number="", revision=revision)
    assert (found.lot, found.values) == (None, {"revision": revision.pk})
    response = checker.get(reverse(PAGE), {"revision": revision.pk})
    assert response.context["form"]["revision"].value() == revision.pk


def test_a_place_that_takes_nothing_more_is_not_proposed(bands: Revision) -> None:
    place = Lot.objects.get().bags.first().place
    place.active = False
    place.save()
    assert like(number="HB-1", revision=None).values["place"] is None


def test_bags_that_come_later_need_no_count(checker: Client, bands: Revision) -> None:
    sent = values(bands, number="HB-2", bag_count="0")
    assert checker.post(reverse(PAGE), sent).status_code == 302
    assert Lot.objects.get(number="HB-2").bags.count() == 0


def test_counts_go_before_what_was_filled_in(checker: Client, bands: Revision) -> None:
    sent = values(bands, number="HB-2", bag_count="", counts="100 80")
    assert checker.post(reverse(PAGE), sent).status_code == 302
    counts = Lot.objects.get(number="HB-2").bags.values_list("pieces", flat=True)
    assert list(counts) == [100, 80]


# -- Cutting waste ------------------------------------------------------------------


@pytest.fixture
def sheets() -> Lot:
    sheet = factories.make_part(name="Sheet", unit="mm", needs_check=False)
    revision = factories.make_revision(sheet)
    return factories.make_lot(revision, number="PETG-17", bags=(NewBag(400),) * 2)


def left(lot: Lot) -> list[int]:
    return list(lot.bags.values_list("pieces", flat=True))


def test_waste_is_scrapped_with_what_was_used(
    checker: Client, bands: Revision, sheets: Lot
) -> None:
    sent = values(bands, number="HB-2", made_from="PETG-17 500", waste="30")
    assert checker.post(reverse(PAGE), sent).status_code == 302
    assert left(sheets) == [0, 300]
    came_to = balance_of(sheets)
    assert (came_to.made_into, came_to.scrapped, came_to.difference) == (470, 30, 0)
    page = text_of(checker.get(reverse("kitting:lot-detail", args=["HB-2"])))
    assert "and of waste 30" in page.replace("\xa0", " ")
    assert factories.prove() == []


def test_a_cancelled_lot_gives_its_waste_back(bands: Revision, sheets: Lot) -> None:
    used, waste = ((sheets.pk, 500),), ((sheets.pk, 30),)
    lot = factories.make_lot(bands, made_from=used, waste=waste)
    cancelling.cancel_lot(lot_id=lot.pk, reason="Not this sheet", sign=sign())
    assert left(sheets) == [400, 400]
    assert factories.prove() == []


def test_waste_does_not_count_towards_the_yield(bands: Revision, sheets: Lot) -> None:
    rate = {"part_id": bands.part_id, "material_id": sheets.part_id}
    yields.set_yield(**rate, pieces=1, amount=1, sign=sign())
    used, waste = ((sheets.pk, 110),), ((sheets.pk, 20),)
    new = factories.new_lot(bands, bags=(NewBag(91),), made_from=used, waste=waste)
    with pytest.raises(Doubted) as caught:
        lots.take_in(lots=[new], sign=sign())
    assert caught.value.params["possible"] == "90"


@pytest.mark.parametrize(
    ("made_from", "waste", "code"),
    [
        ("PETG-17 500", "500", "waste_is_all"),
        ("", "PETG-17 20", "waste_is_all"),
        ("", "20", "material_unreadable"),
        ("PETG-17 500", "PETG-17 1; PETG-17 2", "material_twice"),
        ("PETG-17 500", "PETG-18 2", "material_unknown"),
    ],
)
def test_waste_that_cannot_be_is_refused(
    made_from: str,
    waste: str,
    code: str,
    checker: Client,
    bands: Revision,
    sheets: Lot,
) -> None:
    sent = values(bands, number="HB-2", made_from=made_from, waste=waste)
    assert_problem(checker.post(reverse(PAGE), sent), code)
    assert left(sheets) == [400, 400]
