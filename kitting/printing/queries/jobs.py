"""Print jobs, as the pages of labels show them."""

from __future__ import annotations

from typing import Final

from django.db.models import Exists, OuterRef, Q, QuerySet

from kitting.domain.errors import LotwardError
from kitting.domain.stages import PRINT_OVER, PrintState
from kitting.models import Print, PrintJob
from kitting.printing.queries.prints import newer_copies
from kitting.web.messages import sentence

WAY: Final = "way"


FAILED: Final = "failed"


OVER: Final = "over"


def print_jobs(only: str = "") -> QuerySet[PrintJob]:
    """Print jobs, newest first.

    Args:
        only: ``WAY`` for those on their way, ``FAILED`` for those that failed and wait
            for somebody, ``OVER`` for the others; empty for all.

    Returns:
        With their printer and ``replaced``: whether every label was printed again since.
    """
    jobs = PrintJob.objects.select_related("printer").defer("document")
    prints = Print.objects.filter(job=OuterRef("pk"))
    replaced = Exists(prints) & ~Exists(prints.filter(~Exists(newer_copies())))
    jobs = jobs.annotate(replaced=replaced)
    waits = Q(state=PrintState.FAILED, replaced=False)
    if only == WAY:
        jobs = jobs.exclude(state__in=PRINT_OVER)
    elif only == FAILED:
        jobs = jobs.filter(waits)
    elif only == OVER:
        jobs = jobs.filter(state__in=PRINT_OVER).exclude(waits)
    return jobs.order_by("-pk")


def labels_of_job(job: PrintJob) -> QuerySet[Print]:
    """What stands in the log for a job, in the order in which it comes out."""
    return job.prints.select_related("box", "bag").order_by("nth")


def trouble(job: PrintJob | None) -> str:
    """Say what is wrong with a print job; nothing where all is well."""
    if job is None or not job.trouble:
        return ""
    return sentence(LotwardError(job.trouble, **job.told))
