"""A reference sample whose pieces weigh otherwise than the part's is asked about."""

from __future__ import annotations

import uuid
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from kitting.domain.entries import Weighing
from kitting.domain.errors import Refused
from kitting.lots.services import counts
from kitting.models import Bag, Count
from tests import factories
from tests.assertions import assert_problem, assert_refused
from tests.factories import sign

pytestmark = pytest.mark.django_db

WEIGHED = Weighing(
    gross_mg=250_000,
    tare_mg=50_000,
    reference_pieces=40,
    reference_mg=200_000,
    spread_mg=5,
    scale_u_mg=20,
)
"""40 pieces of 5.00 g by a reference of 40."""
TICK = "These are the right pieces"


def make_bag(**part: Any) -> Bag:
    return factories.make_bag(pieces=40, name="Visor", **part)


def take(bag: Bag, **changes: Any) -> counts.Counted:
    return counts.count_by_weight(
        bag_id=bag.pk, weighed=WEIGHED, reason="", sign=sign(), **changes
    )


@pytest.mark.parametrize(
    "part",
    [
        {"mass_mg": 5_000, "spread_mg": 5},
        {"mass_mg": 5_019, "spread_mg": 5},  # 4 × 5 mg
        {"mass_mg": 6_200},  # a fifth of it is 1.24 g
        {"mass_mg": 4_200, "spread_mg": 0},
        {"mass_mg": 0},
        {},  # nobody has weighed it
    ],
)
def test_a_mass_that_may_be_is_not_asked_about(part: dict[str, int]) -> None:
    bag = make_bag(**part)
    assert not counts.weigh(WEIGHED, bag.lot.part).unlike
    assert take(bag).counted == 40


@pytest.mark.parametrize(
    "part",
    [
        {"mass_mg": 5_025, "spread_mg": 5},
        {"mass_mg": 4_975, "spread_mg": 5},
        {"mass_mg": 6_300},
        {"mass_mg": 4_100, "spread_mg": 0},
        {"mass_mg": 10_000, "spread_mg": 100},  # two stuck together
    ],
)
def test_another_mass_is_kept_on_somebodys_word_only(part: dict[str, int]) -> None:
    bag = make_bag(**part)
    with pytest.raises(Refused) as caught:
        take(bag)
    known = counts.weighing.grams(part["mass_mg"])
    assert_refused(caught.value, "piece_mass_differs", part="Visor", known=known)
    assert Count.objects.count() == 0
    assert take(bag, other_mass=True).counted == 40


def test_a_word_on_the_mass_is_none_on_the_count() -> None:
    bag = make_bag(mass_mg=10_000, spread_mg=5)
    rough = Weighing(**{**vars(WEIGHED), "spread_mg": 2_000})
    with pytest.raises(Refused) as caught:
        counts.count_by_weight(
            bag_id=bag.pk, weighed=rough, reason="x", other_mass=True, sign=sign()
        )
    assert_refused(caught.value, "count_not_trusted")


# -- The page -----------------------------------------------------------------------


@pytest.fixture
def heavy() -> Bag:
    """A bag of a part that weighs twice as much as what lies on the scale."""
    return make_bag(mass_mg=10_000, spread_mg=100)


@pytest.fixture
def checker(client_for: Any) -> Client:
    client: Client = client_for(factories.make_person("checker"))
    return client


def post(client: Client, bag: Bag, **changes: str) -> Any:
    values = {
        "op_key": str(uuid.uuid4()),
        "moves": bag.moves,
        "gross": "250",
        "tare": "50",
        "reference_pieces": "40",
        "reference": "200",
        "spread": "0.005",
        "scale_u": "0.02",
        "other_mass": "False",
        **changes,
    }
    return client.post(reverse("kitting:bag-weigh", args=[bag.number]), values)


@pytest.mark.smoke
def test_the_page_asks_before_the_count_is_kept(heavy: Bag, checker: Client) -> None:
    page = checker.get(reverse("kitting:bag-weigh", args=[heavy.number]))
    assert TICK not in page.content.decode()
    worked_out = post(checker, heavy, work_out="1").content.decode()
    assert TICK in worked_out
    assert "9.5999 to 10.4001 g would be expected" in worked_out
    response = post(checker, heavy, take="1")
    assert_problem(response, "piece_mass_differs")
    assert TICK in response.content.decode()
    assert Count.objects.count() == 0
    assert post(checker, heavy, take="1", other_mass="on").status_code == 302
    assert heavy.counts.get().counted == 40


def test_the_question_stays_while_something_else_is_wrong(
    heavy: Bag, checker: Client
) -> None:
    response = post(checker, heavy, take="1", other_mass="on", gross="255", reason="")
    assert_problem(response, "reason_missing")
    text = response.content.decode()
    assert 'type="checkbox" name="other_mass"' in text
    assert "checked" in text


def test_the_right_pieces_are_not_asked_about(checker: Client) -> None:
    bag = make_bag(mass_mg=5_000, spread_mg=50)
    assert TICK not in post(checker, bag, work_out="1").content.decode()
    assert post(checker, bag, take="1").status_code == 302
