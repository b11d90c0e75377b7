"""Numbers from counters: without a gap, and never from a counter that is not there."""

from __future__ import annotations

import pytest
from stdnum.iso7064 import mod_37_36

from kitting.domain.numbers import Kind, check_character
from kitting.ledger.counters import take, take_numbers
from kitting.models import Counter

pytestmark = pytest.mark.django_db


def test_numbers_follow_one_another_without_a_gap() -> None:
    first, second = take_numbers(1, "bag", 3), take_numbers(1, "bag")
    assert len(first) == 3
    assert second.start == first.stop == first.start + 3
    (number,) = take(1, Kind.BAG)
    assert number[:-1] == f"B1{second.stop:06}"
    assert number[-1] == check_character(number[:-1])


@pytest.mark.parametrize("counts", [(1,) * 40, (7, 1, 24, 3, 500), (36,), (2, 35)])
@pytest.mark.parametrize("kind", [Kind.BAG, Kind.SERIAL])
def test_numbers_are_all_that_do_not_end_in_a_letter_read_as_a_digit(
    counts: tuple[int, ...], kind: Kind
) -> None:
    """Every sequence tried in turn; the check character by python-stdnum."""
    bodies = (f"{kind}1{sequence:06}" for sequence in range(1, 1_000))
    brute = [body + mod_37_36.calc_check_digit(body) for body in bodies]
    wanted = [number for number in brute if number[-1] not in "IO"]
    taken = [number for count in counts for number in take(1, kind, count)]
    assert taken == wanted[: sum(counts)]
    assert len(wanted) < len(brute)
    after = Counter.objects.get(site=1, name=kind.name.lower()).next
    assert after == int(taken[-1][2:-1]) + 1


def test_a_counter_that_is_missing_is_named() -> None:
    Counter.objects.filter(site=1, name="bag").delete()
    with pytest.raises(RuntimeError, match="Counter 'bag' is missing"):
        take_numbers(1, "bag")
    assert not Counter.objects.filter(site=1, name="bag").exists()
