"""What a count finds in a cleared bag beyond its record: scrapped, or confirmed."""

from __future__ import annotations

import pytest
from django.test import Client

from dispatch.trace.balance import balance_of
from kitting.lots.services import lots
from kitting.models import Bag, Count, Link, User, Workshop
from kitting.people.services.passwords import (
    choose_password,
    give_password,
    given_password,
)
from tests import factories
from tests.assertions import assert_problem, text_of
from tests.factories import sign
from tests.kitting.lots.test_bag_pages import (
    ClientFor,
    at,
    count_values,
    weigh_values,
)
from tests.kitting.lots.test_counts import assert_refusal, count

pytestmark = pytest.mark.django_db


@pytest.fixture
def bag() -> Bag:
    return factories.make_bag(pieces=18, name="Visor", mass_mg=5_000)


@pytest.fixture
def checker() -> User:
    return factories.make_person("checker")


@pytest.fixture
def packer(client_for: ClientFor) -> Client:
    return client_for(factories.make_person("packer"))


@pytest.mark.smoke
@pytest.mark.parametrize(("left", "stage"), [(18, "cleared"), (0, "used_up")])
def test_what_is_found_in_a_cleared_bag_is_scrapped_at_once(
    left: int, stage: str, bag: Bag
) -> None:
    count(bag, left)
    done = count(bag, left + 3, found="scrapped")
    kinds = bag.movements.order_by("-nth").values_list("kind", "delta", "reason")
    assert list(kinds[:2]) == [
        ("scrapped", -3, "Two lay under the flap"),
        ("found", 3, "Two lay under the flap"),
    ]
    assert (bag.pieces, bag.stage, done.scrapped) == (left, stage, 3)
    assert (done.difference, bag.counts.latest("pk").counted) == (3, left + 3)
    assert balance_of(bag.lot).difference == 0
    assert factories.prove() == []


def test_counting_clears_nothing(bag: Bag) -> None:
    error = assert_refusal(bag, 21, "found_undecided")
    assert error.params == {"bag": bag.number, "pieces": 3}
    packer = factories.make_person("packer")
    checker = factories.make_person("checker")
    gone = factories.make_person("checker")
    gone.is_active = False
    gone.save()
    for said in (None, 0, packer.pk, gone.pk):
        word = {"found": "kept", "checker_id": said}
        assert_refusal(bag, 21, "found_needs_a_checker", **word)
    word = {"found": "kept", "checker_id": checker.pk}
    assert_refusal(bag, 21, "found_own", sign=sign(checker), **word)
    Workshop.objects.update(two_people=False)
    assert count(bag, 21, sign=sign(checker), **word).difference == 3


def test_what_is_found_elsewhere_is_nobodys_to_confirm() -> None:
    lot = factories.make_lot(bags=(lots.NewBag(5),))
    bag = lot.bags.get()
    assert count(bag, 7).difference == 2
    assert bag.counts.get().confirmed_by is None
    assert factories.prove() == []


# -- On the page ----------------------------------------------------------------------


@pytest.mark.smoke
def test_what_becomes_of_found_pieces_is_asked_where_there_are_some(
    bag: Bag, packer: Client
) -> None:
    assert 'name="found"' not in text_of(packer.get(at("count", bag)))
    response = packer.post(at("count", bag), count_values(bag, counted="518"))
    assert_problem(response, "found_undecided")
    page = text_of(response)
    assert "holds 500 more than on record" in page
    assert 'name="found"' in page
    assert " checked" not in page.split('name="found"', 1)[1]
    assert Count.objects.count() == 0


def test_a_packer_scraps_what_was_found(bag: Bag, packer: Client) -> None:
    values = count_values(bag, counted="20", found="scrapped")
    for _ in range(2):
        assert packer.post(at("count", bag), values).status_code == 302
    bag.refresh_from_db()
    assert (bag.pieces, bag.stage) == (18, "cleared")
    page = text_of(packer.get(at("detail", bag)))
    assert "Found in it and scrapped: 2." in page


@pytest.mark.smoke
def test_a_checker_confirms_beside_the_packer_what_stays(
    bag: Bag, packer: Client, checker: User
) -> None:
    word = {"found": "kept", "checker": checker.pk, "checker_password": "pass"}
    values = count_values(bag, counted="20", **word)
    for _ in range(2):
        assert packer.post(at("count", bag), values).status_code == 302
    bag.refresh_from_db()
    assert (bag.pieces, bag.stage) == (20, "cleared")
    assert bag.counts.get().confirmed_by == checker
    assert "pass" not in Link.objects.latest("pk").outcome
    assert factories.prove() == []


def test_the_word_counts_for_weighing_too(
    bag: Bag, packer: Client, checker: User
) -> None:
    values = weigh_values(bag, take="1")  # 40 pieces
    response = packer.post(at("weigh", bag), values)
    assert_problem(response, "found_undecided")
    word = {"found": "kept", "checker": checker.pk, "checker_password": "pass"}
    response = packer.post(at("weigh", bag), weigh_values(bag, take="1", **word))
    assert response.status_code == 302
    assert bag.counts.get().confirmed_by == checker


@pytest.mark.smoke
@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"found": ""}, "found_undecided"),
        ({"found": "eaten"}, "invalid_choice"),
        ({"checker_password": "wrong"}, "password_wrong"),
        ({"checker_password": ""}, "required"),
        ({"checker": ""}, "required"),
        ({"checker": "999999"}, "invalid_choice"),
    ],
)
def test_nothing_stays_without_a_checkers_word(
    changes: dict[str, str], code: str, bag: Bag, packer: Client, checker: User
) -> None:
    word = {"found": "kept", "checker": checker.pk, "checker_password": "pass"}
    values = count_values(bag, counted="20", **{**word, **changes})
    assert_problem(packer.post(at("count", bag), values), code)
    assert Count.objects.count() == 0


def test_a_password_that_a_manager_gave_is_no_checkers_word(
    bag: Bag, packer: Client, checker: User
) -> None:
    """Else whoever gave it could be both of the two people."""
    act = factories.sign_by_another()
    give_password(user_id=checker.pk, sign=act)
    given = given_password(act.key)
    word = {"found": "kept", "checker": checker.pk, "checker_password": given}
    values = count_values(bag, counted="20", **word)
    assert_problem(packer.post(at("count", bag), values), "password_not_chosen")
    choose_password(user_id=checker.pk, password="five paper kites", sign=sign())
    values = values | {"checker_password": "five paper kites"}
    assert packer.post(at("count", bag), values).status_code == 302


def test_nobody_is_offered_as_their_own_checker(
    bag: Bag, checker: User, client_for: ClientFor
) -> None:
    values = count_values(bag, counted="20", found="")
    form = client_for(checker).post(at("count", bag), values).context["form"]
    assert checker not in form.fields["checker"].queryset
    packer = factories.make_person("packer")
    form = client_for(packer).post(at("count", bag), values).context["form"]
    assert list(form.fields["checker"].queryset.filter(pk__in=[checker.pk, packer.pk]))
