from __future__ import annotations

import pytest

from kitting.models import Link, Movement, Operation
from tests import factories

pytestmark = pytest.mark.django_db


def test_accepting_a_lot_moves_its_bags_on() -> None:
    lot = factories.accept(factories.make_lot())
    bag = lot.bags.get()
    assert (lot.verdict, bag.stage, bag.pieces) == ("accepted", "accepted", 100)
    kinds = list(Movement.objects.filter(bag=bag).values_list("kind", flat=True))
    assert kinds == ["received", "accepted"]
    assert Operation.objects.count() == Link.objects.count() == 2
