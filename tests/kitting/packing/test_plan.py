"""How many boxes are wanted on a day: said by a manager, seen beside what is packed."""

from __future__ import annotations

import uuid
from datetime import date, timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from kitting.domain.errors import Conflict, LotwardError, Missing, OperationKeyReused
from kitting.models import BoxSize, Operation, PackPlan, Recipe
from kitting.packing.queries.plan import MOST, mark_of_plan, plan_of
from kitting.packing.services.plan import plan_day
from kitting.packing.services.voiding import void_box
from tests import factories
from tests.assertions import assert_page, assert_sent_to_sign_in, text_of
from tests.benches import Packing, make_packing
from tests.databases import once_a_module
from tests.factories import TODAY, sign

pytestmark = pytest.mark.django_db

PAGE = reverse("kitting:pack-plan")


@pytest.fixture(autouse=True)
def _today(monkeypatch: pytest.MonkeyPatch) -> None:
    later = factories.NOW + timedelta(minutes=15)
    monkeypatch.setattr(timezone, "now", lambda: later)


@once_a_module
def at() -> Packing:
    return make_packing()


@pytest.fixture
def manager(make_user: Any, client_for: Any) -> Client:
    return client_for(make_user("manager", group="manager"))  # type: ignore[no-any-return]


def plan(wanted: dict[int, int], day: date = TODAY, **more: Any) -> None:
    plan_day(day=day, wanted=wanted, sign=sign(), **more)


def refused(wanted: dict[int, int], day: date = TODAY, **more: Any) -> LotwardError:
    before = list(PackPlan.objects.values()), Operation.objects.count()
    with pytest.raises(LotwardError) as caught:
        plan(wanted, day, **more)
    assert (list(PackPlan.objects.values()), Operation.objects.count()) == before
    return caught.value


def of(day: date = TODAY) -> dict[int, tuple[int, int, int]]:
    """What is wanted, packed and still to be packed, by sets."""
    return {
        row.size.sets: (row.wanted, row.packed, row.to_pack) for row in plan_of(day)
    }


def test_without_a_plan_every_size_is_there_and_none_is_wanted(at) -> None:
    factories.make_size(at.recipe, 24)
    assert of() == {6: (0, 0, 0), 24: (0, 0, 0)}


@pytest.mark.smoke
def test_what_is_packed_at_any_bench_counts_towards_the_plan(at) -> None:
    large = factories.make_size(at.recipe, 24)
    plan({at.size.pk: 3, large.pk: 1})
    factories.make_labelled_box(at.size, at.bench)
    factories.make_labelled_box(at.size, factories.make_bench())
    assert of() == {6: (3, 2, 1), 24: (1, 0, 1)}
    factories.make_labelled_box(at.size, at.bench)  # it is met
    assert of()[6] == (3, 3, 0)
    factories.make_labelled_box(at.size, at.bench)  # more than is wanted
    assert of()[6] == (3, 4, 0)
    assert factories.prove() == []


def test_a_voided_box_is_to_be_packed_again(at) -> None:
    plan({at.size.pk: 2})
    box = factories.make_labelled_box(at.size, at.bench)
    assert of()[6] == (2, 1, 1)
    void_box(box_id=box.pk, reason="Crushed", label=str(box.serial), sign=sign())
    assert of()[6] == (2, 0, 2)


def test_the_plan_of_one_day_is_not_that_of_another(at) -> None:
    tomorrow = TODAY + timedelta(days=1)
    plan({at.size.pk: 3})
    plan({at.size.pk: 5}, tomorrow)
    factories.make_labelled_box(at.size, at.bench)
    assert of() == {6: (3, 1, 2)}
    assert of(tomorrow) == {6: (5, 0, 5)}
    assert of(TODAY - timedelta(days=1)) == {6: (0, 0, 0)}


def test_a_plan_is_all_that_is_wanted_on_the_day(at) -> None:
    large = factories.make_size(at.recipe, 24)
    plan({at.size.pk: 3, large.pk: 1})
    kept = PackPlan.objects.get(size=large)
    plan({at.size.pk: 4, large.pk: 1})
    plan({large.pk: 1, at.size.pk: 0})
    assert list(PackPlan.objects.all()) == [kept]
    plan({})
    assert not PackPlan.objects.exists()
    assert factories.prove() == []


def test_what_cannot_be_planned_is_refused(at) -> None:
    plan({at.size.pk: 3})
    yesterday = TODAY - timedelta(days=1)
    assert refused({at.size.pk: 3}, yesterday).code == "plan_day_over"
    for many in (-1, MOST + 1):
        error = refused({at.size.pk: many})
        assert (error.code, error.params["read"]) == ("plan_out_of_range", many)
    assert isinstance(refused({at.size.pk: 3, 0: 1}), Missing)


def test_a_closed_size_is_not_planned_but_may_stay_or_go(at) -> None:
    plan({at.size.pk: 3})
    BoxSize.objects.update(active=False)
    assert of() == {6: (3, 0, 3)}  # it is still said, so that somebody sees it
    assert refused({at.size.pk: 4}).code == "size_closed"
    plan({at.size.pk: 3})
    plan({at.size.pk: 2})
    plan({})
    assert of() == {}
    assert refused({at.size.pk: 1}).code == "size_closed"


def test_a_plan_that_somebody_else_changed_is_looked_at_again(at) -> None:
    first = mark_of_plan({})
    plan({at.size.pk: 3}, seen=first)
    assert isinstance(refused({at.size.pk: 9}, seen=first), Conflict)
    plan({at.size.pk: 9}, seen=mark_of_plan({at.size.pk: 3}))
    assert PackPlan.objects.get().boxes == 9


def test_the_same_key_plans_once(at) -> None:
    key = uuid.uuid4()
    for _ in range(2):
        done = plan_day(day=TODAY, wanted={at.size.pk: 3}, sign=sign(key=key))
        assert (done.day, done.boxes) == (TODAY.isoformat(), 3)
    assert Operation.objects.filter(name="plan_day").count() == 1
    with pytest.raises(OperationKeyReused):
        plan_day(day=TODAY, wanted={at.size.pk: 4}, sign=sign(key=key))


# -- The page -----------------------------------------------------------------------


def sent(at: Packing, boxes: object, **more: Any) -> dict[str, Any]:
    plain = {"day": TODAY.isoformat(), "seen": mark_of_plan({})}
    size = {f"size_{at.size.pk}": boxes}
    return {"op_key": str(uuid.uuid4()), **plain, **size, **more}


@pytest.mark.parametrize("role", ["packer", "checker", "clerk", "quality officer"])
def test_only_managers_plan(role: str, at, make_user, client_for, outsider) -> None:
    other = client_for(make_user("other", group=role))
    assert_sent_to_sign_in(Client().get(PAGE))
    assert client_for(outsider).get(PAGE).status_code == 403
    assert other.get(PAGE).status_code == 403
    assert other.post(PAGE, sent(at, 3)).status_code == 403
    assert not PackPlan.objects.exists()


@pytest.mark.smoke
def test_a_manager_says_what_is_wanted(
    at, manager: Client, django_assert_max_num_queries: Any
) -> None:
    assert "Plan the day" in text_of(manager.get(reverse("kitting:benches")))
    with django_assert_max_num_queries(15):
        empty = manager.get(PAGE)
    assert_page(empty)
    assert "nothing is planned" in text_of(empty)
    once = sent(at, 3)
    for _ in range(2):
        answer = manager.post(PAGE, once)
        assert answer["Location"] == f"{PAGE}?day={TODAY.isoformat()}"
    assert PackPlan.objects.get().boxes == 3
    factories.make_labelled_box(at.size, at.bench)
    shown = text_of(manager.get(PAGE))
    assert "3 boxes are wanted; still to pack: 2." in shown
    assert "Packed so far: 1." in shown


def test_what_is_wrong_is_said_and_nothing_is_kept(at, manager: Client) -> None:
    for changes, words in (
        ({f"size_{at.size.pk}": "-1"}, "0"),
        ({f"size_{at.size.pk}": "many"}, "boxes of 6"),
        ({"day": "yesterday"}, "the day"),
        ({"day": (TODAY - timedelta(days=1)).isoformat()}, "is over"),
    ):
        response = manager.post(PAGE, sent(at, 3) | changes)
        assert response.status_code == 422
        assert words in text_of(response)
    plan({at.size.pk: 5})
    old = manager.post(PAGE, sent(at, 3))
    assert old.status_code == 409
    assert PackPlan.objects.get().boxes == 5


def test_a_day_that_is_over_is_shown_and_not_changed(at, manager: Client) -> None:
    plan({at.size.pk: 3})
    tomorrow = TODAY + timedelta(days=1)
    PackPlan.objects.update(day=TODAY - timedelta(days=1))
    shown = manager.get(f"{PAGE}?day={TODAY - timedelta(days=1)}")
    assert "3 boxes were wanted; not packed: 3." in text_of(shown)
    assert "Set the plan" not in text_of(shown)
    assert "nothing is planned" in text_of(manager.get(f"{PAGE}?day={tomorrow}"))
    assert "nothing is planned" in text_of(manager.get(f"{PAGE}?day=never"))


def test_without_a_product_there_is_nothing_to_plan(at, manager: Client) -> None:
    Recipe.objects.update(in_force=False)
    shown = text_of(manager.get(PAGE))
    assert "nothing to plan" in shown
    assert "Set the plan" not in shown
