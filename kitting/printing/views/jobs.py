"""Print jobs: what is on its way, and what to do about one."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from functools import partial
from typing import Final

from django.core.paginator import Paginator
from django.http import HttpResponse
from django.http.response import HttpResponseBase
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from kitting.domain.stages import PRINT_OVER
from kitting.ledger import clock
from kitting.models import PrintJob
from kitting.printing.forms.jobs import JobFilterForm, SendAgainForm
from kitting.printing.queries.jobs import (
    FAILED,
    WAY,
    labels_of_job,
    print_jobs,
    trouble,
)
from kitting.printing.queries.labels import label_words
from kitting.printing.queries.printers import no_worker, worker_seen
from kitting.printing.queries.prints import labels_since
from kitting.printing.services import jobs
from kitting.web.acting import OK, attempt, say_and_go
from kitting.web.forms import KeyedForm
from kitting.web.http import (
    LotwardRequest,
    allowed,
    get_or_404,
    render_part,
)
from kitting.web.tables import Column, file_response

JOBS_A_PAGE: Final = 25


JOBS: list[Column[PrintJob]] = [
    Column("job", "pk"),
    Column("asked at", "asked_at"),
    Column("asked by", "asked_by"),
    Column("labels of", "kind"),
    Column("what", "title"),
    Column("labels", "labels"),
    Column("printer", "printer.code"),
    Column("stage", "state"),
    Column("ended at", "ended_at"),
    Column("trouble", trouble),
]


@allowed("kitting.print_labels")
def labels(request: LotwardRequest) -> HttpResponseBase:
    """What is on its way to the printers, and what was printed."""
    form = JobFilterForm(request.GET)
    chosen = form.chosen
    found = print_jobs(chosen)
    if file := file_response(request, "print-jobs", JOBS, found):
        return file
    page = Paginator(found, JOBS_A_PAGE).get_page(request.GET.get("page"))
    now = clock.now()
    week = _week_of(now)
    context = {
        "form": form,
        "chosen": chosen,
        "page": page,
        "jobs": [(job, KeyedForm(auto_id=f"job-{job.pk}-%s")) for job in page],
        "way": print_jobs(WAY).count(),
        "failed": print_jobs(FAILED).count(),
        "week": week.date(),
        "printed": labels_since(week),
        "no_worker": no_worker(now),
        "worker_seen": worker_seen(),
    }
    return render_part(request, "kitting/printing/labels", "_labels", context)


def _week_of(now: datetime) -> datetime:
    """When the week began by the clock on the workshop's wall: on Monday."""
    today = timezone.localdate(now)
    monday = today - timedelta(days=today.weekday())
    return clock.midnight(monday)


@allowed("kitting.print_labels")
def label_job(request: LotwardRequest, pk: int) -> HttpResponse:
    """One print job: how far it is, what is wrong, what to do."""
    return _show(request, _job(pk))


def _job(pk: int) -> PrintJob:
    return get_or_404(print_jobs(), pk=pk)


def _show(
    request: LotwardRequest,
    job: PrintJob,
    *,
    again: KeyedForm | None = None,
    wrong: KeyedForm | None = None,
    status: int = OK,
) -> HttpResponse:
    now = clock.now()
    rows = list(labels_of_job(job))
    waits = job.state == "failed" and not job.replaced  # type: ignore[attr-defined]
    context = {
        "job": job,
        "rows": rows,
        "words": label_words(job.kind, job.labels),
        "over": job.state in PRINT_OVER,
        "waits": waits,
        "again": again or SendAgainForm(),
        "form": KeyedForm(),
        "wrong": wrong,
        "no_worker": job.state not in PRINT_OVER and no_worker(now),
        "worker_seen": worker_seen(),
    }
    return render_part(
        request, "kitting/printing/label_job", "_label_job", context, status=status
    )


@allowed("kitting.print_labels", "POST")
def job_cancel(request: LotwardRequest, pk: int) -> HttpResponse:
    """Cancel a job that is not over."""
    return _act(request, pk, KeyedForm, jobs.cancel_job, _cancelled)


def _cancelled(done: jobs.JobNow) -> str:
    if done.stopping:
        return _("The printer is asked to stop the print job.")
    return _("The print job is cancelled. Nothing of it came out.")


@allowed("kitting.print_labels", "POST")
def job_again(request: LotwardRequest, pk: int) -> HttpResponse:
    """Send a failed job again: the same labels."""
    said = _("The print job is sent again: the same labels, so no reprint.")
    return _act(request, pk, SendAgainForm, jobs.send_again, lambda _done: said)


@allowed("kitting.print_labels", "POST")
def job_settle(request: LotwardRequest, pk: int) -> HttpResponse:
    """Say of a failed job that its labels came out."""
    said = _("The print job is done: its labels came out.")
    return _act(request, pk, KeyedForm, jobs.settle_job, lambda _done: said)


def _act(
    request: LotwardRequest,
    pk: int,
    kind: type[KeyedForm],
    service: Callable[..., jobs.JobNow],
    said: Callable[[jobs.JobNow], str],
) -> HttpResponse:
    job, form = _job(pk), kind(request.POST)
    done, status = attempt(request, form, partial(service, job_id=pk))
    if done is None:
        again = form if kind is SendAgainForm else None
        return _show(request, job, again=again, wrong=form, status=status)
    return say_and_go(request, said(done), reverse("kitting:label-job", args=[pk]))
