"""The journal: who did what, with what, and when; one act whole; a part as a file."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse, StreamingHttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import render

from dispatch.journal.forms import ExportForm, JournalForm
from dispatch.journal.queries import acts
from kitting.ledger import export
from kitting.models import Link
from kitting.web.http import LotwardRequest, allowed, get_or_404


@allowed("kitting.recall")
def journal(request: LotwardRequest) -> HttpResponse:
    """Acts, newest first; the filters stand in the address."""
    form = JournalForm(request.GET)
    context: dict[str, Any] = {"form": form, "head": acts.head(request.workshop.site)}
    if not form.is_valid():
        return render(request, "dispatch/journal/journal.html", context, status=422)
    page = acts.page_of(form.filters(), request.GET)
    context |= {
        "page": page,
        "lines": acts.lines_of(page.rows),
        "filtered": any(form.cleaned_data.values()),
    }
    return render(request, "dispatch/journal/journal.html", context)


@allowed("kitting.recall")
def journal_act(request: LotwardRequest, seq: int) -> HttpResponse:
    """All that one act wrote, and the link that seals it."""
    links = Link.objects.select_related("operation__bench")
    link = get_or_404(links, site=request.workshop.site, seq=seq)
    context = {"act": acts.whole(link)}
    return render(request, "dispatch/journal/journal_act.html", context)


@allowed("kitting.recall")
def journal_export(request: LotwardRequest) -> HttpResponseBase:
    """Choose a part of the journal, and take it as a file."""
    asked = "as" in request.GET
    form = ExportForm(request.GET if asked else None)
    if asked and form.is_valid():
        chosen = form.chosen
        response = StreamingHttpResponse(
            export.lines(chosen), content_type="application/jsonl; charset=us-ascii"
        )
        name = f"journal-{chosen.site}-{chosen.first}-{chosen.last}.jsonl"
        response.headers["Content-Disposition"] = f'attachment; filename="{name}"'
        return response
    context = {"form": form, "head": acts.head(request.workshop.site)}
    status = 422 if asked else 200
    return render(
        request, "dispatch/journal/journal_export.html", context, status=status
    )
