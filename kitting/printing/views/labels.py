"""Labels: print jobs and what to do about them, the print log, documents again."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, time, timedelta
from functools import partial
from typing import Final

from django.core.paginator import Paginator
from django.http import Http404, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from kitting.domain.errors import LotwardError
from kitting.domain.stages import PRINT_OVER, BoxStage
from kitting.ledger import clock
from kitting.ledger.needs import wrong_box
from kitting.models import Print, PrintJob
from kitting.printing.forms.jobs import (
    JobFilterForm,
    PrintLogForm,
    SendAgainForm,
)
from kitting.printing.queries.labels import label_words, page_of
from kitting.printing.queries.printers import no_worker, worker_seen
from kitting.printing.queries.prints import (
    FAILED,
    WAY,
    documents_of,
    labels_of_job,
    labels_since,
    print_jobs,
    print_log,
    trouble,
)
from kitting.printing.services import jobs, prints
from kitting.printing.views.prints import ROOM, refused
from kitting.web.acting import OK, attempt, say_and_go
from kitting.web.forms import KeyedForm
from kitting.web.http import (
    LotwardRequest,
    allowed,
    get_or_404,
    pdf_response,
    render_part,
)
from kitting.web.tables import Column, file_response

JOBS_A_PAGE: Final = 25
ROWS_A_PAGE: Final = 50
SHA_BYTES: Final = 32

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
LOG: list[Column[Print]] = [
    Column("printed at", "operation.at"),
    Column("label of", "kind"),
    Column("number", "number"),
    Column("copy", "copy"),
    Column("reason", "reason"),
    Column("label before", "first"),
    Column("by", "operation.by_name"),
    Column("printer", lambda row: row.printer.code if row.printer else "PDF"),
    Column("stage", lambda row: row.job.state if row.job else ""),
    Column("document", lambda row: bytes(row.pdf_sha).hex()),
]


# -- Print jobs ---------------------------------------------------------------------


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
    return datetime.combine(monday, time(), tzinfo=timezone.get_current_timezone())


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


# -- The print log ------------------------------------------------------------------


@allowed("kitting.print_labels")
def label_log(request: LotwardRequest) -> HttpResponseBase:
    """Every print of every label, newest first, with its filters in the address."""
    form = PrintLogForm(request.GET)
    filters = form.chosen()
    found = print_log(filters)
    if file := file_response(request, "print-log", LOG, found):
        return file
    page = Paginator(found, ROWS_A_PAGE).get_page(request.GET.get("page"))
    context = {
        "form": form,
        "filtered": bool(filters),
        "page": page,
        "prints": page.paginator.count,
        "again": found.filter(copy__gt=1).count(),
    }
    return render_part(request, "kitting/printing/label_log", "_label_log", context)


# -- Documents ----------------------------------------------------------------------


@allowed("kitting.print_labels")
def label_printed(request: LotwardRequest, sha: str) -> HttpResponse:
    """What was made as a PDF: the way to it, and back."""
    rows = documents_of(_sha(sha))
    if not rows:
        raise Http404("No such document was printed.")
    kind, number = rows[0].kind, rows[0].number
    one = len(rows) == 1 or kind == "shipment"
    context = {
        "rows": rows,
        "first": rows[0],
        "again": sum(row.copy > 1 for row in rows),
        "kind": kind,
        "words": label_words(kind, len(rows)),
        "number": number,
        "sha": sha,
        "back": (page_of(number, kind) if one else "") or reverse(ROOM),
    }
    return render(request, "kitting/printing/label_printed.html", context)


@allowed("kitting.print_labels")
def label_pdf(request: LotwardRequest, sha: str) -> HttpResponse:
    """A document of the log, made again byte for byte, or why it cannot be."""
    rows = documents_of(_sha(sha))
    if not rows:
        raise Http404("No such document was printed.")
    number = rows[0].number
    try:
        for row in rows:
            if row.box is not None and row.box.stage == BoxStage.VOIDED:
                raise wrong_box(row.box, "labelled")
        pdf = prints.document_pdf(_sha(sha))
    except LotwardError as error:
        back = page_of(number, rows[0].kind) or reverse("kitting:label-log")
        return refused(request, error, back=back)
    return pdf_response(pdf, f"{rows[0].kind}-{sha[:12]}".replace("_", "-"))


def _sha(text: str) -> bytes:
    try:
        sha = bytes.fromhex(text)
    except ValueError as error:
        raise Http404("This is no hash of a document.") from error
    if len(sha) != SHA_BYTES:
        raise Http404("This is no hash of a document.")
    return sha
