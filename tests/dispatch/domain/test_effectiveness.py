"""Effectiveness checks: the published levels, and a draw that anybody can do again."""

from __future__ import annotations

import shutil
import subprocess
from collections import Counter
from itertools import product
from math import ceil

import pytest
from scipy.stats import chi2

from dispatch.domain.effectiveness import (
    Answer,
    Level,
    how_many,
    in_order,
    result_of,
    share_of,
)
from kitting.domain.errors import Refused

pytestmark = pytest.mark.pure


# 21 CFR 7.42(b)(3)(i) to (v): all, a share above 10 and below 100 per cent, 10 per cent,
# 2 per cent, none.
@pytest.mark.parametrize(
    ("level", "own", "share", "of_40"),
    [
        ("A", None, 100, 40),
        ("B", 11, 11, 5),
        ("B", 50, 50, 20),
        ("B", 97, 97, 39),
        ("C", None, 10, 4),
        ("D", None, 2, 1),
        ("E", None, 0, 0),
    ],
)
def test_the_published_levels(
    level: str, own: int | None, share: int, of_40: int
) -> None:
    assert share_of(level, own) == share
    assert how_many(40, share) == of_40


@pytest.mark.parametrize(
    ("level", "own", "code"),
    [
        ("B", None, "effect_share"),
        ("B", 10, "effect_share"),
        ("B", 100, "effect_share"),
        ("C", 20, "effect_share"),
        ("E", 10, "effect_share"),
        ("F", None, "effect_level_unknown"),
        ("", None, "effect_level_unknown"),
    ],
)
def test_no_other_share_is_taken(level: str, own: int | None, code: str) -> None:
    with pytest.raises(Refused) as caught:
        share_of(level, own)
    assert caught.value.code == code


def test_a_share_that_is_said_again_is_no_other() -> None:
    assert [share_of(level, share_of(level, None)) for level in "ACDE"] == [
        100,
        10,
        2,
        0,
    ]
    assert set(Level) == set("ABCDE")


def test_who_is_asked_is_rounded_up() -> None:
    for consignees, share in product(range(1, 130), range(101)):
        right = ceil(consignees * share / 100 - 1e-9)
        assert how_many(consignees, share) == right, (consignees, share)


def test_anybody_can_draw_again() -> None:
    """With coreutils alone, an implementation of SHA-256 (FIPS 180-4) that is not ours."""
    tool = shutil.which("sha256sum")
    assert tool
    codes = [f"CN{n}" for n in range(30)]

    def figure(code: str) -> str:
        said = subprocess.run(
            [tool], input=f"a seed:{code}".encode(), capture_output=True, check=True
        )
        return said.stdout.decode().split()[0]

    wanted = sorted(codes, key=lambda code: int(figure(code), 16))
    assert in_order("a seed", codes) == in_order("a seed", reversed(codes)) == wanted
    assert in_order("another", codes) != wanted


def test_a_draw_favours_nobody() -> None:
    """Chi-squared over 6,000 seeds, two of twelve drawn; red by chance once in a million."""
    codes = [f"CN{n}" for n in range(12)]
    drawn, seeds, of = 2, 6_000, len(codes)
    seen = Counter(
        code for seed in range(seeds) for code in in_order(str(seed), codes)[:drawn]
    )
    mean = seeds * drawn / of
    # Two of a draw are never the same, which makes the figure smaller by this.
    spread = (of - drawn) / (of - 1)
    found = sum((seen[code] - mean) ** 2 / mean for code in codes) / spread
    assert found < chi2.isf(1e-6, of - 1)
    pairs = Counter(tuple(in_order(str(seed), codes[:4])[:2]) for seed in range(seeds))
    even = seeds / 12
    assert len(pairs) == 12
    found = sum((many - even) ** 2 / even for many in pairs.values())
    assert found < chi2.isf(1e-6, 11)


def test_only_three_times_yes_is_effective() -> None:
    every = [Answer(*yes) for yes in product([True, False], repeat=3)]
    assert [each for each in every if each.effective] == [Answer(True, True, True)]


def test_who_was_not_asked_yet_counts_as_open() -> None:
    yes, no = Answer(True, True, True), Answer(True, False, False)
    result = result_of([yes, no, None, yes])
    assert (result.drawn, result.asked, result.effective) == (4, 3, 2)
    assert (result.open, result.share) == (1, 66)
    assert result_of([None]).share is None
    assert result_of([]).share is None
