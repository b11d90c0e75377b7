"""Numbers and dates that would lead astray later: refused when a lot comes in."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from kitting.domain import numbers
from kitting.domain.errors import CodeError, Refused
from kitting.domain.numbers import Kind
from kitting.lots.services import lots
from kitting.models import Counter, Lot
from kitting.web import scans
from tests import factories
from tests.assertions import assert_refused
from tests.factories import NOW, TODAY, sign

pytestmark = pytest.mark.django_db


def next_lot_number() -> int:
    return Counter.objects.get(site=1, name="lot").next


def take_in(**changes: object) -> Lot:
    return factories.make_lot(factories.make_revision(), **changes)


def test_a_number_that_lotward_will_assign_is_not_the_workshops() -> None:
    ahead = numbers.assign(Kind.LOT, 1, next_lot_number() + 2)
    with pytest.raises(Refused) as caught:
        take_in(number=ahead)
    assert_refused(caught.value, "lot_number_ahead", lot=ahead)


def test_a_number_that_is_passed_over_is_in_nobodys_way() -> None:
    at = next_lot_number()
    ahead = next(n for n in range(at, at + 99) if not numbers.assign(Kind.LOT, 1, n))
    body = f"L1{ahead:06}"
    own = take_in(number=body + numbers.check_character(body))
    assert own.number[-1] in "IO"
    new = factories.new_lot(own.revision)
    taken = lots.take_in(lots=[new] * (ahead - at + 1), sign=sign()).lots
    assert own.number not in taken
    assert next_lot_number() > ahead
    assert scans.read(own.number).row == own


def test_a_number_of_another_site_is_in_nobodys_way() -> None:
    other = numbers.assign(Kind.LOT, 2, next_lot_number() + 2)
    assert take_in(number=other).number == other


def test_a_number_that_a_lot_bears_already_is_passed_over() -> None:
    """As it stands in a workshop that gave such a number before that was refused."""
    first = take_in()
    at = next_lot_number()
    for step in (0, 1, 3):
        taken = numbers.assign(Kind.LOT, 1, at + step)
        Lot.objects.create(
            number=taken,
            part=first.part,
            revision=first.revision,
            source="Moulding room",
            made_on=TODAY,
        )
    new = factories.new_lot(first.revision)
    found = lots.take_in(lots=[new, new], sign=sign()).lots
    assert found == [numbers.assign(Kind.LOT, 1, at + step) for step in (2, 4)]


def test_a_lot_is_never_called_like_a_misread_bag() -> None:
    bag = factories.make_bag()
    wrong = bag.number[:-1] + ("A" if bag.number[-1] != "A" else "B")
    with pytest.raises(CodeError) as caught:
        take_in(number=wrong)
    assert_refused(caught.value, "lot_number_of_other_kind", text=wrong, kind="BAG")
    with pytest.raises(CodeError) as caught:
        scans.read(wrong)
    assert caught.value.code == "number_check_wrong"


# GS1 General Specifications, 7.12: two digits stand for a year from 49 before to 50
# after the current one. A year's room is left for a label read back as it is packed.
def test_a_use_by_that_a_label_would_date_back_a_century_is_refused() -> None:
    last = TODAY.year + 49
    assert take_in(use_by=date(last, 12, 31)).use_by == date(last, 12, 31)
    for far in (date(last + 1, 1, 1), date(2090, 1, 1), date(9999, 12, 31)):
        with pytest.raises(Refused) as caught:
            take_in(use_by=far)
        assert_refused(caught.value, "use_by_too_far", use_by=far, year=last)


def material(use_by: date) -> Lot:
    part = factories.make_part(needs_check=False, needs_clearing=False)
    return factories.make_lot(
        factories.make_revision(part), made_on=TODAY - timedelta(days=9), use_by=use_by
    )


def test_material_past_its_date_is_made_into_nothing() -> None:
    stale = material(TODAY - timedelta(days=1))
    with pytest.raises(Refused) as caught:
        take_in(made_from=((stale.pk, 5),), made_on=TODAY)
    assert_refused(
        caught.value,
        "material_past_use_by",
        lot=stale.number,
        use_by=stale.use_by,
        made_on=TODAY,
    )


def test_material_counts_by_the_day_the_lot_was_made() -> None:
    """A lot made on the last good day may be taken in later."""
    fresh = material(TODAY)
    new = factories.new_lot(
        factories.make_revision(), made_on=TODAY, made_from=((fresh.pk, 5),)
    )
    later = sign(now=NOW + timedelta(days=3))
    assert len(lots.take_in(lots=[new], sign=later).lots) == 1
