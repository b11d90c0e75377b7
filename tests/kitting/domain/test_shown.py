"""How identifiers are divided for people, on all that shows them."""

from __future__ import annotations

import re

from hypothesis import given
from hypothesis import strategies as st

from kitting.domain.shown import fours, spaced


@given(st.one_of(st.text(max_size=40), st.text("A1-/. ", max_size=40)))
def test_the_groups_are_the_identifier_and_no_group_is_long(text):
    groups = fours(text)
    assert "".join(groups) == text
    assert spaced(text).split("\u202f") == list(groups) or "\u202f" in text
    for group in groups:
        runs = re.findall("[A-Za-z0-9]+", group)
        assert all(len(run) <= 6 for run in runs)


@given(st.from_regex("[A-Z0-9]{7,30}", fullmatch=True))
def test_a_long_run_stands_in_groups_of_four(text):
    *whole, last = fours(text)
    assert {len(group) for group in whole} == {4}
    assert 1 <= len(last) <= 4
