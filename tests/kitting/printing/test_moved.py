"""A printer's address that is changed while its jobs are on their way."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from kitting.domain.stages import PrintState
from kitting.domain.stocks import PrinterFacts
from kitting.models import PrintJob
from kitting.printing import worker
from kitting.printing.services.printers import keep_printer
from kitting.web.messages import ALL
from tests.factories import sign
from tests.kitting.ipp.fake_printer import PRINT_JOB
from tests.printers import Clock, FakePrinter, came_out, until_over

pytestmark = pytest.mark.django_db


@pytest.fixture
def other() -> Iterator[FakePrinter]:
    """Another printer, of which it would be sure that it never got the job."""
    with FakePrinter() as printer:
        printer.remember()
        yield printer


def move_to(printer: FakePrinter) -> None:
    facts = PrinterFacts("P1", "Printer P1", printer.url, "BOX")
    keep_printer(facts=facts, was="P1", sign=sign())


def test_a_job_that_waits_goes_to_the_new_address(
    job: PrintJob, fake: FakePrinter, other: FakePrinter, clock: Clock
) -> None:
    fake.stop()
    clock.step()
    move_to(other)
    assert until_over(job, clock)[-1] == "done"
    assert job.sent_to == other.url
    assert (fake.jobs, len(other.jobs)) == ([], 2)


def test_a_job_whose_answer_was_lost_is_not_sent_to_the_new_one(
    job: PrintJob, fake: FakePrinter, other: FakePrinter, clock: Clock
) -> None:
    """The label came out at the old one: again at the new one it would be out twice."""
    fake.fail("lose", PRINT_JOB)
    clock.step()
    move_to(other)
    assert until_over(job, clock) == ["failed"]
    assert (job.trouble, job.unsure) == ("printer_moved", True)
    assert came_out(fake) == 1
    assert len(other.jobs) == 1  # the one that it remembers


def test_a_job_in_the_printer_is_not_asked_for_at_the_new_one(
    job: PrintJob, fake: FakePrinter, other: FakePrinter, clock: Clock
) -> None:
    clock.step()
    job.refresh_from_db()
    assert job.state == PrintState.PRINTING
    asked = len(other.requests)
    move_to(other)
    assert until_over(job, clock) == ["failed"]
    assert (job.trouble, job.unsure, len(other.requests)) == (
        "printer_moved",
        True,
        asked,
    )


def test_a_job_from_before_addresses_were_kept_is_followed_as_ever(
    job: PrintJob, fake: FakePrinter, clock: Clock
) -> None:
    clock.step()
    PrintJob.objects.update(sent_to=None)
    assert until_over(job, clock)[-1] == "done"
    assert len(fake.jobs) == 1


@pytest.mark.parametrize("code", [worker.UNSURE, worker.MOVED, worker.FORGOT])
def test_what_the_worker_gives_a_job_up_for_has_a_sentence(code: str) -> None:
    assert code in ALL
