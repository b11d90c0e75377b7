"""Taking in lots and bags, closing lots, numbers for blank labels."""

from __future__ import annotations

import uuid
from datetime import timedelta
from typing import Any

import pytest
from django.db import IntegrityError
from django.db.models import Model, Sum

from kitting.domain.errors import LotwardError
from kitting.ledger import holds, operations
from kitting.ledger.operations import Act
from kitting.lots.services import blanks, lots
from kitting.lots.services.lots import NewBag
from kitting.lots.steps.intake import MOST_PIECES
from kitting.models import Bag, Link, Lot, LotOrigin, Movement, Operation, Part, RowSeal
from tests import factories
from tests.assertions import assert_refused

pytestmark = pytest.mark.django_db


def take_in(*new: lots.NewLot, **changes: Any) -> lots.TakenIn:
    return lots.take_in(lots=new, sign=factories.sign(**changes))


def refused(*new: lots.NewLot) -> LotwardError:
    before = (Lot.objects.count(), Bag.objects.count(), Operation.objects.count())
    with pytest.raises(LotwardError) as caught:
        take_in(*new)
    after = (Lot.objects.count(), Bag.objects.count(), Operation.objects.count())
    assert after == before
    return caught.value


def open_lot(**changes: Any) -> Lot:
    return factories.make_lot(close=False, **changes)


def more_of(lot: Lot, **changes: Any) -> lots.NewLot:
    values: dict[str, Any] = {
        "lot_id": lot.pk,
        "method_id": lot.method_id,
        "bags": (NewBag(50),),
        **changes,
    }
    return factories.new_lot(lot.revision, **values)


# -- A new lot ----------------------------------------------------------------------


def test_a_lot_comes_in_with_its_bags_and_what_they_hold() -> None:
    place, method = factories.make_place(), factories.make_method()
    taken = take_in(
        factories.new_lot(
            factories.make_revision(),
            number=" hb-26/1 ",
            method_id=method.pk,
            source=" Print bench ",
            source_number="77",
            use_by=factories.TODAY + timedelta(days=300),
            bags=(NewBag(100, "tote", place.pk), NewBag(40, "film pack")),
        )
    )
    lot = Lot.objects.get()
    assert taken.lots == [lot.number] == ["HB-26/1"]
    assert (lot.stage, lot.verdict, lot.source) == ("open", "", "Print bench")
    assert lot.method == method
    bags = list(lot.bags.values_list("number", "pieces", "stage", "container", "place"))
    assert bags == [
        (taken.bags[0], 100, "arrived", "tote", place.pk),
        (taken.bags[1], 40, "arrived", "film pack", None),
    ]
    moves = Movement.objects.filter(lot=lot).values_list("kind", "delta", "after")
    assert list(moves) == [("received", 100, 100), ("received", 40, 40)]


@pytest.mark.parametrize(
    ("needs_check", "needs_clearing", "stage"),
    [
        (True, True, "arrived"),
        (True, False, "arrived"),
        (False, True, "accepted"),
        (False, False, "cleared"),
    ],
)
def test_a_bag_goes_as_far_as_its_part_lets_it(
    needs_check: bool, needs_clearing: bool, stage: str
) -> None:
    part = factories.make_part(needs_check=needs_check, needs_clearing=needs_clearing)
    lot = factories.make_lot(factories.make_revision(part))
    assert lot.bags.get().stage == stage


def test_lots_without_a_number_get_one_each() -> None:
    revision = factories.make_revision()
    taken = take_in(factories.new_lot(revision), factories.new_lot(revision))
    assert len(set(taken.lots)) == 2
    assert all(number.startswith("L1") for number in taken.lots)


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"made_on": factories.TODAY + timedelta(days=1)}, "made_on_future"),
        ({"use_by": factories.TODAY - timedelta(days=1)}, "use_by_before_made_on"),
        ({"source": " "}, "source_missing"),
        ({"source": "x" * 61}, "entry_too_long"),
        ({"source_number": "x" * 41}, "entry_too_long"),
        ({"number": "LOT 7!"}, "lot_number_malformed"),
        ({"bags": (NewBag(0),)}, "pieces_out_of_range"),
        ({"bags": (NewBag(MOST_PIECES + 1),)}, "pieces_out_of_range"),
        ({"bags": (NewBag(5, "bucket"),)}, "container_unknown"),
        ({"bags": (NewBag(5, place_id=1),)}, "row_missing"),
        ({"bags": (), "close": True}, "lot_empty"),
        ({"method_id": 1}, "row_missing"),
        ({"part_id": 1}, "revision_not_of_part"),
        ({"revision_id": 1}, "revision_not_of_part"),
        ({"lot_id": 1}, "row_missing"),
        ({"made_from": ((1, 5),)}, "row_missing"),
        ({"made_from": ((1, 5), (1, 6))}, "material_twice"),
        ({"made_from": ((1, 0),)}, "pieces_out_of_range"),
        ({"bags": (NewBag(5, number="HELLO"),)}, "number_malformed"),
        ({"bags": (NewBag(5, number="L1000001Z"),)}, "not_a_bag_number"),
    ],
)
def test_what_is_wrong_with_a_lot_is_said_and_nothing_is_written(
    changes: dict[str, Any], code: str
) -> None:
    if code == "not_a_bag_number":
        from kitting.domain.numbers import Kind, assign

        changes = {"bags": (NewBag(5, number=assign(Kind.LOT, 1, 1)),)}
    error = refused(factories.new_lot(factories.make_revision(), **changes))
    assert_refused(error, code)


def test_a_revision_of_another_part_is_refused() -> None:
    other = factories.make_revision()
    new = factories.new_lot(factories.make_revision(), revision_id=other.pk)
    assert refused(new).code == "revision_not_of_part"


def test_a_number_that_is_taken_is_refused() -> None:
    factories.make_lot(number="HB-1")
    error = refused(factories.new_lot(factories.make_revision(), number="hb-1"))
    assert_refused(error, "lot_exists", lot="HB-1")


def test_a_number_that_stands_twice_is_refused() -> None:
    revision = factories.make_revision()
    twin = factories.new_lot(revision, number="HB-1")
    assert_refused(refused(twin, twin), "lot_exists", lot="HB-1")


def test_the_second_lot_being_wrong_keeps_the_first_out() -> None:
    revision = factories.make_revision()
    good = factories.new_lot(revision, number="HB-1")
    bad = factories.new_lot(revision, source="")
    assert refused(good, bad).code == "source_missing"


@pytest.mark.parametrize(("table", "code"), [(Lot, "lot_exists"), (Bag, "bag_exists")])
def test_somebody_faster_is_a_conflict_and_no_crash(
    table: type[Model], code: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    # The race itself is in tests/concurrency; here the database's own refusal comes
    # after the look that found the number free.
    plain = Act.fill

    def too_late(act: Act, rows: Any) -> Any:
        if rows and rows[0][0].model is table:
            raise IntegrityError("unique")
        return plain(act, rows)

    monkeypatch.setattr(Act, "fill", too_late)
    new = factories.new_lot(factories.make_revision(), number="HB-1")
    assert_refused(refused(new), code)


def test_the_same_key_twice_takes_in_once() -> None:
    sign = factories.sign()
    new = factories.new_lot(factories.make_revision(), number="HB-1")
    first = lots.take_in(lots=[new], sign=sign)
    again = lots.take_in(lots=[new], sign=sign)
    assert again == first
    assert (Lot.objects.count(), Link.objects.count()) == (1, 1)


def test_a_rule_that_changes_in_between_is_seen(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    # Bags are drafted before the transaction: a part whose rule was changed by then
    # must not let its bags through.
    revision = factories.make_revision(
        factories.make_part(needs_check=False, needs_clearing=False)
    )
    plain = operations.perform

    def later(*args: Any, **options: Any) -> Any:
        Part.objects.filter(pk=revision.part_id).update(needs_check=True)
        return plain(*args, **options)

    monkeypatch.setattr(lots, "perform", later)
    lot = factories.make_lot(revision)
    assert lot.bags.get().stage == "arrived"


def test_a_large_intake_balances_and_its_link_holds() -> None:
    revision = factories.make_revision(
        factories.make_part(needs_check=False, needs_clearing=False)
    )
    new = [
        factories.new_lot(revision, bags=tuple(NewBag(10) for _ in range(40)))
        for _ in range(5)
    ]
    take_in(*new)
    assert Bag.objects.filter(stage="cleared").count() == 200
    assert Movement.objects.count() == 600
    assert Movement.objects.aggregate(n=Sum("delta"))["n"] == 2000
    link = Link.objects.get()
    operation = Operation.objects.get()
    rows = [*Movement.objects.all(), *RowSeal.objects.all()]
    digest = operations.link_hash(bytes(32), 1, operation, link.outcome, rows)
    assert digest == bytes(link.hash)


# -- More bags of an open lot -------------------------------------------------------


def test_a_bag_is_added_to_an_open_lot_under_a_blank_number() -> None:
    lot = open_lot()
    given = blanks.give_out_numbers(count=2, sign=factories.sign()).numbers
    bag = NewBag(50, number=f" {given[1].lower()} ")
    taken = take_in(more_of(lot, bags=(bag,)))
    assert taken.lots == [lot.number]
    assert taken.bags == [given[1]]
    assert lot.bags.count() == 2


def test_the_last_bag_can_close_the_lot() -> None:
    lot = open_lot()
    take_in(more_of(lot, close=True))
    lot.refresh_from_db()
    assert lot.stage == "closed"


def test_a_closed_lot_takes_no_bag() -> None:
    lot = factories.make_lot()
    assert_refused(refused(more_of(lot)), "lot_closed", lot=lot.number)


def test_another_method_asks_for_a_new_lot() -> None:
    lot = open_lot()
    error = refused(more_of(lot, method_id=factories.make_method().pk))
    assert_refused(error, "conditions_changed", lot=lot.number)


def test_another_revision_asks_for_a_new_lot() -> None:
    lot = open_lot()
    other = factories.make_revision(lot.part, "B")
    error = refused(more_of(lot, revision_id=other.pk))
    assert_refused(error, "conditions_changed", lot=lot.number)


def test_more_material_asks_for_a_new_lot() -> None:
    lot, material = open_lot(), usable_material()
    error = refused(more_of(lot, made_from=((material.pk, 5),)))
    assert_refused(error, "conditions_changed", lot=lot.number)


def test_a_scanner_may_say_which_symbol_it_read() -> None:
    lot = open_lot()
    blank = blanks.give_out_numbers(count=1, sign=factories.sign()).numbers[0]
    # ]C0: Code 128 without FNC1, as in ISO/IEC 15424
    taken = take_in(more_of(lot, bags=(NewBag(5, number=f"]C0{blank}"),)))
    assert taken.bags == [blank]


def test_a_number_on_a_bag_is_refused() -> None:
    lot = open_lot()
    taken = lot.bags.get().number
    error = refused(more_of(lot, bags=(NewBag(5, number=taken),)))
    assert_refused(error, "bag_exists", bag=taken)


def test_a_blank_number_scanned_twice_is_refused() -> None:
    lot = open_lot()
    blank = blanks.give_out_numbers(count=1, sign=factories.sign()).numbers[0]
    bags = (NewBag(5, number=blank), NewBag(6, number=blank))
    assert_refused(refused(more_of(lot, bags=bags)), "bag_exists", bag=blank)


def test_a_number_that_was_never_given_out_is_refused() -> None:
    from kitting.domain.numbers import Kind, assign

    lot = open_lot()
    for never in (assign(Kind.BAG, 1, 999_999), assign(Kind.BAG, 2, 1)):
        error = refused(more_of(lot, bags=(NewBag(5, number=never),)))
        assert_refused(error, "number_not_given_out", read=never)


# -- Made from ----------------------------------------------------------------------


def usable_material(*pieces: int, **part: Any) -> Lot:
    values = {"unit": "gram", "needs_check": False, "needs_clearing": False, **part}
    return factories.make_lot(
        factories.make_revision(factories.make_part(**values)),
        bags=tuple(NewBag(n, "roll") for n in pieces or (1000,)),
    )


def made_from(*pairs: tuple[Lot, int], **changes: Any) -> lots.NewLot:
    return factories.new_lot(
        factories.make_revision(),
        made_from=tuple((lot.pk, amount) for lot, amount in pairs),
        **changes,
    )


def test_material_is_taken_from_its_oldest_bags() -> None:
    material = usable_material(300, 300, 300)
    taken = take_in(made_from((material, 450), number="HB-1"))
    rolls = list(material.bags.values_list("pieces", "stage"))
    assert rolls == [(0, "used_up"), (150, "cleared"), (300, "cleared")]
    origin = LotOrigin.objects.get()
    assert (origin.lot.number, origin.amount) == (taken.lots[0], 450)
    moves = Movement.objects.filter(kind="made_into").values_list("delta", "reason")
    assert list(moves) == [(-300, "HB-1"), (-150, "HB-1")]


def test_two_lots_of_one_intake_share_a_roll() -> None:
    material = usable_material(500)
    take_in(made_from((material, 200)), made_from((material, 300)))
    bag = material.bags.get()
    assert (bag.pieces, bag.stage, bag.moves) == (0, "used_up", 5)


def test_material_that_does_not_suffice_is_refused() -> None:
    material = usable_material(500)
    error = refused(made_from((material, 200)), made_from((material, 301)))
    assert_refused(
        error, "not_enough_material", lot=material.number, wanted=301, short=1
    )
    assert material.bags.get().pieces == 500


def test_material_that_is_not_accepted_is_not_there() -> None:
    material = usable_material(500, needs_check=True)
    error = refused(made_from((material, 1)))
    assert_refused(error, "not_enough_material", lot=material.number, short=1)


def test_held_material_is_not_made_into_anything() -> None:
    material = usable_material(500)
    holds.place_hold(
        target="lot", value=material.pk, reason="odd smell", sign=factories.sign()
    )
    error = refused(made_from((material, 1)))
    assert_refused(error, "bag_on_hold", bag=material.bags.get().number)


# -- Closing, and numbers -----------------------------------------------------------


def test_a_closed_lot_stays_closed() -> None:
    lot = open_lot()
    assert lots.close_lot(lot_id=lot.pk, sign=factories.sign()).lot == lot.number
    lot.refresh_from_db()
    assert lot.stage == "closed"
    with pytest.raises(LotwardError) as caught:
        lots.close_lot(lot_id=lot.pk, sign=factories.sign())
    assert_refused(caught.value, "lot_closed", lot=lot.number)


def test_a_lot_without_a_bag_is_not_closed() -> None:
    lot = open_lot(bags=())
    with pytest.raises(LotwardError) as caught:
        lots.close_lot(lot_id=lot.pk, sign=factories.sign())
    assert_refused(caught.value, "lot_empty", lot=lot.number)


def test_numbers_are_given_out_once() -> None:
    first = blanks.give_out_numbers(count=3, sign=factories.sign()).numbers
    next_ = blanks.give_out_numbers(count=3, sign=factories.sign()).numbers
    assert len({*first, *next_}) == 6


def test_numbers_given_out_twice_under_one_key_are_the_same() -> None:
    sign = factories.sign(key=uuid.uuid4())
    first = blanks.give_out_numbers(count=3, sign=sign)
    assert blanks.give_out_numbers(count=3, sign=sign) == first


@pytest.mark.parametrize("count", [0, -1, blanks.MOST_NUMBERS + 1])
def test_too_many_numbers_are_not_given_out(count: int) -> None:
    with pytest.raises(LotwardError) as caught:
        blanks.give_out_numbers(count=count, sign=factories.sign())
    assert_refused(caught.value, "count_out_of_range", read=count)
