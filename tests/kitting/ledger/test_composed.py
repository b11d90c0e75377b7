"""What a proof composes once is read as Django reads it, and asked anew each time."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from django.db.models import Exists, OuterRef, QuerySet

from kitting.ledger.proof.streams import Composed, Ids, composed, only, rows
from kitting.models import Bag, Lot, Operation
from tests import factories

pytestmark = pytest.mark.django_db


@composed
def _asked(ids: Ids = None) -> Iterator[QuerySet[Any, Any]]:
    bags = Bag.objects.filter(lot=OuterRef("pk"))
    lots = only(Lot.objects.order_by("pk"), "pk", ids).annotate(some=Exists(bags))
    yield lots.values_list("pk", "some", "use_by")
    yield Operation.objects.order_by("pk").values_list("pk", "at")
    # What it is sorted by comes behind what is asked for.
    yield Lot.objects.order_by("-number").values_list("source").distinct()


def test_rows_are_those_that_django_reads() -> None:
    factories.make_lot()
    factories.make_lot(source="Another")
    found = _asked(None)
    assert all(isinstance(each, Composed) for each in found)
    lot = Lot.objects.latest("pk")
    known = list(_asked([lot.pk]))
    assert [list(rows(each)) for each in found[1:]] == [
        list(each) for each in known[1:]
    ]
    both, one = list(rows(found[0])), list(rows(known[0]))
    assert len(both) == 2
    assert both[-1:] == one == [(lot.pk, True, lot.use_by)]
    assert both[0][1] is True


def test_they_are_asked_anew_and_composed_once() -> None:
    factories.make_lot()
    before = _asked(None)
    assert len(list(rows(before[0]))) == 1
    factories.make_lot()
    assert _asked(None) is before
    assert len(list(rows(before[0]))) == 2
