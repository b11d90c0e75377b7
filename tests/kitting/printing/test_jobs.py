"""Print jobs in people's hands: cancelled, sent again, settled by a look."""

from __future__ import annotations

import pytest

from kitting.domain.errors import PrinterFault
from kitting.domain.prints import DESTROYED, Again, Onto
from kitting.domain.stages import PrintState
from kitting.ipp.client import IppPrinter
from kitting.models import Box, Print, PrintJob
from kitting.packing.services.voiding import void_box
from kitting.printing.services import jobs, prints
from tests import factories
from tests.factories import sign
from tests.kitting.ipp.fake_printer import PRINT_JOB
from tests.printers import (
    BAG_ROLL,
    Clock,
    FakePrinter,
    came_out,
    make_printer,
    print_again,
    until_over,
)

pytestmark = pytest.mark.django_db


def test_a_job_that_waits_is_cancelled_at_once(
    job: PrintJob, fake: FakePrinter, clock: Clock
) -> None:
    done = jobs.cancel_job(job_id=job.pk, sign=sign())
    assert (done.state, done.stopping) == ("cancelled", False)
    clock.step()
    assert not fake.jobs
    job.refresh_from_db()
    assert job.document is None


def test_a_job_that_left_is_cancelled_at_the_printer(
    job: PrintJob, fake: FakePrinter, clock: Clock
) -> None:
    clock.step()
    fake.jobs[0].moves = False
    done = jobs.cancel_job(job_id=job.pk, sign=sign())
    assert (done.state, done.stopping) == ("printing", True)
    assert until_over(job, clock)[-1] == "cancelled"
    assert fake.jobs[0].state == "canceled"
    assert job.unsure


def test_a_job_that_is_done_before_it_could_be_cancelled_is_done(
    job: PrintJob, fake: FakePrinter, clock: Clock
) -> None:
    clock.step()
    fake.jobs[0].state = "completed"
    jobs.cancel_job(job_id=job.pk, sign=sign())
    assert until_over(job, clock) == ["done"]


def test_a_job_cancelled_while_a_worker_prepares_it_is_not_sent(
    job: PrintJob, fake: FakePrinter, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    validate = IppPrinter.validate

    def meanwhile(self: IppPrinter, **kwargs: object) -> None:
        validate(self, **kwargs)  # type: ignore[arg-type]
        jobs.cancel_job(job_id=job.pk, sign=sign())

    monkeypatch.setattr(IppPrinter, "validate", meanwhile)
    clock.step()
    job.refresh_from_db()
    assert job.state == "cancelled"
    assert not fake.jobs


def test_a_cancelled_job_stays_so_whatever_a_worker_writes(
    job: PrintJob, fake: FakePrinter, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    def meanwhile(self: IppPrinter, **kwargs: object) -> None:
        jobs.cancel_job(job_id=job.pk, sign=sign())
        raise PrinterFault("printer_no_pdf", formats="none")

    monkeypatch.setattr(IppPrinter, "validate", meanwhile)
    clock.step()
    job.refresh_from_db()
    assert job.state == "cancelled"


def test_a_job_asked_to_stop_in_the_queue_ends_there(
    job: PrintJob, fake: FakePrinter, clock: Clock
) -> None:
    """As when its answer was lost, it was cancelled, and then surely never arrived."""
    fake.remember()
    fake.fail("close", PRINT_JOB)
    clock.step()
    jobs.cancel_job(job_id=job.pk, sign=sign())
    assert until_over(job, clock)[-1] == "cancelled"
    assert came_out(fake) == 1, "only the older one"
    assert not job.unsure


def test_what_is_over_is_not_cancelled(job: PrintJob, clock: Clock) -> None:
    until_over(job, clock)
    with pytest.raises(Exception, match="job_is_over"):
        jobs.cancel_job(job_id=job.pk, sign=sign())


def failed(job: PrintJob, *, unsure: bool) -> None:
    PrintJob.objects.filter(pk=job.pk).update(
        state=PrintState.FAILED, unsure=unsure, ipp_job=7, trouble="printer_unsure"
    )


def test_a_failed_job_is_sent_again_under_another_name(
    job: PrintJob, fake: FakePrinter, clock: Clock
) -> None:
    failed(job, unsure=False)
    for turn in (2, 3):
        jobs.send_again(job_id=job.pk, nothing_out=False, sign=sign())
        job.refresh_from_db()
        assert job.name.endswith(f"_{turn}")
        assert (job.state, job.ipp_job, job.trouble) == ("queued", None, "")
        failed(job, unsure=False)
    jobs.send_again(job_id=job.pk, nothing_out=False, sign=sign())
    assert until_over(job, clock)[-1] == "done"
    assert Print.objects.count() == 1, "the same labels: no reprint"


def test_where_some_may_be_out_somebody_has_to_look_first(job: PrintJob) -> None:
    failed(job, unsure=True)
    with pytest.raises(Exception, match="job_may_have_printed"):
        jobs.send_again(job_id=job.pk, nothing_out=False, sign=sign())
    jobs.send_again(job_id=job.pk, nothing_out=True, sign=sign())
    job.refresh_from_db()
    assert (job.state, job.unsure) == ("queued", False)


def test_labels_that_were_printed_again_since_are_not_sent_again(
    box: Box, job: PrintJob
) -> None:
    failed(job, unsure=True)
    print_again(box, "P1")
    with pytest.raises(Exception, match="job_was_replaced"):
        jobs.send_again(job_id=job.pk, nothing_out=True, sign=sign())
    job.refresh_from_db()
    assert job.state == "failed"


def test_a_reprint_cancels_the_job_that_waits_with_the_label_before(
    box: Box, job: PrintJob, fake: FakePrinter, clock: Clock
) -> None:
    """The printer was off; once it is on, two labels of one box would come out."""
    fake.stop()
    clock.step()
    second = print_again(box, "P1")
    fake.start()
    job.refresh_from_db()
    assert (job.state, job.document, job.unsure) == ("cancelled", None, False)
    assert until_over(second, clock)[-1] == "done"
    assert [one.name for one in fake.jobs] == [second.name]


def test_a_reprint_stops_the_label_before_that_is_at_the_printer(
    box: Box, job: PrintJob, fake: FakePrinter, clock: Clock
) -> None:
    fake.course = []
    clock.step()
    second = print_again(box, "P1")
    fake.course = ["processing", "completed"]
    assert until_over(second, clock)[-1] == "done"
    job.refresh_from_db()
    assert (job.state, job.unsure) == ("cancelled", True)
    assert came_out(fake) == 1


def test_a_reprint_of_some_labels_leaves_the_job_of_more_alone(
    fake: FakePrinter,
) -> None:
    make_printer(fake.url, BAG_ROLL)
    codes = sorted(factories.make_place().code for _ in range(2))
    onto = Onto(printer="P1")
    both = {"kind": "place", "onto": onto}
    done = prints.print_labels(numbers=codes, sign=sign(), **both)
    again = Again("Spoilt", DESTROYED)
    for code, state in zip(codes, ("queued", "cancelled"), strict=True):
        prints.print_labels(numbers=[code], again=again, sign=sign(), **both)
        assert PrintJob.objects.get(pk=done.job).state == state
    waiting = PrintJob.objects.filter(state="queued").count()
    assert waiting == len(codes), "the reprints themselves"


def test_a_second_set_of_command_labels_leaves_the_first_on_its_way() -> None:
    make_printer("ipp://printer.example/ipp/print", BAG_ROLL)
    of = {"kind": "command", "numbers": ["ACT-CLOSE"], "onto": Onto(printer="P1")}
    first, _second = (prints.print_labels(**of, sign=sign()).job for _ in range(2))
    job = PrintJob.objects.get(pk=first)
    assert (job.state, job.stop_asked) == ("queued", False)
    failed(job, unsure=False)
    jobs.send_again(job_id=job.pk, nothing_out=False, sign=sign())
    assert PrintJob.objects.filter(state="queued").count() == 2


def test_a_label_that_waits_does_not_come_out_for_a_voided_box(
    box: Box, job: PrintJob, fake: FakePrinter, clock: Clock
) -> None:
    void_box(box_id=box.pk, reason="Dropped", label=DESTROYED, sign=sign())
    job.refresh_from_db()
    assert (job.state, job.document) == ("cancelled", None)
    assert clock.step() == 0
    assert not fake.jobs


def test_a_label_of_a_voided_box_is_not_sent_again(box: Box, job: PrintJob) -> None:
    failed(job, unsure=False)
    void_box(box_id=box.pk, reason="Dropped", label=DESTROYED, sign=sign())
    with pytest.raises(Exception, match="box_wrong_stage"):
        jobs.send_again(job_id=job.pk, nothing_out=True, sign=sign())
    job.refresh_from_db()
    assert job.state == "failed"


def test_labels_that_came_out_after_all_are_settled(job: PrintJob) -> None:
    failed(job, unsure=True)
    assert jobs.settle_job(job_id=job.pk, sign=sign()).state == "done"
    job.refresh_from_db()
    assert (job.document, job.unsure) == (None, False)


@pytest.mark.parametrize("act", [jobs.send_again, jobs.settle_job])
def test_a_job_on_its_way_is_neither_sent_again_nor_settled(job: PrintJob, act) -> None:
    more = {"nothing_out": True} if act is jobs.send_again else {}
    with pytest.raises(Exception, match="job_not_failed"):
        act(job_id=job.pk, sign=sign(), **more)
