"""Boxes promised to open requests: shared, moved, refused, and packed for."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from itertools import permutations
from typing import Any

import pytest

from dispatch.allotment.services import release_promise
from dispatch.domain.proposal import Chosen, Move, Term
from dispatch.models import (
    Allotment,
    AllotmentLine,
    AllotmentSize,
    Consignee,
    Promise,
    Return,
)
from dispatch.receipts.services.passing import pass_on
from dispatch.receipts.services.returns import record_return, undo_return
from kitting.domain.errors import Conflict, LotwardError, Missing, OperationKeyReused
from kitting.domain.prints import DESTROYED
from kitting.ledger.guards import drop_guards
from kitting.models import Box, BoxSize, Operation, PackPlan, Product
from kitting.models.catalogue import PlaceKind
from kitting.packing.services.voiding import void_box
from tests import factories
from tests.assertions import assert_refused
from tests.databases import once_a_module
from tests.dispatch.allotment.allotting import (
    ask,
    confirm,
    facts,
    load,
    pack,
    promised,
)
from tests.factories import sign, sign_by_another

pytestmark = pytest.mark.django_db


@once_a_module
def boxes() -> list[Box]:
    """Four boxes of six, ready to go."""
    first = factories.make_labelled_box()
    return [first, *pack(first.size, 3)]


@pytest.fixture
def product(boxes: list[Box]) -> Product:
    return boxes[0].size.product


@pytest.fixture
def size(boxes: list[Box]) -> BoxSize:
    return boxes[0].size


@once_a_module
def hill() -> Consignee:
    return factories.make_consignee("Hill")


@once_a_module
def dale() -> Consignee:
    return factories.make_consignee("Dale")


def refused(
    product: Product, chosen: Chosen | None = None, **more: Any
) -> LotwardError:
    before = Operation.objects.count()
    with pytest.raises(LotwardError) as caught:
        confirm(product, chosen, **more)
    assert Operation.objects.count() == before
    assert not PackPlan.objects.exists()
    return caught.value


# -- Shared ------------------------------------------------------------------------------


def test_what_is_ready_is_shared_and_kept_with_its_figures(
    product: Product, size: BoxSize, hill: Consignee, dale: Consignee
) -> None:
    large, small = ask(hill, product, 600), ask(dale, product, 10)
    done = confirm(product)
    assert (done.boxes, done.sets, done.to_pack) == (4, 24, 0)
    assert promised(product) == {large.number: {6: 2}, small.number: {6: 2}}
    row = Allotment.objects.get(number=done.allotment)
    assert (row.product, row.day, row.window) == (product, factories.TODAY, 7)
    shared = AllotmentSize.objects.get(allotment=row)
    assert (shared.size, shared.ready, shared.packing) == (size, 4, 0)
    line = AllotmentLine.objects.get(request=large)
    assert (line.code, line.asked, line.given, line.lacked) == ("share", 600, 12, 600)
    # 24 sets, of which Dale asks for no more than 10: 14 are Hill's.
    assert line.share_hundredths == 1400
    assert not PackPlan.objects.exists()
    assert factories.prove() == []


def test_what_was_received_within_the_window_counts_and_zero_counts_nothing(
    boxes: list[Box], product: Product, hill: Consignee, dale: Consignee
) -> None:
    factories.send(factories.make_shipment(boxes[0], consignee=hill))
    first, second = ask(hill, product, 60), ask(dale, product, 60)
    found = {window: facts(product, window) for window in (0, 1, 7)}
    assert [found[window].received.get(hill.code, 0) for window in (0, 1, 7)] == [
        0,
        6,
        6,
    ]
    confirm(product, Chosen(7, {}))
    # 18 sets left and 6 had: 12 for each.
    assert promised(product) == {first.number: {6: 1}, second.number: {6: 2}}
    assert factories.prove() == []


def test_what_was_passed_on_counts_for_who_has_it_now(
    boxes: list[Box], product: Product, hill: Consignee, dale: Consignee
) -> None:
    sent = factories.send(factories.make_shipment(*boxes[:2], consignee=hill))
    told = {"told_by": "Stores", "on": factories.TODAY, "note": "", "point": ""}
    of = {"shipment_id": sent.pk, "box_ids": [boxes[0].pk]}
    pass_on(**of, consignee_id=dale.pk, **told, sign=sign())
    ask(hill, product, 60)
    assert facts(product).received == {hill.code: 6, dale.code: 6}


def test_loose_sets_that_came_back_were_had_by_nobody(
    boxes: list[Box], product: Product, hill: Consignee
) -> None:
    factories.send(factories.make_shipment(boxes[0], consignee=hill))
    cage = factories.make_place(PlaceKind.QUARANTINE)
    of = {"box_id": boxes[0].pk, "opened": True, "place_id": cage.pk, "note": "Torn"}
    record_return(**of, sets=2, sign=sign())
    assert facts(product).received == {hill.code: 4}
    undo_return(return_id=Return.objects.get().pk, reason="Another", sign=sign())
    assert facts(product).received == {hill.code: 6}
    record_return(**of, sets=6, sign=sign())
    assert facts(product).received == {}


def test_asking_for_more_than_a_share_or_twice_gains_nothing(
    product: Product, hill: Consignee, dale: Consignee
) -> None:
    twice = [ask(hill, product, 300), ask(hill, product, 300)]
    once = ask(dale, product, 24)
    confirm(product)
    found = promised(product)
    assert found[once.number] == {6: 2}
    assert sum(found.get(each.number, {}).get(6, 0) for each in twice) == 2


def test_an_earlier_tier_counts_as_received_in_a_later_one(
    product: Product, hill: Consignee, dale: Consignee
) -> None:
    needy = ask(hill, product, 12, tier=1)
    ask(hill, product, 60, tier=2)
    other = ask(dale, product, 60, tier=2)
    confirm(product)
    assert promised(product) == {needy.number: {6: 2}, other.number: {6: 2}}


@pytest.mark.parametrize("order", list(permutations(range(3))))
def test_the_order_of_entry_does_not_matter(
    order: tuple[int, ...], product: Product, hill: Consignee, dale: Consignee
) -> None:
    third = factories.make_consignee("Mill")
    wanted = [(hill, 60), (dale, 18), (third, 60)]
    asked = {}
    for nth in order:
        whom, sets = wanted[nth]
        asked[whom.pk] = ask(whom, product, sets)
    confirm(product)
    found = promised(product)
    gets = {whom.code: found[asked[whom.pk].number] for whom, _sets in wanted}
    # Whole boxes: of four for three the first by code has two, whoever asked first.
    assert gets == {code: {6: 2 if code == min(gets) else 1} for code in gets}


def test_a_weight_and_a_floor_are_explained_on_the_line(
    product: Product, hill: Consignee, dale: Consignee
) -> None:
    first, second = ask(hill, product, 60), ask(dale, product, 60)
    term = Term(hill.code, 30, 0, " Three wards ")
    done = confirm(product, Chosen(7, {}, (term,)))
    assert promised(product) == {first.number: {6: 3}, second.number: {6: 1}}
    line = AllotmentLine.objects.get(request=first)
    assert (line.weight_tenths, line.floor, line.why) == (30, 0, "Three wards")
    release_promise(number=done.allotment, reason="Again", sign=sign())
    floor = Term(dale.code, 10, 24, "The only home in the valley")
    confirm(product, Chosen(7, {}, (floor,)))
    assert promised(product) == {second.number: {6: 4}}
    assert factories.prove() == []


def test_nothing_goes_to_who_is_closed_or_has_all_of_it_promised(
    product: Product, hill: Consignee, dale: Consignee
) -> None:
    ask(hill, product, 60)
    served = ask(dale, product, 6)
    Consignee.objects.filter(pk=hill.pk).update(active=False)
    assert (len(facts(product).rows), facts(product).closed) == (1, 1)
    confirm(product)
    assert promised(product) == {served.number: {6: 1}}
    assert facts(product).rows == []
    assert refused(product).code == "allot_nothing"


def test_a_second_allotment_shares_what_the_first_left(
    product: Product, hill: Consignee, dale: Consignee
) -> None:
    ask(hill, product, 12)
    confirm(product)
    later = ask(dale, product, 60)
    (row,) = facts(product).rows
    assert (row.number, row.lacks) == (later.number, 60)
    assert facts(product).received == {hill.code: 12}
    confirm(product)
    assert promised(product)[later.number] == {6: 2}
    assert factories.prove() == []


# -- Counting in what benches pack -------------------------------------------------------


def test_what_is_promised_beyond_the_ready_is_planned(
    product: Product, size: BoxSize, hill: Consignee
) -> None:
    asked = ask(hill, product, 60)
    done = confirm(product, Chosen(7, {size.pk: 3}))
    assert (done.boxes, done.to_pack) == (7, 3)
    assert promised(product) == {asked.number: {6: 7}}
    # Four of that size were packed today already.
    assert PackPlan.objects.get(day=factories.TODAY, size=size).boxes == 7
    # What is planned already is enough for one more: the plan stays.
    release_promise(number=done.allotment, reason="Again", sign=sign())
    confirm(product, Chosen(7, {size.pk: 1}))
    assert PackPlan.objects.get().boxes == 7
    assert factories.prove() == []


def test_what_is_counted_in_fills_first_what_is_promised_and_not_there(
    boxes: list[Box], product: Product, size: BoxSize, hill: Consignee
) -> None:
    first = ask(hill, product, 24)
    confirm(product)
    for box in boxes[:2]:
        void_box(box_id=box.pk, reason="Wet", label=DESTROYED, sign=sign())
    ask(factories.make_consignee(), product, 60)
    assert refused(product, Chosen(7, {size.pk: 2})).code == "allot_nothing"
    done = confirm(product, Chosen(7, {size.pk: 5}))
    assert (done.boxes, done.to_pack) == (3, 5)
    assert promised(product)[first.number] == {6: 4}
    assert factories.prove() == []


def test_a_size_that_is_closed_is_not_packed(
    product: Product, size: BoxSize, hill: Consignee
) -> None:
    factories.make_size(product.recipes.get(), 24)
    ask(hill, product, 60)
    BoxSize.objects.filter(pk=size.pk).update(active=False)
    assert refused(product, Chosen(7, {size.pk: 3})).code == "size_closed"
    assert confirm(product).boxes == 4


# -- Moved by hand -----------------------------------------------------------------------


def test_boxes_are_moved_with_a_reason_and_what_was_proposed_stays_on_record(
    product: Product, hill: Consignee, dale: Consignee
) -> None:
    first, second = ask(hill, product, 60), ask(dale, product, 60)
    moves = (Move(2, 6, first.number, second.number), Move(1, 6, second.number, ""))
    chosen = Chosen(7, {}, moves=moves)
    assert refused(product, chosen).code == "reason_missing"
    done = confirm(product, chosen, reason=" The van goes there today ")
    assert promised(product) == {second.number: {6: 3}}
    rows = Promise.objects.values_list("line__request", "proposed", "boxes")
    assert set(rows) == {(first.pk, 2, 0), (second.pk, 2, 3)}
    row = Allotment.objects.get(number=done.allotment)
    assert row.reason == "The van goes there today"
    assert factories.prove() == []


def test_moves_that_cannot_be_are_refused(
    product: Product, hill: Consignee, dale: Consignee
) -> None:
    first, second = ask(hill, product, 60), ask(dale, product, 10)

    def code(*moves: Move) -> str:
        return refused(product, Chosen(7, {}, moves=moves), reason="So").code

    assert code(Move(3, 6, first.number, second.number)) == "move_too_many"
    assert code(Move(1, 24, first.number, "")) == "move_too_many"
    assert code(Move(1, 6, first.number, second.number)) == "move_beyond_asked"
    assert code(Move(1, 6, first.number, "Q1000001X")) == "move_unknown"
    assert code(Move(0, 6, first.number, "")) == "move_too_many"


SLIPS: list[tuple[Callable[[Chosen, str], Chosen], str]] = [
    (lambda chosen, who: replace(chosen, window=-1), "window_unknown"),
    (lambda chosen, who: replace(chosen, window=366), "window_unknown"),
    (lambda chosen, who: replace(chosen, packing={0: 1}), "packing_unknown"),
    (
        lambda chosen, who: replace(chosen, terms=(Term("NOBODY", 20, 0, "So"),)),
        "term_unknown",
    ),
    (
        lambda chosen, who: replace(chosen, terms=(Term(who, 20, 0, " "),)),
        "term_unexplained",
    ),
    (lambda chosen, who: replace(chosen, terms=(Term(who, 0, 0, "So"),)), "term_range"),
    (
        lambda chosen, who: replace(chosen, terms=(Term(who, 10, -1, "So"),)),
        "term_range",
    ),
]


@pytest.mark.parametrize(("slip", "code"), SLIPS)
def test_what_was_chosen_wrongly_is_refused(
    slip: Callable[[Chosen, str], Chosen], code: str, product: Product, hill: Consignee
) -> None:
    ask(hill, product, 60)
    seen = facts(product)
    chosen = slip(Chosen(7, {}), hill.code)
    assert refused(product, chosen, seen=seen).code == code


def test_no_product_is_refused_and_the_same_key_does_it_once(
    product: Product, hill: Consignee
) -> None:
    ask(hill, product, 60)
    with pytest.raises(Missing):
        confirm(Product(pk=0), seen=facts(product))
    seen, signed = facts(product), sign()
    first = confirm(product, seen=seen, by=signed)
    assert confirm(product, seen=seen, by=signed) == first
    with pytest.raises(OperationKeyReused):
        confirm(product, Chosen(3, {}), seen=seen, by=signed)
    assert Allotment.objects.count() == 1


# -- Changed since it was seen -----------------------------------------------------------


def test_the_second_clerk_is_told_who_was_first(
    product: Product, hill: Consignee
) -> None:
    ask(hill, product, 60)
    seen = facts(product)
    done = confirm(product, seen=seen, by=sign_by_another())
    by = Operation.objects.latest("pk").by_name
    error = refused(product, seen=seen)
    assert_refused(error, "allotted_meanwhile", allotment=done.allotment, by=by)


def test_requests_that_changed_or_boxes_that_are_gone_are_noticed(
    boxes: list[Box], product: Product, size: BoxSize, hill: Consignee, dale: Consignee
) -> None:
    row = ask(hill, product, 60)
    seen = facts(product)
    ask(dale, product, 6)
    assert refused(product, seen=seen).code == "requests_changed"
    seen = facts(product)
    void_box(box_id=boxes[0].pk, reason="Wet", label=DESTROYED, sign=sign())
    error = refused(product, seen=seen)
    assert isinstance(error, Conflict)
    assert_refused(error, "boxes_gone", sets=6, free=3)
    seen = facts(product)
    load(factories.make_shipment(consignee=hill), boxes[1])
    assert refused(product, seen=seen).code == "requests_changed"
    # What was packed meanwhile is in nobody's way, and stays.
    seen = facts(product)
    pack(size, 2)
    confirm(product, seen=seen)
    assert sum(promised(product)[row.number].values()) <= 2
    assert facts(product).beyond[size.pk] == 2


# -- What prove finds --------------------------------------------------------------------


def test_a_fork_of_the_facts_is_found(
    boxes: list[Box], product: Product, hill: Consignee, dale: Consignee
) -> None:
    ask(hill, product, 24)
    confirm(product)
    on = load(factories.make_shipment(consignee=hill), boxes[0])
    other = ask(dale, product, 6)
    type(on).objects.filter(pk=on.pk).update(request=other)
    said = " ".join(map(str, factories.prove()))
    assert "It keeps a promise of another request or size." in said
    type(on).objects.filter(pk=on.pk).update(request=on.request, promise=None)
    said = " ".join(map(str, factories.prove()))
    assert "has another promise." in said


BENT: list[tuple[type[Any], dict[str, Any], str]] = [
    (AllotmentSize, {"ready": 1}, "It proposes more boxes of a size than it shares."),
    (Promise, {"boxes": 9}, "It promises more boxes of a size than it shares."),
    (Promise, {"boxes": 3}, "It was moved without a reason."),
    (Promise, {"proposed": 1}, "Other boxes are proposed to it."),
    (AllotmentLine, {"lacked": 1}, "It asked for other sets."),
]


@pytest.mark.parametrize(("model", "to", "said"), BENT)
def test_what_is_bent_by_hand_is_found(
    model: type[Any],
    to: dict[str, Any],
    said: str,
    product: Product,
    hill: Consignee,
) -> None:
    ask(hill, product, 24)
    confirm(product)
    drop_guards()
    model.objects.update(**to)
    assert said in " ".join(map(str, factories.prove()))
