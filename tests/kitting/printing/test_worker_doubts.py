"""What the print worker doubts: its own clock, its own hand, and what a printer counts.

Printers count jobs and seconds anew when they start (RFC 8011 §5.3.2, §5.4.29).
"""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db import InterfaceError

from kitting.ipp.client import IppPrinter
from kitting.management.commands import printworker
from kitting.models import Printer, PrintJob
from kitting.printing.services import jobs
from kitting.printing.worker import FAR, IN_HAND, Worker
from kitting.web.messages import ALL
from tests.factories import NOW, sign
from tests.kitting.ipp.fake_printer import CANCEL_JOB, PRINT_JOB
from tests.patience import PATIENCE_S
from tests.printers import Clock, FakePrinter, came_out, reach, until_over

pytestmark = pytest.mark.django_db

REFUSED = 0x0404
"""client-error-not-possible (RFC 8011, appendix B)."""

BUSY = 0x0507
"""server-error-busy."""

DAY = timedelta(days=1)


# --- Its own clock --------------------------------------------------------------------


def test_a_clock_that_is_put_back_keeps_no_job_from_being_followed(
    job: PrintJob, fake: FakePrinter, clock: Clock
) -> None:
    fake.course = ["processing"]
    clock.step()
    clock.at -= DAY
    fake.jobs[0].state = "completed"
    assert until_over(job, clock) == ["done"]


def test_a_clock_that_is_put_back_wakes_a_printer_that_was_left_alone(
    job: PrintJob, fake: FakePrinter, clock: Clock
) -> None:
    fake.stop()
    clock.step()
    fake.start()
    clock.at -= DAY
    assert until_over(job, clock)[-1] == "done"


def test_a_job_that_a_dead_worker_had_in_hand_is_free_after_the_clock_is_put_back(
    job: PrintJob, clock: Clock
) -> None:
    PrintJob.objects.update(worked_until=clock.at + DAY)
    assert until_over(job, clock)[-1] == "done"


def test_a_worker_whose_clock_is_ahead_keeps_its_job(
    job: PrintJob, clock: Clock
) -> None:
    PrintJob.objects.update(worked_until=clock.at + IN_HAND + FAR / 2)
    assert clock.step() == 0


# --- Its own hand ---------------------------------------------------------------------


class Slow(IppPrinter):
    """A printer that takes so long that another worker may take the job from one."""

    clock: Clock
    other: Clock
    before: timedelta
    """How long the steps before sending take."""

    sending: timedelta
    """How long the document is on its way."""

    def validate(self, **wish) -> None:
        super().validate(**wish)
        self._goes_by(self.before)

    def send(self, pdf, **wish):
        self._goes_by(self.sending)
        return super().send(pdf, **wish)

    def _goes_by(self, time: timedelta) -> None:
        Slow.clock.at += time
        Slow.other.at = Slow.clock.at
        # The other one would look for it, be sure that it is not there, and send it.
        for _ in range(2):
            Slow.other.worker.step()


@pytest.mark.parametrize(
    ("before", "sending"),
    [
        (timedelta(seconds=110), timedelta(seconds=110)),
        (IN_HAND, timedelta()),
    ],
)
def test_a_slow_printer_is_sent_a_job_by_one_worker(
    job: PrintJob,
    fake: FakePrinter,
    clock: Clock,
    before: timedelta,
    sending: timedelta,
) -> None:
    fake.remember()
    Slow.clock, Slow.other = clock, Clock()
    Slow.before, Slow.sending = before, sending
    slow = Worker(
        now=lambda: clock.at,
        connect=lambda address: Slow(
            reach(address).address, user="lotward", timeout=PATIENCE_S
        ),
    )
    assert slow.step() == 1
    until_over(job, clock)
    assert job.state == "done"
    assert came_out(fake) == 2, "the older one, and this one once"


def test_who_has_lost_a_job_lets_go_of_it_for_nobody_else(
    job: PrintJob, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    theirs = clock.at + DAY

    def meanwhile(self: IppPrinter) -> None:
        PrintJob.objects.update(worked_until=theirs)
        msg = "no such thing"
        raise ZeroDivisionError(msg)

    monkeypatch.setattr(IppPrinter, "facts", meanwhile)
    clock.step()
    job.refresh_from_db()
    assert (job.state, job.worked_until) == ("queued", theirs)


# --- What a printer counts ------------------------------------------------------------


def test_a_job_of_another_name_is_not_taken_for_ours(
    job: PrintJob, fake: FakePrinter, clock: Clock
) -> None:
    """The power went: the first job since is somebody else's, and it is done."""
    fake.course = ["processing"]
    clock.step()
    fake.restart()
    fake.remember("somebody else's")
    assert until_over(job, clock) == ["failed"]
    assert (job.trouble, job.unsure) == ("printer_no_such_job", True)


def test_a_job_of_another_name_is_not_cancelled(
    job: PrintJob, fake: FakePrinter, clock: Clock
) -> None:
    fake.course = ["processing"]
    clock.step()
    fake.restart()
    others = fake.remember("somebody else's")
    others.state = "pending"
    jobs.cancel_job(job_id=job.pk, sign=sign())
    assert until_over(job, clock) == ["failed"]
    assert others.state != "canceled"


def test_a_name_that_the_printer_cut_short_is_ours(
    job: PrintJob, fake: FakePrinter, clock: Clock
) -> None:
    clock.step()
    fake.jobs[0].name = job.name[:30]
    assert until_over(job, clock)[-1] == "done"


def test_a_printer_that_is_up_longer_than_then_may_have_been_restarted_all_the_same(
    job: PrintJob, fake: FakePrinter, clock: Clock
) -> None:
    """It was just switched on, printed, started anew, and printed another's since."""
    fake.up_time = 60
    fake.fail("lose", PRINT_JOB)
    clock.step(0)
    assert came_out(fake) == 1
    fake.restart()
    fake.remember(ended_at=20)
    assert until_over(job, clock, most=3) == ["failed"]
    assert (job.trouble, len(fake.jobs)) == ("printer_unsure", 1)


@pytest.mark.parametrize("up_time", [-50, 0])
def test_a_printer_that_counts_no_seconds_prints_all_the_same(
    job: PrintJob, fake: FakePrinter, clock: Clock, up_time: int
) -> None:
    clock.printer, fake.up_time = None, up_time - 1
    assert until_over(job, clock)[-1] == "done"


# --- Asked to stop --------------------------------------------------------------------


def test_a_job_whose_answer_was_lost_is_looked_for_in_its_time_though_cancelled(
    job: PrintJob, fake: FakePrinter, clock: Clock
) -> None:
    """Cancelled at once, it could be said not to be there, and come out after all."""
    fake.remember()
    fake.fail("close", PRINT_JOB)
    clock.step()
    jobs.cancel_job(job_id=job.pk, sign=sign())
    assert clock.step(1) == 0
    assert clock.step(10) == 1


def test_a_job_that_will_not_stop_is_not_asked_without_a_pause(
    job: PrintJob, fake: FakePrinter, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(IppPrinter, "cancel", lambda self, job_id: None)
    fake.course = ["processing"]
    clock.step()
    jobs.cancel_job(job_id=job.pk, sign=sign())
    assert [clock.step(1), clock.step(0), clock.step(0)] == [1, 0, 0]


def test_a_job_that_its_printer_refuses_to_stop_holds_up_no_other(
    job: PrintJob, fake: FakePrinter, clock: Clock
) -> None:
    fake.course = ["processing"]
    fake.refuse(REFUSED, CANCEL_JOB)
    clock.step()
    jobs.cancel_job(job_id=job.pk, sign=sign())
    assert until_over(job, clock) == ["failed"]
    assert (job.trouble, job.unsure) == ("printer_refused", True)


def test_a_printer_that_is_busy_is_asked_again_to_stop_a_job(
    job: PrintJob, fake: FakePrinter, clock: Clock
) -> None:
    fake.course = ["processing"]
    fake.refuse(BUSY, CANCEL_JOB)
    clock.step()
    jobs.cancel_job(job_id=job.pk, sign=sign())
    assert until_over(job, clock) == ["printing", "cancelled"]


# --- Faults of its own ----------------------------------------------------------------


def test_a_fault_of_its_own_fails_one_job_and_no_more(
    job: PrintJob, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as once:
        once.setattr(IppPrinter, "facts", lambda self: 1 // 0)
        assert clock.step() == 1
    job.refresh_from_db()
    assert (job.state, job.trouble, job.unsure) == (
        "failed",
        "print_worker_broke",
        False,
    )
    assert job.trouble in ALL
    assert job.worked_until is None


def test_a_database_that_is_away_fails_no_job(
    job: PrintJob, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    def away(self: IppPrinter) -> None:
        raise InterfaceError

    monkeypatch.setattr(IppPrinter, "facts", away)
    with pytest.raises(InterfaceError):
        clock.step()
    job.refresh_from_db()
    assert job.state == "queued"


def test_the_command_goes_on_after_its_connection_was_cut(
    job: PrintJob, fake: FakePrinter, monkeypatch: pytest.MonkeyPatch
) -> None:
    step, cuts = Worker.step, []

    def cut(self: Worker) -> int:
        if not cuts:
            cuts.append(InterfaceError("connection is closed"))
            raise cuts[0]
        return step(self)

    slept = []
    monkeypatch.setattr(Worker, "step", cut)
    monkeypatch.setattr(printworker, "close_old_connections", lambda: None)
    monkeypatch.setattr(printworker.time, "sleep", slept.append)
    monkeypatch.setattr(
        printworker, "_until_told", lambda: lambda: bool(fake.jobs) and len(slept) > 2
    )
    printworker.Command().handle(once=False, beside=None)
    assert len(fake.jobs) == 1
    assert Printer.objects.get().asleep_until is None


def test_a_job_that_a_printer_agrees_to_stop_and_keeps_holds_up_no_other(
    job: PrintJob, fake: FakePrinter, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    clock.step()
    fake.jobs[0].moves = False
    monkeypatch.setattr(IppPrinter, "cancel", lambda *args: None)
    jobs.cancel_job(job_id=job.pk, sign=sign())
    clock.step(100)
    job.refresh_from_db()
    assert (job.state, job.trouble) == ("printing", ""), "it is given some minutes"
    clock.step(300)
    job.refresh_from_db()
    assert (job.state, job.trouble, job.unsure) == ("failed", "printer_keeps_job", True)


def test_a_worker_is_seen_at_work_before_each_printer(
    job: PrintJob, fake: FakePrinter
) -> None:
    beats: list[int] = []
    now = NOW
    worker = Worker(now=lambda: now, connect=reach, beat=lambda: beats.append(1))
    worker.step()
    assert beats == [1]
