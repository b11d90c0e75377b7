"""Print jobs in people's hands: cancelled, sent again, or settled by a look."""

from __future__ import annotations

from dataclasses import dataclass

from django.db.models import Exists

from kitting.domain.errors import Conflict, WrongStage
from kitting.domain.stages import PRINT_OVER, BoxStage, PrintState
from kitting.ledger import locking
from kitting.ledger.needs import wrong_box
from kitting.ledger.operations import Act, Sign, perform
from kitting.models import Box, PrintJob
from kitting.printing.queries.prints import newer_copies
from kitting.printing.steps import OF_BOXES, stop


@dataclass(frozen=True)
class JobNow:
    """How a job stands after an act."""

    job: int
    state: str
    stopping: bool = False
    """Whether its printer is still to be asked to stop."""


def cancel_job(*, job_id: int, sign: Sign) -> JobNow:
    """Cancel a print job; what came out by then stays in the print log.

    A job that has not left is cancelled at once. Of one that has, the worker asks the
    printer to give it up, and what the printer says then stands.

    Args:
        job_id: The job.
        sign: Who, when and the operation key.

    Returns:
        How it stands.

    Raises:
        Missing: If there is no such job.
        WrongStage: ``job_is_over``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> JobNow:
        job = locking.lock_row(PrintJob, job_id)
        if job.state in PRINT_OVER:
            raise WrongStage("job_is_over", job=job.title, state=job.state)
        stop(job, act.now)
        return JobNow(job.pk, job.state, stopping=job.state != PrintState.CANCELLED)

    return perform("cancel_job", work, JobNow, sign, job=job_id)


def send_again(*, job_id: int, nothing_out: bool, sign: Sign) -> JobNow:
    """Send a failed job again: the same labels, so no reprint.

    Args:
        job_id: The job.
        nothing_out: Whether whoever asks has looked and none of its labels came out.
            Needed where that is not known otherwise.
        sign: Who, when and the operation key.

    Returns:
        How it stands.

    Raises:
        Conflict: ``job_may_have_printed`` if some may have come out,
            ``job_was_replaced`` if one of its labels was printed again since.
        Missing: If there is no such job.
        WrongStage: ``job_not_failed``; ``box_wrong_stage`` if its box was voided since.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> JobNow:
        del act
        job = locking.lock_row(PrintJob, job_id)
        _need_failed(job)
        if job.unsure and not nothing_out:
            raise Conflict("job_may_have_printed", job=job.title)
        _refuse_replaced(job)
        _refuse_voided(job)
        # Another name: the printer may still know the one before.
        root, _dash, turn = job.name.partition("_")
        job.name = f"{root}_{int(turn or 1) + 1}"
        job.state, job.unsure, job.trouble, job.told = PrintState.QUEUED, False, "", {}
        job.ipp_job = job.sent_at = job.ended_at = job.next_try = job.up_time = None
        job.naps, job.stop_asked = 0, False
        job.save()
        return JobNow(job.pk, job.state)

    return perform(
        "send_again", work, JobNow, sign, job=job_id, nothing_out=nothing_out
    )


def settle_job(*, job_id: int, sign: Sign) -> JobNow:
    """Say of a failed job that all its labels came out after all.

    Args:
        job_id: The job.
        sign: Who, when and the operation key.

    Returns:
        How it stands.

    Raises:
        Missing: If there is no such job.
        WrongStage: ``job_not_failed``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> JobNow:
        del act
        job = locking.lock_row(PrintJob, job_id)
        _need_failed(job)
        job.state, job.document, job.unsure = PrintState.DONE, None, False
        job.save(update_fields=["state", "document", "unsure"])
        return JobNow(job.pk, job.state)

    return perform("settle_job", work, JobNow, sign, job=job_id)


def _refuse_replaced(job: PrintJob) -> None:
    """Refuse to send labels again of which there is a newer copy: two would be out."""
    for logged in job.prints.filter(Exists(newer_copies())):
        raise Conflict("job_was_replaced", label=str(logged.number))


def _refuse_voided(job: PrintJob) -> None:
    """Refuse to send labels of a box that came to nothing since."""
    named = job.prints.filter(kind__in=OF_BOXES).values("number")
    for box in Box.objects.filter(serial__in=named, stage=BoxStage.VOIDED):
        raise wrong_box(box, "printed")


def _need_failed(job: PrintJob) -> None:
    if job.state != PrintState.FAILED:
        raise WrongStage("job_not_failed", job=job.title, state=job.state)
