"""Two people bring the same thing in at the same moment, or one as its hold is lifted."""

from __future__ import annotations

from functools import partial
from typing import Any

import pytest
from django.db import connection

from dispatch.models import Case, Sought
from dispatch.recall import services
from kitting.domain.errors import LotwardError
from kitting.ledger import holds, locking
from kitting.models import Bag, Box, Hold
from kitting.models.catalogue import PlaceKind
from tests import factories
from tests.concurrency.threads import Results, at_once, meeting
from tests.factories import sign, sign_by_another

pytestmark = pytest.mark.django_db(transaction=True)

control = pytest.mark.skipif(
    connection.vendor == "sqlite",
    reason="SQLite lets one writer in at a time: the race cannot happen there",
)


def a_case(thing: Box | Bag, kind: str) -> str:
    said = {"hazard": "It cracks", "reason": "A ward called"}
    return services.open_case(scope=[(kind, thing.pk)], **said, sign=sign()).case


def bring(case: str, thing: Box | Bag, kind: str) -> Any:
    """Bring it in, each time to a quarantine of its own."""
    return partial(
        services.bring_in,
        number=case,
        kind=kind,
        thing_id=thing.pk,
        place_id=factories.make_place(PlaceKind.QUARANTINE).pk,
        sign=sign(),
    )


def both(kind: str) -> Results:
    thing = factories.make_labelled_box() if kind == "box" else factories.make_bag()
    case = a_case(thing, kind)
    return at_once([bring(case, thing, kind) for _ in range(2)])


@pytest.mark.parametrize("kind", ["box", "bag"])
def test_what_two_bring_in_at_once_moves_once(kind: str) -> None:
    found = both(kind)
    assert found.errors == []
    assert sorted(each.moved for each in found.values) == [False, True]
    assert len({each.place for each in found.values}) == 1
    assert Sought.objects.count() == 1
    assert factories.prove() == []


@control
@pytest.mark.parametrize("kind", ["box", "bag"])
def test_without_gate_and_lock_both_would_move_it(
    kind: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    meet = meeting(2)

    def unlocked(case: Case, kind: str, thing_id: int) -> Box | Bag:
        rows: Any = Box.objects if kind == "box" else Bag.objects
        found = rows.select_related("place").get(pk=thing_id)
        meet()
        thing: Box | Bag = found
        return thing

    monkeypatch.setattr(locking, "shut_gate", lambda: None)
    monkeypatch.setattr(services, "lock_of_case", unlocked)
    found = both(kind)
    # The second writes over the first, or stumbles over its event.
    assert found.errors or [each.moved for each in found.values] == [True, True]


def test_a_hold_lifted_as_its_box_is_brought_in_leaves_it_in_one_place() -> None:
    box = factories.make_labelled_box()
    case = a_case(box, "box")
    lift = partial(
        holds.lift_hold,
        hold_id=Hold.objects.get().pk,
        reason="Sound",
        sign=sign_by_another(),
    )
    found = at_once([bring(case, box, "box"), lift])
    codes = [each.code for each in found.errors if isinstance(each, LotwardError)]
    assert codes in ([], ["not_of_case_any_more"])
    assert Sought.objects.count() == (not codes)
    assert factories.prove() == []
