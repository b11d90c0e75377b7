"""How far a hold reaches through materials and spellings, and what it must say."""

from __future__ import annotations

from itertools import permutations, product
from random import Random

import pytest
from django.db import transaction

from kitting.disinfection.services.verdicts import close_run
from kitting.domain.errors import LotwardError, Missing, OnHold, Refused
from kitting.ledger import holds
from kitting.ledger.reach import Reach, reach_of, standing_reach
from kitting.lots.services import lots
from kitting.models import Bag, Hold, Lot, LotOrigin, Operation
from kitting.packing.services import boxes
from tests import factories
from tests.assertions import assert_refused
from tests.factories import sign, sign_by_another
from tests.ledgers import History

pytestmark = pytest.mark.django_db


def place(target: str, value: int | str, reason: str = "Doubt") -> Reach:
    holds.place_hold(target=target, value=value, reason=reason, sign=sign())
    return standing_reach()


def free_revision():
    return factories.make_revision(
        factories.make_part(needs_check=False, needs_clearing=False)
    )


def made_from(material: Lot, amount: int = 50) -> Lot:
    return factories.make_lot(free_revision(), made_from=((material.pk, amount),))


def two_bags() -> Lot:
    return factories.make_lot(
        free_revision(), bags=(lots.NewBag(100), lots.NewBag(100))
    )


def test_a_hold_on_a_bag_of_material_reaches_what_was_made_from_that_bag() -> None:
    material = two_bags()
    early, late = made_from(material, 100), made_from(material, 60)
    grandchild = made_from(early)
    first, second = material.bags.order_by("pk")
    reach = place("bag", first.pk)
    assert reach.lots == {early.pk, grandchild.pk}
    assert late.pk in place("bag", second.pk).lots


def test_descendants_are_the_transitive_closure() -> None:
    ids = [factories.make_lot(close=False).pk for _ in range(8)]
    operation = Operation.objects.earliest("pk")
    draw = Random(8)
    for _ in range(25):
        # A lot is made from earlier and later ones here: circles must end as well.
        pairs = draw.sample(list(permutations(ids, 2)), draw.randint(1, 14))
        made = set(pairs)
        for middle, late, early in product(ids, repeat=3):  # Warshall
            if (late, middle) in made and (middle, early) in made:
                made.add((late, early))
        start = set(draw.sample(ids, draw.randint(1, 3)))
        with transaction.atomic():
            LotOrigin.objects.bulk_create(
                LotOrigin(lot_id=late, from_lot_id=early, amount=1, operation=operation)
                for late, early in pairs
            )
            found = reach_of((), ("lot", start)).beside
            transaction.set_rollback(True)
        assert found == start | {late for late, early in made if early in start}


def test_the_bags_of_such_a_lot_are_not_packed() -> None:
    material = two_bags()
    made = made_from(material, 100)
    size = factories.make_size(factories.make_recipe([(made.revision, 1, "set")]))
    box = factories.make_open_box(size)
    place("bag", material.bags.order_by("pk")[0].pk, "Smells burnt")
    with pytest.raises(OnHold) as caught:
        boxes.bring_bag(bench_id=box.bench_id, bag_id=made.bags.get().pk, sign=sign())
    assert caught.value.params["reason"] == "Smells burnt"


def cleared_material() -> Bag:
    part = factories.make_part(needs_check=False, needs_clearing=True)
    bag = factories.make_lot(factories.make_revision(part)).bags.get()
    run = factories.open_run(factories.make_protocol(bag.lot.revision))
    factories.expose(run, bag)
    close_run(
        run_id=run.pk,
        readings=[(1, "top", 4_000)],
        sign=sign(now=factories.after_passes(run)),
    )
    bag.refresh_from_db()
    return bag


@pytest.mark.parametrize("target", ["run", "protocol"])
def test_a_hold_on_what_cleared_a_material_reaches_what_was_made_from_it(
    target: str,
) -> None:
    bag, other = cleared_material(), cleared_material()
    made, apart = made_from(bag.lot), made_from(other.lot)
    run = bag.cleared_run
    assert run is not None
    reach = place(target, run.pk if target == "run" else run.protocol_id)
    assert reach.lots == {made.pk}
    assert apart.pk not in reach.lots


def test_a_hold_on_a_source_reaches_every_spelling_of_its_name() -> None:
    spelt = ["Ridge plant", "ridge  Plant", "RIDGE PLANT", "Straße", "STRASSE", "Ridge"]
    made = {name: factories.make_lot(source=name) for name in spelt}
    assert place("source", "ridge plant").lots == {made[n].pk for n in spelt[:3]}
    # Unicode, full case folding: ß folds to ss.
    both = {made["Straße"].pk, made["STRASSE"].pk}
    assert place("source", "Straße").lots >= both


def test_a_hold_on_a_source_that_nothing_came_from_is_a_slip() -> None:
    factories.make_lot(source="Ridge plant")
    for slip in ("Rigde plant", "", " ", "x" * 61):
        with pytest.raises(Missing) as caught:
            place("source", slip)
        assert_refused(caught.value, "row_missing", what="source")
    assert not Hold.objects.exists()


@pytest.mark.parametrize(
    ("reason", "code"), [(" ", "reason_missing"), ("x" * 201, "entry_too_long")]
)
def test_a_reason_that_does_not_fit_is_refused(reason: str, code: str) -> None:
    lot = factories.make_lot()
    with pytest.raises(Refused) as caught:
        place("lot", lot.pk, reason)
    assert caught.value.code == code
    held = holds.place_hold(target="lot", value=lot.pk, reason="x" * 200, sign=sign())
    with pytest.raises(Refused) as caught:
        holds.lift_hold(hold_id=held.hold_id, reason=reason, sign=sign_by_another())
    assert caught.value.code == code


@pytest.mark.parametrize("value", [2**70, -1, 0])
def test_a_hold_on_a_row_that_is_not_there_is_refused(value: int) -> None:
    with pytest.raises(LotwardError) as caught:
        place("lot", value)
    assert caught.value.code == "row_missing"


@pytest.mark.django_db
def test_held_bags_are_the_same_as_a_filter_and_one_by_one(history: History) -> None:
    for target, row in (("run", history.released), ("lot", history.visor_lot)):
        holds.place_hold(target=target, value=row.pk, reason="Doubt", sign=sign())
    one = factories.make_bag()
    holds.place_hold(target="bag", value=one.pk, reason="Doubt", sign=sign())
    reach = standing_reach()
    held = {bag.pk for bag in Bag.objects.all() if reach.bag(bag)}
    assert set(Bag.objects.filter(reach.of_bags).values_list("pk", flat=True)) == held
    free = Bag.objects.exclude(reach.of_bags)
    assert set(free.values_list("pk", flat=True)).isdisjoint(held)
    assert len(held) + free.count() == Bag.objects.count()
    assert 3 <= len(held) < Bag.objects.count()
