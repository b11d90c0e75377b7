"""Rows written in advance: what goes in and what is hashed are those of a row of Django."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import pytest

from kitting.ledger import seals
from kitting.ledger.canon import written
from kitting.ledger.operations import Act, perform
from kitting.ledger.reach import fold
from kitting.ledger.stencils import Stencil
from kitting.lots.steps.bags import new_bag
from kitting.models import Bag, Lot, Movement, RowSeal
from tests import factories
from tests.factories import sign

pytestmark = pytest.mark.django_db

SOURCE = 'Bench "7 %s" \\ {n} %d – Ärmel'


@dataclass(frozen=True)
class Done:
    """What was filled in."""

    lot: int
    bags: list[int]


def lot_row(source: str = SOURCE) -> Lot:
    revision = factories.make_revision()
    return Lot(
        source=source,
        source_key=fold(source),
        part=revision.part,
        revision=revision,
        made_on=factories.TODAY,
    )


def fill(act: Act, *, count: int = 2, change: bool = False) -> Done:
    (lot,) = act.fill([(seals.stencil(lot_row(), "number"), ("L/1",))])
    bag = Bag(container="tote", place=factories.make_place("shelf"), pieces=12)
    (received, *_) = new_bag(bag, factories.make_part())
    new = seals.stencil(bag, "lot_id", "number")
    ids = act.fill([(new, (lot, f'B"{n}')) for n in range(count)])
    movement = Stencil(received, "id", "operation_id", "bag_id", "lot_id")
    act.fill([(movement, (pk, lot)) for pk in ids])
    if change:
        Bag.objects.filter(pk=ids[0]).update(container="roll")
    return Done(lot, list(ids))


def do(**options: Any) -> tuple[Done, list[Act]]:
    acts = []

    def work(act: Act) -> Done:
        acts.append(act)
        return fill(act, **options)

    return perform("filling", work, Done, sign()), acts


def seal_of(table: str, pk: int) -> str:
    return str(RowSeal.objects.get(of=table, row=pk).text)


def copied(row: Lot | Bag) -> str:
    names = seals.sealed_columns(type(row))
    return seals.copy(names, [getattr(row, name) for name in names])


@pytest.mark.parametrize("count", [2, 60])
def test_what_was_filled_in_is_hashed_as_it_is_read_back(count: int) -> None:
    factories.seal_set_up()
    done, (act,) = do(count=count)
    lot = Lot.objects.get(pk=done.lot)
    assert (lot.number, lot.source, lot.stage) == ("L/1", SOURCE, "open")
    assert seal_of("kitting_lot", lot.pk) == copied(lot)
    bags = Bag.objects.in_bulk(done.bags)
    assert len(bags) == count
    for bag in bags.values():
        assert (bag.pieces, bag.stage, bag.moves) == (12, "arrived", 1)
        assert seal_of("kitting_bag", bag.pk) == copied(bag)
    hashed = {(label, pk): text for label, pk, text in act.entries}
    for row in Movement.objects.filter(bag__in=done.bags):
        assert (row.lot_id, row.operation_id) == (lot.pk, act.operation.pk)
        assert hashed["kitting.movement", row.pk] == written(row)
    assert factories.prove() == []


def test_a_row_that_the_act_changes_later_is_sealed_as_it_stands() -> None:
    factories.seal_set_up()
    done, _acts = do(change=True)
    first = Bag.objects.get(pk=done.bags[0])
    assert first.container == "roll"
    assert seal_of("kitting_bag", first.pk) == copied(first)
    assert '"roll"' in seal_of("kitting_bag", first.pk)
    assert factories.prove() == []
