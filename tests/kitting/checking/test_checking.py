from __future__ import annotations

from typing import Any

import pytest

from kitting.checking.services import checks
from kitting.domain.errors import LotwardError
from kitting.lots.services.lots import NewBag
from kitting.models import Check, Link, Lot, Movement, Operation
from tests import factories
from tests.assertions import assert_refused

pytestmark = pytest.mark.django_db


def check(lot: Lot, **changes: Any) -> checks.Checked:
    values: dict[str, Any] = {
        "accept": True,
        "found": 0,
        "reason": "",
        "sign": factories.sign(),
        **changes,
    }
    return checks.give_verdict(lot_id=lot.pk, **values)


def refused(lot: Lot, **changes: Any) -> LotwardError:
    before = Check.objects.count(), Operation.objects.count()
    with pytest.raises(LotwardError) as caught:
        check(lot, **{**changes, "sign": factories.sign()})
    assert (Check.objects.count(), Operation.objects.count()) == before
    return caught.value


def test_accepting_a_lot_moves_its_bags_on() -> None:
    lot = factories.accept(factories.make_lot())
    bag = lot.bags.get()
    assert (lot.verdict, bag.stage, bag.pieces) == ("accepted", "accepted", 100)
    kinds = list(Movement.objects.filter(bag=bag).values_list("kind", flat=True))
    assert kinds == ["received", "accepted"]
    assert Operation.objects.count() == Link.objects.count() == 2


def test_accepted_bags_that_need_no_disinfection_are_cleared() -> None:
    part = factories.make_part(needs_clearing=False)
    lot = factories.make_lot(
        factories.make_revision(part), bags=(NewBag(100), NewBag(60))
    )
    done = check(lot)
    assert (done.verdict, done.bags) == ("accepted", 2)
    assert {bag.stage for bag in lot.bags.all()} == {"cleared"}


def test_rejected_bags_keep_their_pieces() -> None:
    lot = factories.make_lot()
    done = check(lot, accept=False, found=4, reason=" Holes closed ")
    assert (done.lot, done.verdict, done.bags) == (lot.number, "rejected", 1)
    bag = lot.bags.get()
    assert (bag.stage, bag.pieces) == ("rejected", 100)
    kept = Check.objects.get(lot=lot)
    assert (kept.found, kept.verdict, kept.reason) == (4, "rejected", "Holes closed")


def test_a_rejection_needs_its_reason() -> None:
    lot = factories.make_lot()
    assert_refused(refused(lot, accept=False, found=1, reason=" "), "reason_missing")
    lot.refresh_from_db()
    assert lot.verdict == ""


def test_a_lot_has_one_verdict() -> None:
    lot = factories.accept(factories.make_lot())
    error = refused(lot, accept=False, reason="Too late")
    assert_refused(error, "lot_has_a_verdict", lot=lot.number, verdict="accepted")
    assert lot.bags.get().stage == "accepted"


def test_an_open_lot_is_not_checked() -> None:
    lot = factories.make_lot(close=False)
    assert_refused(refused(lot), "lot_still_open", lot=lot.number)


def test_a_part_that_needs_no_check_gets_none() -> None:
    revision = factories.make_revision(factories.make_part(needs_check=False))
    lot = factories.make_lot(revision)
    assert_refused(refused(lot), "lot_needs_no_check", lot=lot.number)


def test_a_reason_that_does_not_fit_the_record_is_refused() -> None:
    lot = factories.make_lot()
    assert_refused(refused(lot, reason="x" * 201), "entry_too_long")


def test_fewer_defects_than_none_are_refused() -> None:
    lot = factories.make_lot()
    assert_refused(refused(lot, found=-1), "defects_out_of_range", read=-1)


def test_a_check_is_kept_in_the_words_of_its_plan() -> None:
    lot = factories.make_lot()
    check(lot)
    assert Check.objects.get(lot=lot).plan == "All looked over, 100"


def test_the_same_key_twice_gives_one_verdict() -> None:
    lot, sign = factories.make_lot(), factories.sign()
    assert check(lot, sign=sign) == check(lot, sign=sign)
    assert Check.objects.filter(lot=lot).count() == 1
