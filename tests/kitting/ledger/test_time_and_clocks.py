"""Acts that a wrong clock, or a long wait, would make into something they are not."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from kitting.day.services import confirm_clock
from kitting.disinfection.services import runs
from kitting.domain.errors import Refused
from kitting.ledger import clock, locking
from kitting.ledger.operations import Act, Overtaken, Sign, perform
from kitting.models import Bag, Box, JournalHead, Operation, Run, RunBag, User, Workshop
from kitting.packing.services import boxes, voiding
from tests import factories
from tests.assertions import assert_problem, assert_refused, text_of
from tests.factories import NOW, sign

pytestmark = pytest.mark.django_db

HOUR = timedelta(hours=1)


@pytest.fixture
def bag() -> Bag:
    part = factories.make_part(needs_check=False, needs_clearing=True)
    return factories.make_lot(factories.make_revision(part)).bags.get()


@pytest.fixture
def run(bag: Bag) -> Run:
    return factories.open_run(factories.make_protocol(bag.lot.revision))


def test_a_clock_set_back_puts_nothing_on_before_its_run(run: Run, bag: Bag) -> None:
    """Set right again a second later, it would count an hour on the line."""
    for act in (runs.put_on, runs.scan_bag):
        with pytest.raises(Refused) as caught:
            act(run_id=run.pk, bag_id=bag.pk, sign=sign(now=NOW - HOUR))
        assert_refused(caught.value, "clock_behind", run=run.number)
    assert not RunBag.objects.exists()
    assert runs.put_on(run_id=run.pk, bag_id=bag.pk, sign=sign(now=run.opened_at))


def test_nothing_comes_off_before_it_went_on(run: Run, bag: Bag) -> None:
    runs.put_on(run_id=run.pk, bag_id=bag.pk, sign=sign(now=NOW + HOUR))
    with pytest.raises(Refused) as caught:
        runs.take_off(run_id=run.pk, bag_id=bag.pk, short=True, sign=sign(now=NOW))
    assert_refused(caught.value, "clock_behind", run=run.number)
    off = sign(now=NOW + HOUR)
    assert runs.take_off(run_id=run.pk, bag_id=bag.pk, short=True, sign=off)


# -- The time of an act ---------------------------------------------------------------


@pytest.fixture
def wall(monkeypatch: pytest.MonkeyPatch) -> Callable[[datetime], None]:
    """Give a function that sets the machine's clock."""

    def is_at(moment: datetime) -> None:
        monkeypatch.setattr(timezone, "now", lambda: moment)

    return is_at


@dataclass(frozen=True)
class Noted:
    at: str


def note(sign: Sign | None = None) -> datetime:
    """An act that is done now, by the machine's clock."""

    def noted(act: Act) -> Noted:
        return Noted(act.now.isoformat())

    done = perform("note", noted, Noted, sign or factories.sign(now=None))
    return datetime.fromisoformat(done.at)


def test_an_act_before_the_newest_one_is_refused_with_both_times(
    wall: Callable[[datetime], None],
) -> None:
    wall(NOW)
    assert note() == NOW
    wall(NOW - 330 * 24 * HOUR)
    with pytest.raises(Refused) as caught:
        note()
    newest, now = "2026-01-14 04:00:00", "2025-02-18 04:00:00"
    assert_refused(caught.value, "clock_set_back", now=now, newest=newest)
    assert Operation.objects.filter(name="note").count() == 1
    wall(NOW + HOUR)
    assert note() == NOW + HOUR


def test_within_two_seconds_an_act_has_the_time_of_the_newest(
    wall: Callable[[datetime], None],
) -> None:
    wall(NOW)
    note()
    wall(NOW - timedelta(seconds=2))
    assert note() == NOW
    wall(NOW - timedelta(seconds=2, microseconds=1))
    with pytest.raises(Refused):
        note()


def test_the_time_is_read_after_the_lock_and_not_before(
    wall: Callable[[datetime], None], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whatever was waited for in between happened before the act."""
    wall(NOW)
    plain = locking.see_head

    def waited(workshop: Workshop) -> JournalHead:
        wall(NOW + HOUR)
        return plain(workshop)

    monkeypatch.setattr(locking, "see_head", waited)
    assert note() == NOW + HOUR


@pytest.fixture
def overtaken(wall: Callable[[datetime], None]) -> Iterator[None]:
    """While an act waits for the head, another one's act of an hour later is sealed."""
    wall(NOW)
    note()
    plain = locking.lock_head

    def later(*seen: Any) -> JournalHead:
        head = plain(*seen)
        head.at = NOW + HOUR
        return head

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(locking, "lock_head", later)
        yield


@pytest.mark.usefixtures("overtaken")
def test_an_act_that_was_overtaken_leaves_nothing() -> None:
    with pytest.raises(Overtaken):
        note()
    assert Operation.objects.filter(name="note").count() == 1


@pytest.mark.usefixtures("overtaken")
def test_whoever_was_overtaken_is_asked_for_the_same_again_with_the_same_key(
    client_for: Callable[[User], Client],
) -> None:
    client = client_for(factories.make_person("manager"))
    client.raise_request_exception = False
    key = str(uuid.uuid4())
    answer = client.post("/set-up/clock/", {"op_key": key})
    assert answer.status_code == 503
    page = text_of(answer)
    assert "The record is busy" in page
    assert f'name="op_key" value="{key}"' in page
    assert "Nothing of what you sent was recorded." in page


def test_what_was_done_before_the_clock_was_set_back_is_answered_all_the_same(
    wall: Callable[[datetime], None],
) -> None:
    """The answer was lost, and the act is sent again under its key."""
    wall(NOW)
    sign = factories.sign(now=None)
    first = note(sign)
    wall(NOW - HOUR)
    assert note(sign) == first
    with pytest.raises(Refused):
        note()
    assert Operation.objects.count() == 1


def test_what_was_done_before_an_account_was_closed_is_answered_all_the_same() -> None:
    sign = factories.sign(now=None)
    first = note(sign)
    User.objects.filter(pk=sign.by.pk).update(is_active=False)
    assert note(sign) == first
    with pytest.raises(Refused) as caught:
        note(factories.sign(sign.by, now=None))
    assert_refused(caught.value, "account_closed", name=str(sign.by))


@pytest.fixture
def box() -> Box:
    """A complete open box, all from one bag that may be open for two hours."""
    part = factories.make_part(needs_check=False, needs_clearing=False, open_hours=2)
    bag = factories.make_lot(factories.make_revision(part)).bags.get()
    recipe = factories.make_recipe([(bag.lot.revision, 1, "set")])
    return factories.make_open_box(factories.make_size(recipe), None, bag)


def test_a_box_that_stood_open_for_too_long_is_not_closed(box: Box) -> None:
    bag = box.lines.get().bag
    late = NOW + timedelta(hours=2, seconds=1)
    with pytest.raises(Refused) as caught:
        boxes.close_box(box_id=box.pk, sign=sign(now=late))
    assert_refused(caught.value, "bag_open_too_long", bag=bag.number, hours=2)
    assert voiding.cancel_box(box_id=box.pk, reason="Too late", sign=sign(now=late))


def test_a_box_is_closed_until_the_last_moment(box: Box) -> None:
    in_time = NOW + timedelta(hours=2)
    assert boxes.close_box(box_id=box.pk, sign=sign(now=in_time)).serial


# -- Whether the date is right --------------------------------------------------------


@dataclass
class Machine:
    """A machine with one clock that can be set and one that cannot."""

    wall: datetime = NOW
    ticks: float = 1_000.0
    boot: str = "a"

    def passes(self, time: timedelta) -> None:
        self.wall += time
        self.ticks += time.total_seconds()

    def look(self) -> clock.Clocks:
        return clock.Clocks(self.wall, self.boot, self.ticks)


@pytest.fixture
def machine(monkeypatch: pytest.MonkeyPatch, settings: Any) -> Machine:
    settings.CLOCK_GAP_DAYS = 7
    made = Machine()
    monkeypatch.setattr(clock, "look", made.look)
    monkeypatch.setattr(clock, "_began", made.look())
    monkeypatch.setattr(timezone, "now", lambda: made.wall)
    return made


def refusal() -> str:
    with pytest.raises(Refused) as caught:
        note()
    return caught.value.code


def test_a_clock_that_is_set_while_the_program_runs_is_noticed(
    machine: Machine,
) -> None:
    note()
    machine.passes(6 * 24 * HOUR)
    note()
    machine.wall += timedelta(minutes=9, seconds=59)
    note()
    machine.wall += timedelta(seconds=1)
    assert refusal() == "clock_jumped"
    assert Operation.objects.count() == 3
    machine.wall -= timedelta(seconds=1)  # set right again
    machine.passes(HOUR)
    note()


def test_a_clock_that_is_set_back_while_nothing_is_done_is_noticed(
    machine: Machine,
) -> None:
    note()
    machine.passes(5 * HOUR)
    machine.wall -= HOUR
    assert refusal() == "clock_jumped"


def test_a_gap_of_more_than_seven_days_asks_a_manager(
    machine: Machine, settings: Any
) -> None:
    note()
    machine.passes(7 * 24 * HOUR)
    note()
    machine.passes(7 * 24 * HOUR + timedelta(microseconds=1))
    assert refusal() == "clock_unconfirmed"
    settings.CLOCK_GAP_DAYS = 8
    note()
    settings.CLOCK_GAP_DAYS = 0
    machine.passes(900 * 24 * HOUR)
    note()


def test_acts_go_on_once_it_is_confirmed(machine: Machine) -> None:
    note()
    machine.passes(HOUR)
    machine.wall += 30 * 24 * HOUR
    assert refusal() == "clock_jumped"
    confirm_clock(sign=factories.sign(now=None))
    note()
    machine.passes(HOUR)
    note()
    machine.wall -= HOUR / 2
    assert refusal() == "clock_jumped"


def test_another_program_on_the_machine_knows_of_it(
    machine: Machine, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The server's other worker, begun before the clock was set."""
    note()
    machine.passes(HOUR)
    machine.wall += 30 * 24 * HOUR
    confirm_clock(sign=factories.sign(now=None))
    machine.boot = "b"  # the machine starts anew, its ticks from nothing
    machine.ticks = 5.0
    monkeypatch.setattr(clock, "_began", machine.look())
    note()
    machine.wall += HOUR
    assert refusal() == "clock_jumped"


def test_what_was_confirmed_before_the_machine_started_counts_no_more(
    machine: Machine, monkeypatch: pytest.MonkeyPatch
) -> None:
    machine.passes(20 * HOUR)
    confirm_clock(sign=factories.sign(now=None))
    machine.boot, machine.ticks = "b", 5.0
    monkeypatch.setattr(clock, "_began", machine.look())
    machine.passes(HOUR)
    assert note() == machine.wall


def test_the_two_clocks_of_this_machine_go_alike() -> None:
    """The one that counts goes on while the machine sleeps (Linux, clock_gettime(2))."""
    first, second = clock.look(), clock.look()
    assert second.ticks >= first.ticks
    assert second.boot == first.boot != ""
    assert abs(second.wall - first.wall) < HOUR


def test_a_manager_says_so_on_the_page(
    machine: Machine, client_for: Callable[[User], Client]
) -> None:
    note()
    machine.passes(30 * 24 * HOUR)
    packer, manager = (
        client_for(factories.make_person(role)) for role in ("packer", "manager")
    )
    day = text_of(packer.get("/"))
    assert "the newest act is of 2026-01-14 04:00:00" in day
    assert "Look at the clock" not in day
    assert packer.get("/set-up/clock/").status_code == 403
    page = text_of(manager.get("/set-up/clock/"))
    assert "2026-02-13 04:00</time> here?" in page
    data = {"op_key": str(uuid.uuid4())}
    assert manager.post("/set-up/clock/", data).status_code == 302
    assert "Nothing can be recorded" not in text_of(packer.get("/"))
    assert Operation.objects.latest("pk").name == "confirm_clock"
    note()


def test_a_clock_that_was_set_back_cannot_be_confirmed(
    machine: Machine, client_for: Callable[[User], Client]
) -> None:
    """No act is dated before one that is recorded."""
    note()
    machine.wall -= HOUR
    manager = client_for(factories.make_person("manager"))
    answer = manager.post("/set-up/clock/", {"op_key": str(uuid.uuid4())})
    assert_problem(answer, "clock_set_back")
