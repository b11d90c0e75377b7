"""The print worker against a printer that fails in every way: each label out once.

States of printers and jobs: RFC 8011 §5.3.7 and §5.4.11.
"""

from __future__ import annotations

import os
import signal
from io import StringIO

import pytest
from django.core.management import call_command

from kitting.domain.errors import PrinterFault, Refused
from kitting.domain.prints import Onto
from kitting.ipp.client import IppPrinter
from kitting.management.commands import printworker
from kitting.models import Box, Print, Printer, PrintJob
from kitting.packing.services.labels import print_box_label
from kitting.printing.worker import Worker
from tests import factories
from tests.assertions import assert_refused
from tests.factories import sign
from tests.kitting.ipp.fake_printer import GET_JOB, PRINT_JOB, VALIDATE_JOB
from tests.patience import PATIENCE_S
from tests.printers import Clock, FakePrinter, came_out, make_printer, until_over

pytestmark = pytest.mark.django_db

BUSY = 0x0507
FORMAT_NOT_SUPPORTED = 0x040A


def test_a_job_is_taken_to_its_printer_and_followed_to_its_end(
    job: PrintJob, fake: FakePrinter, clock: Clock
) -> None:
    document = bytes(job.document or b"")
    assert until_over(job, clock) == ["printing", "printing", "done"]
    (sent,) = fake.jobs
    assert sent.pdf == document
    assert sent.media == (10_000, 15_000)
    assert (sent.name, sent.user, sent.copies) == (job.name, "lotward", 1)
    assert sent.scaling == "none"
    assert bytes(Print.objects.get().pdf_sha) == bytes(job.pdf_sha)
    assert (job.document, job.trouble, job.worked_until) == (None, "", None)
    assert clock.step() == 0


def test_jobs_of_one_printer_are_printed_in_the_order_they_were_asked_for(
    box: Box, job: PrintJob, fake: FakePrinter, clock: Clock
) -> None:
    onto = Onto(printer="P1")
    another = factories.make_closed_box(box.size)
    done = print_box_label(box_id=another.pk, onto=onto, sign=sign())
    second = PrintJob.objects.get(pk=done.job)
    until_over(second, clock, most=12)
    assert [one.name for one in fake.jobs] == [job.name, second.name]


def test_an_answer_that_is_lost_is_looked_up_and_nothing_is_sent_twice(
    job: PrintJob, fake: FakePrinter, clock: Clock
) -> None:
    fake.fail("lose", PRINT_JOB)
    clock.step()
    job.refresh_from_db()
    assert (job.state, job.trouble) == ("sent", "printer_answer_lost")
    assert clock.step(1) == 0, "the printer is given its time first"
    assert until_over(job, clock)[-1] == "done"
    assert came_out(fake) == 1


def test_a_job_that_surely_never_arrived_is_sent_again(
    job: PrintJob, fake: FakePrinter, clock: Clock
) -> None:
    fake.remember()
    fake.fail("close", PRINT_JOB)
    assert until_over(job, clock)[-1] == "done"
    assert came_out(fake) == 2, "the older one, and this one once"


def test_where_the_printer_cannot_tell_a_person_is_asked_to_look(
    job: PrintJob, fake: FakePrinter, clock: Clock
) -> None:
    fake.fail("lose", PRINT_JOB)
    clock.step()
    fake.restart()
    assert until_over(job, clock) == ["failed"]
    assert (job.unsure, job.trouble) == (True, "printer_unsure")
    assert job.document is not None
    assert clock.step() == 0


def test_a_printer_that_is_off_is_asked_again_later_and_later(
    job: PrintJob, fake: FakePrinter, clock: Clock
) -> None:
    fake.stop()
    for naps in range(1, 4):
        clock.step()
        job.refresh_from_db()
        assert (job.state, job.trouble, job.naps) == (
            "queued",
            "printer_unreachable",
            naps,
        )
        asleep = Printer.objects.get().asleep_until
        assert asleep is not None
        assert (asleep - clock.at).total_seconds() == 2**naps
        assert clock.step(1) == 0
    fake.start()
    assert until_over(job, clock)[-1] == "done"
    assert (job.naps, Printer.objects.get().asleep_until) == (0, None)


def test_a_printer_that_went_off_after_it_was_sent_to_keeps_the_job_sent(
    job: PrintJob, fake: FakePrinter, clock: Clock
) -> None:
    """Not back to the queue: it may have it."""
    fake.fail("lose", PRINT_JOB)
    clock.step()
    fake.stop()
    clock.step()
    job.refresh_from_db()
    assert (job.state, job.trouble) == ("sent", "printer_unreachable")
    fake.start()
    assert until_over(job, clock)[-1] == "done"
    assert came_out(fake) == 1


def test_a_printer_that_goes_off_in_the_instant_of_sending_gets_it_later(
    job: PrintJob, fake: FakePrinter, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nothing was taken, so nothing has to be looked up."""

    def off(*args: object, **kwargs: object) -> None:
        raise PrinterFault("printer_unreachable", again=True)

    with monkeypatch.context() as instant:
        instant.setattr(IppPrinter, "send", off)
        clock.step()
    job.refresh_from_db()
    assert job.state == "queued"
    assert until_over(job, clock)[-1] == "done"
    assert came_out(fake) == 1


def test_a_busy_printer_is_waited_for(
    job: PrintJob, fake: FakePrinter, clock: Clock
) -> None:
    fake.refuse(BUSY, VALIDATE_JOB)
    clock.step()
    job.refresh_from_db()
    assert (job.state, job.trouble) == ("queued", "printer_busy")
    assert until_over(job, clock)[-1] == "done"


def test_out_of_labels_is_told_while_the_job_waits_at_the_printer(
    job: PrintJob, fake: FakePrinter, clock: Clock
) -> None:
    clock.step()
    fake.jobs[0].moves = False
    fake.state, fake.reasons = "stopped", ["media-empty-error"]
    clock.step()
    job.refresh_from_db()
    assert (job.state, job.trouble) == ("printing", "printer_out_of_labels")
    assert job.told == {"reason": "media-empty-error"}
    fake.state, fake.reasons = "idle", ["none"]
    fake.jobs[0].moves = True
    assert until_over(job, clock)[-1] == "done"
    assert job.trouble == ""


def test_what_stands_at_the_printer_is_told_from_the_jobs_own_reasons_as_well(
    job: PrintJob, fake: FakePrinter, clock: Clock
) -> None:
    clock.step()
    fake.jobs[0].moves = False
    fake.jobs[0].reasons = ["job-printing", "media-needed"]
    clock.step()
    job.refresh_from_db()
    assert job.trouble == "printer_out_of_labels"
    # RFC 8011 §5.3.8: a job that is printed says so, and that is no trouble.
    fake.jobs[0].reasons = ["job-printing"]
    clock.step()
    clock.step()
    job.refresh_from_db()
    assert (job.state, job.trouble) == ("printing", "")


@pytest.mark.parametrize(
    ("ends", "state", "code"),
    [
        ("aborted", "failed", "printer_job_aborted"),
        ("canceled", "cancelled", "printer_job_canceled"),
    ],
)
def test_a_job_that_the_printer_gave_up_may_be_half_out(
    job: PrintJob, fake: FakePrinter, clock: Clock, ends: str, state: str, code: str
) -> None:
    clock.step()
    fake.jobs[0].state = ends
    fake.jobs[0].moves = False
    assert until_over(job, clock) == [state]
    assert (job.trouble, job.unsure) == (code, True)


def test_a_job_that_ended_with_errors_is_not_done(
    job: PrintJob, fake: FakePrinter, clock: Clock
) -> None:
    """RFC 8011 §5.3.8: completed, but "one or more errors occurred"."""
    clock.step()
    fake.jobs[0].state = "completed"
    fake.jobs[0].moves = False
    fake.jobs[0].reasons = ["job-completed-with-errors"]
    assert until_over(job, clock) == ["failed"]
    assert (job.trouble, job.unsure) == ("printer_job_aborted", True)


def test_a_job_that_the_printer_forgot_is_no_job_that_is_done(
    job: PrintJob, fake: FakePrinter, clock: Clock
) -> None:
    clock.step()
    fake.jobs.clear()
    assert until_over(job, clock) == ["failed"]
    assert (job.trouble, job.unsure) == ("printer_no_such_job", True)


def test_a_printer_that_takes_no_pdf_fails_the_job_before_anything_is_sent(
    job: PrintJob, fake: FakePrinter, clock: Clock
) -> None:
    fake.formats = ["image/pwg-raster"]
    assert until_over(job, clock) == ["failed"]
    assert (job.trouble, job.unsure) == ("printer_no_pdf", False)
    assert not fake.jobs


def test_other_labels_than_the_stock_fail_the_job(
    job: PrintJob, fake: FakePrinter, clock: Clock
) -> None:
    fake.media = fake.ready = [(7_000, 4_000)]
    assert until_over(job, clock) == ["failed"]
    assert (job.trouble, job.unsure) == ("printer_media_missing", False)


def test_a_wish_that_was_set_aside_fails_the_job_and_is_not_looked_up(
    job: PrintJob, fake: FakePrinter, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(IppPrinter, "validate", lambda *args, **kwargs: None)
    fake.ignores = {"media-col"}
    assert until_over(job, clock) == ["failed"]
    assert (job.trouble, job.unsure) == ("printer_substitutes", True)
    fake.complaints.clear()


def test_an_answer_in_the_middle_that_makes_no_sense_leaves_it_unsure(
    job: PrintJob, fake: FakePrinter, clock: Clock
) -> None:
    clock.step()
    fake.refuse(FORMAT_NOT_SUPPORTED, GET_JOB)
    assert until_over(job, clock) == ["failed"]
    assert job.unsure


def test_an_address_that_must_not_be_reached_fails_the_job(
    job: PrintJob, clock: Clock
) -> None:
    Printer.objects.update(address="ipp://169.254.1.1/ipp/print")
    assert until_over(job, clock) == ["failed"]
    assert (job.trouble, job.unsure) == ("printer_address_not_allowed", False)


def test_one_printer_that_is_off_does_not_hold_up_another(
    box: Box, job: PrintJob, fake: FakePrinter, clock: Clock
) -> None:
    with FakePrinter() as second:
        make_printer(second.url, code="P2")
        fake.stop()
        clock.step()
        onto = Onto(printer="P2")
        another = factories.make_closed_box(box.size)
        done = print_box_label(box_id=another.pk, onto=onto, sign=sign())
        other = PrintJob.objects.get(pk=done.job)
        assert until_over(other, clock)[-1] == "done"
        fake.start()


def test_a_worker_that_died_after_sending_is_followed_by_one_that_looks_first(
    job: PrintJob, fake: FakePrinter, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The power goes between the sending and the writing down."""
    send = IppPrinter.send

    def dies(*args: object, **kwargs: object) -> None:
        send(*args, **kwargs)  # type: ignore[arg-type]
        raise SystemExit

    with monkeypatch.context() as once:
        once.setattr(IppPrinter, "send", dies)
        with pytest.raises(SystemExit):
            clock.step()
    job.refresh_from_db()
    assert (job.state, job.ipp_job) == ("sent", None)
    assert until_over(job, clock)[-1] == "done"
    assert came_out(fake) == 1


def test_two_workers_never_have_one_job_in_hand(
    job: PrintJob, fake: FakePrinter, clock: Clock
) -> None:
    taken = []

    class Nosy(IppPrinter):
        def facts(self):
            taken.append(other.worker.step())
            return super().facts()

    other = Clock()
    slow = Worker(
        now=lambda: clock.at,
        connect=lambda address: Nosy(
            clock.worker.connect(address).address, user="lotward", timeout=PATIENCE_S
        ),
    )
    assert slow.step() == 1
    assert set(taken) == {0}
    assert came_out(fake) == 1


# --- The command ----------------------------------------------------------------------


def test_the_command_works_off_what_there_is(job: PrintJob, fake: FakePrinter) -> None:
    call_command("printworker", once=True, stdout=StringIO())
    assert len(fake.jobs) == 1
    job.refresh_from_db()
    assert job.state in ("printing", "done")


def test_the_command_ends_when_what_it_stands_beside_has_ended(
    job: PrintJob, fake: FakePrinter
) -> None:
    """The highest number of a process is 2²² (Linux, proc(5), pid_max)."""
    call_command("printworker", beside=2**22 + 1, stdout=StringIO())
    assert fake.requests == [], "not even one step"


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_the_command_ends_when_it_is_told_to(
    job: PrintJob, monkeypatch: pytest.MonkeyPatch, number: int
) -> None:
    before = {one: signal.getsignal(one) for one in (signal.SIGTERM, signal.SIGINT)}
    naps = []

    def told(seconds: float) -> None:
        naps.append(seconds)
        signal.raise_signal(number)

    monkeypatch.setattr(printworker.time, "sleep", told)
    # The test goes on in the transaction of this connection.
    monkeypatch.setattr(printworker, "close_old_connections", lambda: None)
    try:
        call_command("printworker", beside=os.getpid(), stdout=StringIO())
    finally:
        for one, handler in before.items():
            signal.signal(one, handler)
    assert naps == [printworker.PAUSE_S]
    job.refresh_from_db()
    assert job.state == "printing", "what it had in hand was finished first"


def test_a_process_of_somebody_else_has_not_ended(
    job: PrintJob, fake: FakePrinter, monkeypatch: pytest.MonkeyPatch
) -> None:
    def forbidden(pid: int, number: int) -> None:
        raise PermissionError

    monkeypatch.setattr(printworker.os, "kill", forbidden)
    call_command("printworker", beside=1, once=True, stdout=StringIO())
    assert len(fake.jobs) == 1


def test_a_printer_is_reached_with_the_settings_own_certificates(settings) -> None:
    from kitting.printing.worker import reach

    settings.PRINTER_CA_FILE = "/nowhere/ca.pem"
    client = reach("ipps://printer.example/ipp/print")
    assert client.address.secure
    with pytest.raises(Refused) as error:
        reach("http://printer.example/")
    assert_refused(error.value, "printer_address_wrong")
