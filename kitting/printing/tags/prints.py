"""Filters for labels and print jobs: what they are called, where their page is."""

from __future__ import annotations

from django import template

from kitting.domain.stages import PRINT_OVER, PrintState
from kitting.models import Print, PrintJob
from kitting.printing.queries.jobs import trouble
from kitting.printing.queries.labels import label_words, page_of

register = template.Library()
register.filter(label_words)
register.filter(page_of)
register.filter(trouble)


@register.filter
def sha(row: Print) -> str:
    """Write the hash of a label's document as its address has it."""
    return bytes(row.pdf_sha).hex()


@register.filter
def on_the_way(job: PrintJob | None) -> bool:
    """Tell whether there is a job that is not over."""
    return job is not None and job.state not in PRINT_OVER


@register.filter
def stuck(job: PrintJob | None) -> bool:
    """Tell whether a job waits for a printer that it cannot be sent to."""
    return job is not None and job.state == PrintState.QUEUED and bool(job.trouble)


@register.filter
def may_cancel(job: PrintJob) -> bool:
    """Tell whether a job can still be cancelled: it is not over, nor asked to stop."""
    return job.state not in PRINT_OVER and not job.stop_asked


@register.filter
def stopping(job: PrintJob) -> bool:
    """Tell whether a job's printer is being asked to give it up."""
    return job.state not in PRINT_OVER and job.stop_asked


@register.filter
def is_failed(job: PrintJob) -> bool:
    """Tell whether somebody has to decide what becomes of a job."""
    return job.state == PrintState.FAILED
