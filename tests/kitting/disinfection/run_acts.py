"""Acts on runs that several tests need, and what it means to be refused."""

from __future__ import annotations

import pytest

from kitting.disinfection.services import runs
from kitting.domain.errors import LotwardError
from kitting.lots.services import lots
from kitting.models import Bag, Movement, Operation, Run
from tests import factories
from tests.assertions import assert_refused
from tests.factories import sign


def accepted_bags(count: int = 1, revision=None, **bag) -> list[Bag]:
    lot = factories.make_lot(
        revision or factories.make_revision(),
        bags=tuple(lots.NewBag(pieces=100, **bag) for _ in range(count)),
    )
    return list(factories.accept(lot).bags.order_by("pk"))


def fresh(bag: Bag) -> Bag:
    bag.refresh_from_db()
    return bag


def assert_refuses(
    code: str, kind: type[LotwardError], act, /, **values
) -> LotwardError:
    """The act is refused with this code, and nothing of it stays."""
    before = Operation.objects.count(), Movement.objects.count()
    with pytest.raises(kind) as caught:
        act(**values)
    assert type(caught.value) is kind
    assert_refused(caught.value, code)
    assert (Operation.objects.count(), Movement.objects.count()) == before
    return caught.value


def put_on(run: Run, bag: Bag, **changes) -> runs.OnLine:
    return runs.put_on(run_id=run.pk, bag_id=bag.pk, sign=sign(**changes))


def take_off(run: Run, bag: Bag, *, short: bool = False, **changes) -> runs.OnLine:
    changes.setdefault("now", factories.after_passes(run))
    return runs.take_off(
        run_id=run.pk, bag_id=bag.pk, short=short, sign=sign(**changes)
    )
