"""Labels that were printed: the log, and documents again."""

from __future__ import annotations

from typing import Final

from django.core.paginator import Paginator
from django.http import Http404, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.urls import reverse

from kitting.domain.errors import LotwardError
from kitting.domain.stages import BoxStage
from kitting.ledger.needs import wrong_box
from kitting.models import Print
from kitting.printing.forms.log import PrintLogForm
from kitting.printing.queries.labels import label_words, page_of
from kitting.printing.queries.log import documents_of, print_log
from kitting.printing.services import prints
from kitting.printing.views.prints import ROOM, refused
from kitting.web.http import (
    LotwardRequest,
    allowed,
    pdf_response,
    render_part,
)
from kitting.web.tables import Column, file_response

ROWS_A_PAGE: Final = 50
SHA_BYTES: Final = 32

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
        "again": found.filter(first__isnull=False).count(),
    }
    return render_part(request, "kitting/printing/label_log", "_label_log", context)


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
        "again": sum(row.first is not None for row in rows),
        "kind": kind,
        "words": label_words(kind, len(rows)),
        "number": number,
        "sha": sha,
        "back": (page_of(number, kind) if one else "") or reverse(ROOM),
    }
    return render(request, "kitting/printing/label_printed.html", context)


@allowed("kitting.print_labels", by_badge=True)
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
