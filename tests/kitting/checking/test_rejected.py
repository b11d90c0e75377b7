"""What becomes of rejected bags: sorted, sent back, accepted; nothing goes missing."""

from __future__ import annotations

from typing import Any

import pytest

from dispatch.trace.balance import balance_of
from kitting.checking.services import rejected
from kitting.domain.errors import LotwardError
from kitting.ledger import holds
from kitting.lots.services.lots import NewBag
from kitting.models import Bag, Disposition, Lot, Movement, Operation, Part
from tests import factories
from tests.assertions import assert_refused
from tests.databases import once_a_module

pytestmark = pytest.mark.django_db


@once_a_module
def lot() -> Lot:
    """A rejected lot of two bags: 40 and 20 pieces."""
    return factories.reject(factories.make_lot(bags=(NewBag(40), NewBag(20))))


def bags_of(lot: Lot) -> list[Bag]:
    return list(lot.bags.order_by("pk"))


def refused(call: Any, **values: Any) -> LotwardError:
    before = Operation.objects.count(), Movement.objects.count()
    with pytest.raises(LotwardError) as caught:
        call(**values, sign=factories.sign())
    assert (Operation.objects.count(), Movement.objects.count()) == before
    assert not Disposition.objects.exists()
    return caught.value


def moves(bag: Bag) -> list[tuple[str, int, str, str]]:
    found = bag.movements.order_by("nth")
    return list(found.values_list("kind", "pieces", "reason", "stage_after"))[2:]


def assert_accounted_for(lot: Lot) -> None:
    assert balance_of(lot).difference == 0
    assert factories.prove() == []


# -- Sorting ------------------------------------------------------------------------


def test_the_good_go_on_and_the_bad_are_scrapped_by_kind(lot: Lot) -> None:
    bag = bags_of(lot)[0]
    cracked, scratched = factories.make_kind("critical"), factories.make_kind()
    values: dict[str, Any] = {
        "bag_id": bag.pk,
        "good": 34,
        "defects": [(scratched.pk, 3), (cracked.pk, 2)],
        "unlisted": 1,
        "reason": "Melted",
        "sign": factories.sign(),
    }
    done = rejected.sort_bag(**values)
    assert (done.good, done.bad, done.stage) == (34, 6, "accepted")
    assert rejected.sort_bag(**values) == done
    assert moves(bag) == [
        ("scrapped", 3, scratched.name, "rejected"),
        ("scrapped", 2, cracked.name, "rejected"),
        ("scrapped", 1, "Melted", "rejected"),
        ("accepted", 34, "", "accepted"),
    ]
    kept = Disposition.objects.get()
    assert (kept.bag, kept.fate, kept.good, kept.bad) == (bag, "sorted", 34, 6)
    lot.refresh_from_db()
    assert lot.verdict == "rejected"  # what the check said stays
    assert balance_of(lot).scrapped == 6
    assert_accounted_for(lot)


def test_a_sorted_bag_that_needs_no_disinfection_is_cleared() -> None:
    revision = factories.make_revision(factories.make_part(needs_clearing=False))
    lot = factories.reject(factories.make_lot(revision))
    bag = lot.bags.get()
    done = rejected.sort_bag(bag_id=bag.pk, good=100, sign=factories.sign())
    assert done.stage == "cleared"
    assert Disposition.objects.get().reason == "All good"
    assert_accounted_for(lot)


def test_a_bag_without_a_good_piece_is_used_up(lot: Lot) -> None:
    bag, kind = bags_of(lot)[0], factories.make_kind()
    defects = [(kind.pk, 40)]
    done = rejected.sort_bag(
        bag_id=bag.pk, good=0, defects=defects, sign=factories.sign()
    )
    assert (done.stage, done.bad) == ("used_up", 40)
    assert Disposition.objects.get().reason == f"40 × {kind.name}"
    assert_accounted_for(lot)


@pytest.mark.parametrize(("good", "bad"), [(39, 0), (40, 1), (-1, 41), (10**30, 0)])
def test_a_sorting_adds_up_to_the_bag(lot: Lot, good: int, bad: int) -> None:
    bag, kind = bags_of(lot)[0], factories.make_kind()
    error = refused(
        rejected.sort_bag, bag_id=bag.pk, good=good, defects=[(kind.pk, bad)]
    )
    assert_refused(error, "sorting_does_not_add_up", good=good, bad=bad, pieces=40)


def test_a_defect_that_is_not_on_the_list_is_told_in_words(lot: Lot) -> None:
    bag = bags_of(lot)[0]
    error = refused(rejected.sort_bag, bag_id=bag.pk, good=39, unlisted=1)
    assert_refused(error, "reason_missing")


def test_a_bag_is_sorted_once(lot: Lot) -> None:
    bag = bags_of(lot)[0]
    rejected.sort_bag(bag_id=bag.pk, good=40, sign=factories.sign())
    with pytest.raises(LotwardError) as caught:
        rejected.sort_bag(bag_id=bag.pk, good=40, sign=factories.sign())
    assert_refused(caught.value, "bag_wrong_stage", bag=bag.number)


# -- Sending back ---------------------------------------------------------------------


def test_a_bag_that_goes_back_counts_as_not_received(lot: Lot) -> None:
    bag, other = bags_of(lot)
    done = rejected.send_back(
        lot_id=lot.pk, bag_ids=[bag.pk], reason=" Split ", sign=factories.sign()
    )
    assert (done.bags, done.pieces) == ([bag.number], 40)
    assert moves(bag) == [("sent_back", 40, "Split", "used_up")]
    other.refresh_from_db()
    assert (other.stage, other.pieces) == ("rejected", 20)
    balance = balance_of(lot)
    assert (balance.received, balance.in_bags) == (20, 20)
    assert_accounted_for(lot)


def test_a_whole_lot_goes_back(lot: Lot) -> None:
    sign = factories.sign()
    done = rejected.send_back(lot_id=lot.pk, reason="Split", sign=sign)
    assert rejected.send_back(lot_id=lot.pk, reason="Split", sign=sign) == done
    assert (len(done.bags), done.pieces) == (2, 60)
    assert balance_of(lot).received == 0
    assert Disposition.objects.filter(fate="sent_back").count() == 2
    assert_accounted_for(lot)


def test_what_is_on_hold_is_not_sent_back(lot: Lot) -> None:
    bag = bags_of(lot)[0]
    holds.place_hold(
        target="bag", value=bag.pk, reason="Evidence", sign=factories.sign()
    )
    error = refused(rejected.send_back, lot_id=lot.pk, reason="Split")
    assert_refused(error, "bag_held", bag=bag.number)


# -- A concession ------------------------------------------------------------------------


def test_bags_under_concession_go_on_as_accepted_and_the_verdict_stays(
    lot: Lot,
) -> None:
    done = rejected.accept_under_concession(
        lot_id=lot.pk, reason="Looks only", sign=factories.sign()
    )
    assert (len(done.bags), done.pieces) == (2, 60)
    assert {bag.stage for bag in bags_of(lot)} == {"accepted"}
    assert moves(bags_of(lot)[0]) == [("accepted", 40, "Looks only", "accepted")]
    lot.refresh_from_db()
    assert lot.verdict == "rejected"
    assert_accounted_for(lot)


def test_one_bag_is_accepted_and_the_other_stays(lot: Lot) -> None:
    bag, other = bags_of(lot)
    rejected.accept_under_concession(
        lot_id=lot.pk, bag_ids=[bag.pk], reason="Looks", sign=factories.sign()
    )
    assert [each.stage for each in bags_of(lot)] == ["accepted", "rejected"]
    rejected.sort_bag(bag_id=other.pk, good=20, sign=factories.sign())
    assert_accounted_for(lot)


# -- Scrapping -------------------------------------------------------------------------


def test_a_rejected_lot_is_scrapped_as_a_whole(lot: Lot) -> None:
    sign = factories.sign()
    values: dict[str, Any] = {"reason": "Damaged", "note": "Warped", "pieces": 60}
    done = rejected.scrap_rejected(lot_id=lot.pk, **values, sign=sign)
    assert rejected.scrap_rejected(lot_id=lot.pk, **values, sign=sign) == done
    assert (len(done.bags), done.pieces) == (2, 60)
    assert {bag.stage for bag in bags_of(lot)} == {"used_up"}
    assert moves(bags_of(lot)[0]) == [
        ("scrapped", 40, "Damaged: Warped", "used_up"),
    ]
    found = Disposition.objects.values_list("fate", "good", "bad").order_by("pk")
    assert list(found) == [("scrapped", 0, 40), ("scrapped", 0, 20)]
    balance = balance_of(lot)
    assert (balance.received, balance.scrapped) == (60, 60)
    assert_accounted_for(lot)


def test_what_is_on_hold_is_not_scrapped(lot: Lot) -> None:
    holds.place_hold(
        target="lot", value=lot.pk, reason="Evidence", sign=factories.sign()
    )
    error = refused(rejected.scrap_rejected, lot_id=lot.pk, reason="Damaged")
    assert_refused(error, "bag_held")


def test_scrapping_a_lot_needs_a_reason_of_the_list(lot: Lot) -> None:
    error = refused(rejected.scrap_rejected, lot_id=lot.pk, reason="Bored")
    assert_refused(error, "scrap_reason_unknown", read="Bored")


# -- What is refused of all ------------------------------------------------------------

ALL = pytest.mark.parametrize(
    ("act", "reason"),
    [
        (rejected.send_back, "Split"),
        (rejected.accept_under_concession, "Split"),
        (rejected.scrap_rejected, "Damaged"),
    ],
)


@ALL
def test_another_figure_than_was_shown_is_refused(
    act: Any, reason: str, lot: Lot
) -> None:
    error = refused(act, lot_id=lot.pk, reason=reason, pieces=59)
    assert_refused(error, "pieces_differ", pieces=60, shown=59)


# -- What is refused of both -----------------------------------------------------------

BOTH = pytest.mark.parametrize(
    "act", [rejected.send_back, rejected.accept_under_concession]
)


@BOTH
def test_both_need_a_reason(act: Any, lot: Lot) -> None:
    assert_refused(refused(act, lot_id=lot.pk, reason=" "), "reason_missing")
    assert_refused(refused(act, lot_id=lot.pk, reason="x" * 201), "entry_too_long")


@ALL
def test_all_need_a_rejected_lot(act: Any, reason: str) -> None:
    fine = factories.accept(factories.make_lot())
    error = refused(act, lot_id=fine.pk, reason=reason)
    assert_refused(error, "lot_not_rejected", lot=fine.number)
    assert_refused(refused(act, lot_id=0, reason=reason), "row_missing")


def test_sorting_needs_a_rejected_lot() -> None:
    bag = factories.make_lot().bags.get()
    error = refused(rejected.sort_bag, bag_id=bag.pk, good=100)
    assert_refused(error, "lot_not_rejected", lot=bag.lot.number)


@ALL
def test_all_keep_to_the_bags_of_the_lot(act: Any, reason: str, lot: Lot) -> None:
    other = factories.reject(factories.make_lot()).bags.get()
    error = refused(act, lot_id=lot.pk, bag_ids=[other.pk], reason=reason)
    assert_refused(error, "bag_of_another_lot", bag=other.number, lot=lot.number)


@ALL
def test_all_need_a_bag_that_is_still_rejected(act: Any, reason: str, lot: Lot) -> None:
    first, _second = bags_of(lot)
    rejected.accept_under_concession(
        lot_id=lot.pk, reason="Looks", sign=factories.sign()
    )
    before = Operation.objects.count()
    for ids, code in (([], "no_rejected_bag"), ([first.pk], "bag_wrong_stage")):
        with pytest.raises(LotwardError) as caught:
            act(lot_id=lot.pk, bag_ids=ids, reason=reason, sign=factories.sign())
        assert caught.value.code == code
    assert Operation.objects.count() == before


def test_a_lot_of_grams_goes_back_in_its_own_unit() -> None:
    part: Part = factories.make_part(unit="gram", needs_clearing=False)
    lot = factories.reject(factories.make_lot(factories.make_revision(part)))
    done = rejected.send_back(lot_id=lot.pk, reason="Damp", sign=factories.sign())
    assert done.pieces == 100
    assert balance_of(lot).unit == "gram"
    assert_accounted_for(lot)
