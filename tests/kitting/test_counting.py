"""Numbers from counters: without a gap, and never from a counter that is not there."""

from __future__ import annotations

import pytest

from kitting.domain.numbers import Kind, check_character
from kitting.models import Counter
from kitting.services.steps.counting import take, take_numbers

pytestmark = pytest.mark.django_db


def test_numbers_follow_one_another_without_a_gap() -> None:
    first, second = take_numbers(1, "bag", 3), take_numbers(1, "bag")
    assert len(first) == 3
    assert second.start == first.stop == first.start + 3
    (number,) = take(1, Kind.BAG)
    assert number[:-1] == f"B1{second.stop:06}"
    assert number[-1] == check_character(number[:-1])


def test_a_counter_that_is_missing_is_named() -> None:
    Counter.objects.filter(site=1, name="bag").delete()
    with pytest.raises(RuntimeError, match="Counter 'bag' is missing"):
        take_numbers(1, "bag")
    assert not Counter.objects.filter(site=1, name="bag").exists()
