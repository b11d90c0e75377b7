"""The longest unbroken hold of a log, by hand and against a second-by-second search."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitting.domain.errors import CodeError, Refused
from kitting.domain.holding import Hold, Line, Needed, Sample, longest_hold, read_column

START = datetime(2026, 1, 14, 4, 0, tzinfo=UTC)
HOT = 70_000


def at(minutes: float) -> datetime:
    return START + timedelta(minutes=minutes)


def log(*figures: tuple[float, int]) -> list[Sample]:
    return [Sample(at(minutes), value) for minutes, value in figures]


def seconds(samples, needed=None, **edges) -> int:
    return longest_hold(samples, needed or Needed(HOT), **edges).seconds


# By hand; heat in thousandths of a degree.
HOT_FROM_5_TO_35 = [(0, 20_000), (5, 70_000), (20, 72_000), (35, 70_000), (40, 69_999)]


def test_a_hold_is_from_its_first_good_sample_to_its_last():
    hold = longest_hold(log(*HOT_FROM_5_TO_35), Needed(HOT))
    assert hold == Hold(1_800, at(5), at(35), 20_000)


def test_nothing_is_counted_between_a_good_and_a_bad_sample():
    # It may have been hot from 0:01 to 39:59, and nobody looked.
    assert seconds(log((0, 69_000), (20, 71_000), (40, 69_000))) == 0


def test_one_low_sample_breaks_a_hold_and_the_longer_part_counts():
    figures = [(0, HOT), (10, HOT), (11, HOT - 1), (12, HOT), (27, HOT)]
    hold = longest_hold(log(*figures), Needed(HOT))
    assert (hold.seconds, hold.since) == (900, at(12))


def test_of_two_equal_holds_the_first_is_given():
    figures = [(0, HOT), (10, HOT), (11, 0), (12, HOT), (22, HOT)]
    assert longest_hold(log(*figures), Needed(HOT)).since == at(0)


@pytest.mark.parametrize(
    ("max_gap_s", "expected"), [(None, 1_800), (900, 1_800), (899, 600), (599, 0)]
)
def test_a_gap_longer_than_allowed_breaks_a_hold(max_gap_s, expected):
    samples = log((0, HOT), (10, HOT), (25, HOT), (30, 0))
    samples = [*samples[:3], Sample(at(30), HOT)] if expected == 1_800 else samples
    assert seconds(samples, Needed(HOT, max_gap_s=max_gap_s)) == expected


def test_the_uncertainty_of_the_thermometer_is_left_out():
    # 71.5 °C less 2 % is 70.07 °C; 71.4 °C less 2 % is 69.972 °C.
    needed = Needed(HOT, rel_u_ppm=20_000)
    assert seconds(log((0, 71_500), (30, 71_500)), needed) == 1_800
    assert seconds(log((0, 71_500), (30, 71_400)), needed) == 0
    # Exactly on the bound is enough: 100 °C less 30 % is 70 °C.
    assert seconds(log((0, 100_000), (1, 100_000)), Needed(HOT, 300_000)) == 60


def test_only_samples_between_the_edges_count():
    samples = log(*((minute, HOT) for minute in range(0, 61, 5)))
    assert seconds(samples) == 3_600
    assert seconds(samples, since=at(7)) == 3_000  # from the sample of minute 10
    assert seconds(samples, since=at(7), until=at(33)) == 1_200
    assert seconds(samples, since=at(7), until=at(9)) == 0
    assert seconds(samples, since=at(10), until=at(30)) == 1_200


@pytest.mark.parametrize("samples", [[], log((0, HOT)), log((0, 0), (9, 0))])
def test_fewer_than_two_good_samples_hold_nothing(samples):
    hold = longest_hold(samples, Needed(HOT))
    assert (hold.seconds, hold.since, hold.until) == (0, None, None)


def test_the_order_of_the_log_does_not_matter():
    samples = log(*HOT_FROM_5_TO_35)
    assert longest_hold(samples[::-1], Needed(HOT)) == longest_hold(
        samples, Needed(HOT)
    )


def test_two_samples_of_one_moment_are_refused():
    with pytest.raises(Refused) as caught:
        longest_hold(log((0, HOT), (5, HOT), (0, HOT)), Needed(HOT))
    assert caught.value.code == "value_twice"


@pytest.mark.parametrize(
    ("needed", "code"),
    [
        (Needed(0), "hold_needs_a_minimum"),
        (Needed(-1), "hold_needs_a_minimum"),
        (Needed(HOT, rel_u_ppm=1_000_000), "uncertainty_out_of_range"),
    ],
)
def test_a_hold_needs_a_minimum_and_a_sane_uncertainty(needed, code):
    with pytest.raises(Refused) as caught:
        longest_hold([], needed)
    assert caught.value.code == code


@given(
    st.dictionaries(st.integers(0, 120), st.sampled_from([HOT - 1, HOT]), max_size=40),
    st.one_of(st.none(), st.integers(1, 40)),
)
def test_the_hold_is_the_longest_of_all_pairs_of_samples(figures, gap):
    """Brute force: every stretch between two samples with only good ones inside."""
    ordered = sorted(figures.items())
    best = 0
    for i in range(len(ordered)):
        for j in range(i, len(ordered)):
            inside = ordered[i : j + 1]
            times = [second for second, _ in inside]
            near = gap is None or all(
                after - before <= gap for before, after in pairwise(times)
            )
            if near and all(value >= HOT for _, value in inside):
                best = max(best, times[-1] - times[0])
    samples = [Sample(START + timedelta(seconds=s), value) for s, value in ordered]
    assert seconds(samples, Needed(HOT, max_gap_s=gap)) == best


# -- A pasted column ----------------------------------------------------------------


def wall(text: str) -> datetime:
    """The workshop's own time, as its log and clock show it."""
    return datetime.fromisoformat(text)


OPENED = wall("2026-01-14 23:40:20")


@pytest.mark.parametrize(
    ("line", "moment", "figure"),
    [
        ("23:50 71.5", wall("2026-01-14 23:50"), "71.5"),
        ("23:50:07\t71,5", wall("2026-01-14 23:50:07"), "71,5"),
        ("23:50; 71.5", wall("2026-01-14 23:50"), "71.5"),
        ("  0:10   72 ", wall("2026-01-15 00:10"), "72"),
        ("2026-01-16 09:00 70", wall("2026-01-16 09:00"), "70"),
        ("2026-01-16T09:00:01 70", wall("2026-01-16 09:00:01"), "70"),
        # A log shows whole minutes: this is the minute of the opening.
        ("23:40 20", wall("2026-01-14 23:40"), "20"),
        ("23:39 20", wall("2026-01-15 23:39"), "20"),
    ],
)
def test_a_line_is_a_time_and_a_value(line, moment, figure):
    assert read_column(line, opened=OPENED) == [Line(moment, figure)]


def test_empty_lines_are_passed_over_and_counted():
    assert len(read_column("\n23:50 70\n\n23:55 71\n", opened=OPENED)) == 2
    with pytest.raises(CodeError) as caught:
        read_column("\n23:50 70\n\nhot", opened=OPENED)
    assert caught.value.params == {"line": 4, "read": "hot"}


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("", "values_missing"),
        (" \n\t\n", "values_missing"),
        ("70", "value_line_unreadable"),
        ("23:50", "value_line_unreadable"),
        ("23:50 70 71", "value_line_unreadable"),
        ("24:00 70", "value_line_unreadable"),
        ("23:60 70", "value_line_unreadable"),
        ("2026-02-30 10:00 70", "value_line_unreadable"),
        ("٢٣:٥٠ 70", "value_line_unreadable"),
        ("0:00 1\n" * 5_001, "values_too_many"),
    ],
)
def test_a_column_that_cannot_be_read_is_refused(text, code):
    with pytest.raises(CodeError) as caught:
        read_column(text, opened=OPENED)
    assert caught.value.code == code


def test_a_time_after_the_last_day_is_unreadable_not_an_overflow():
    with pytest.raises(CodeError) as caught:
        read_column("0:01 70", opened=wall("9999-12-31 23:00"))
    assert caught.value.code == "value_line_unreadable"
