"""Whenever the demo is built, its newest day is the last one and no act is to come."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from functools import partial
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from django.utils import timezone
from pytest_django import DjangoDbBlocker

from kitting.domain.stages import BoxStage
from kitting.ledger.proof import examine
from kitting.models import Box, Operation, Run, Workshop
from lotward.demo import plan
from lotward.demo.build import build
from lotward.demo.clock import CLOSES, LEAVING, days_until, moment_of
from tests.demo import NAME, copy_of, working_on

LONDON = ZoneInfo("Europe/London")
AUCKLAND = ZoneInfo("Pacific/Auckland")
FRIDAY = date(2026, 3, 27)
"""Two days before the clocks of London go forward, on 29 March at 01:00 UTC."""


@pytest.mark.parametrize(
    ("zone", "now", "newest"),
    [
        # A working day, once its first checks and what it ends with lie before.
        (LONDON, "2026-03-25 07:54", "2026-03-24"),
        (LONDON, "2026-03-25 07:55", "2026-03-25"),
        (LONDON, "2026-03-25 23:59", "2026-03-25"),
        # Before the first acts, also of a Monday: the last working day before.
        (LONDON, "2026-03-25 00:30", "2026-03-24"),
        (LONDON, "2026-03-25 07:00", "2026-03-24"),
        (LONDON, "2026-03-30 00:10", "2026-03-27"),
        # No working day.
        (LONDON, "2026-03-28 12:00", "2026-03-27"),
        (LONDON, "2026-03-29 00:59", "2026-03-27"),
        (LONDON, "2026-03-29 02:01", "2026-03-27"),
        (LONDON, "2026-10-25 01:30", "2026-10-23"),
        # The day is the workshop's: in London it is Sunday still, or Friday.
        (AUCKLAND, "2026-03-30 09:00", "2026-03-30"),
        (AUCKLAND, "2026-03-28 09:00", "2026-03-27"),
        # Across the end of a year, and a leap day.
        (LONDON, "2027-01-01 06:00", "2026-12-31"),
        (LONDON, "2028-02-29 10:00", "2028-02-29"),
    ],
)
def test_the_newest_day_is_the_last_one_of_which_enough_lies_before(
    zone: ZoneInfo, now: str, newest: str
) -> None:
    moment = datetime.fromisoformat(now).replace(tzinfo=zone)
    days = days_until(moment, zone)
    assert days.newest.isoformat() == newest
    assert days.until <= moment
    wall = days.until.astimezone(zone)
    assert (wall.date(), wall.time() <= CLOSES) == (days.newest, True)
    assert days.until >= days.at(plan.LAST, 7) + LEAVING


@pytest.mark.parametrize("fold", [0, 1])
def test_an_hour_that_comes_twice_has_the_same_newest_day(fold: int) -> None:
    moment = datetime(2026, 10, 25, 1, 30, tzinfo=LONDON, fold=fold)
    assert days_until(moment, LONDON).newest == date(2026, 10, 23)


def test_its_days_are_the_working_days_before_the_newest() -> None:
    days = days_until(datetime(2026, 3, 25, 12, tzinfo=UTC), LONDON)
    found = [days.day(number) for number in range(plan.LAST + 1)]
    assert found[-1] == date(2026, 3, 25)
    assert found[0] == date(2026, 3, 12)
    assert [day.weekday() for day in found] == [3, 4, 0, 1, 2, 3, 4, 0, 1, 2]


def test_hours_are_those_of_the_wall_before_and_after_the_clocks_change() -> None:
    days = days_until(datetime(2026, 3, 31, 12, tzinfo=UTC), LONDON)
    assert days.at(plan.LAST - 2, 9) == datetime(2026, 3, 27, 9, tzinfo=UTC)
    assert days.at(plan.LAST - 1, 9) == datetime(2026, 3, 30, 8, tzinfo=UTC)


def test_written_dates_keep_their_working_day_or_their_distance() -> None:
    days = days_until(datetime(2026, 3, 25, 12, tzinfo=UTC), LONDON)
    first = plan.FIRST_DAY
    assert days.moved(first) == days.day(0)
    assert days.moved(first + timedelta(days=7)) == days.day(5)
    assert days.moved(first + timedelta(days=5)) == days.day(4)  # a Saturday
    assert days.moved(first - timedelta(days=400)) == days.day(0) - timedelta(days=400)
    assert days.moved(first + timedelta(days=11 + 3650)) == days.newest + timedelta(
        days=3650
    )


# -- Built at several moments ---------------------------------------------------------


@contextmanager
def built_at(now: datetime, migrated: Path, tmp_path: Path) -> Iterator[None]:
    copy_of(migrated, tmp_path)
    with working_on(tmp_path), pytest.MonkeyPatch.context() as patch:
        patch.setattr(timezone, "now", lambda: now)
        patch.setattr(plan, "BOXES", 34)
        build()
        yield


also = partial(pytest.param, marks=pytest.mark.long)


@pytest.mark.parametrize(
    ("now", "newest"),
    [
        also(datetime(2026, 3, 30, 0, 10, tzinfo=LONDON), FRIDAY),  # a Monday
        (datetime(2026, 3, 29, 0, 59, 59, tzinfo=UTC), FRIDAY),  # then it is 02:00
        also(datetime(2026, 3, 30, 7, 55, tzinfo=LONDON), date(2026, 3, 30)),
        also(datetime(2026, 10, 27, 10, 40, tzinfo=LONDON), date(2026, 10, 27)),
    ],
    ids=["Monday night", "clocks change", "first of the morning", "mid-morning"],
)
def test_no_act_is_to_come_and_work_is_under_way(
    migrated: Path,
    tmp_path: Path,
    django_db_blocker: DjangoDbBlocker,
    now: datetime,
    newest: date,
) -> None:
    with django_db_blocker.unblock(), built_at(now, migrated, tmp_path):
        times = list(Operation.objects.order_by("pk").values_list("at", flat=True))
        assert times == sorted(times)
        assert times[-1] <= now
        assert times[-1].astimezone(LONDON).date() == newest
        opened = Box.objects.get(stage=BoxStage.OPEN)
        assert opened.lines.exists()
        assert Box.objects.filter(stage=BoxStage.CLOSED).count() == 1
        assert Run.objects.get(stage="open").run_bags.exists()
        assert Workshop.objects.get().ahead_s == 0
        assert [str(fault) for fault in examine().faults] == []


def test_an_act_that_would_lie_in_the_future_ends_the_build(
    migrated: Path, tmp_path: Path, django_db_blocker: DjangoDbBlocker
) -> None:
    now = moment_of(FRIDAY, LONDON)
    days = days_until(now, LONDON)
    short = replace(days, until=days.at(0, 8))  # in the middle of its first morning
    with django_db_blocker.unblock(), pytest.MonkeyPatch.context() as patch:
        patch.setattr("lotward.demo.build.days_until", lambda now, zone: short)
        with (
            pytest.raises(RuntimeError, match="would lie in the future"),
            built_at(now, migrated, tmp_path),
        ):
            pass
    assert (tmp_path / NAME).exists()
