"""Pages of protocols: the table, one version, drafting, signing, retiring."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_GET, require_http_methods

from kitting.disinfection.forms.protocols import (
    PROCESSES,
    JustDoForm,
    NewProtocolForm,
    ProtocolForm,
    RetireForm,
    SignForm,
    load_forms,
)
from kitting.disinfection.queries.protocols import (
    ProtocolLine,
    ProtocolPage,
    ProtocolStage,
    count_stages,
    evidence_of,
    mark_of,
    protocol_lines,
    terms_of,
)
from kitting.disinfection.services import protocols
from kitting.ledger import clock
from kitting.models import Protocol
from kitting.models.runs import Process
from kitting.web.acting import OK, UNFIT, attempt, attempt_by_name
from kitting.web.http import allowed, get_or_404, go, render_part
from kitting.web.tables import Column, file_response

if TYPE_CHECKING:
    from django.http import HttpResponse
    from django.http.response import HttpResponseBase

    from kitting.ledger.operations import Sign
    from kitting.web.http import LotwardRequest

COLUMNS: list[Column[ProtocolLine]] = [
    Column("protocol", lambda line: line.protocol.code),
    Column("version", lambda line: line.protocol.version),
    Column("name", lambda line: line.protocol.name),
    Column("process", lambda line: line.protocol.process),
    Column("stage", lambda line: str(line.stage)),
    Column("in force from", lambda line: line.protocol.in_force_from),
    Column("in force until", lambda line: line.protocol.in_force_until),
    Column("covers", lambda line: ", ".join(line.parts)),
    Column("signed by", lambda line: line.protocol.signed_by),
]


def protocol_address(code: str, version: int) -> str:
    """The address of a version's page."""
    return reverse("kitting:protocol-detail", args=[code, version])


@allowed("kitting.see_work")
@require_GET
def protocol_list(request: LotwardRequest) -> HttpResponseBase:
    """The table of all versions; ``?stage=`` chooses those in one stage."""
    lines = protocol_lines(clock.today())
    counts = count_stages(lines)
    chosen = request.GET.get("stage", "")
    if chosen in set(ProtocolStage):
        lines = [line for line in lines if line.stage == chosen]
    file = file_response(request.GET.get("as", ""), "protocols", COLUMNS, iter(lines))
    if file is not None:
        return file
    context = {
        "lines": lines,
        "counts": counts,
        "stages": list(ProtocolStage),
        "chosen": chosen,
        "processes": PROCESSES,
        "here": "kitting:runs",
    }
    return render_part(
        request,
        page="kitting/disinfection/protocols.html",
        part="kitting/disinfection/_protocol_table.html",
        context=context,
    )


def _version(code: str, version: int) -> Protocol:
    return get_or_404(Protocol, code=code, version=version)


def _context(
    protocol: Protocol, codes: tuple[str, ...] | None = None, **more: Any
) -> dict[str, Any]:
    codes = evidence_of(protocol) if codes is None else codes
    return {
        "protocol": protocol,
        "shown": ProtocolPage(protocol, clock.today(), codes),
        "process": PROCESSES[Process(protocol.process)],
        "back": protocol_address(protocol.code, protocol.version),
        "here": "kitting:runs",
        **more,
    }


@allowed("kitting.see_work")
@require_GET
def protocol_detail(request: LotwardRequest, code: str, version: int) -> HttpResponse:
    """One version: what it requires, covers, stands on, and who signed it."""
    protocol = _version(code, version)
    return render_part(
        request,
        page="kitting/disinfection/protocol_detail.html",
        part="kitting/disinfection/_protocol.html",
        context=_context(protocol),
    )


# -- Drafting -----------------------------------------------------------------------


@allowed("kitting.sign_protocols")
@require_http_methods(["GET", "POST"])
def protocol_new(request: LotwardRequest) -> HttpResponse:
    """Draft the first version of a protocol."""
    form = NewProtocolForm(request.POST or None)

    def act(sign: Sign, terms: protocols.Terms) -> protocols.Drafted:
        code = form.cleaned_data["code"]
        return protocols.draft_protocol(code=code, terms=terms, sign=sign)

    back = reverse("kitting:protocols")
    return _draft_page(request, form, None, act, page="protocol_new", back=back)


@allowed("kitting.sign_protocols")
@require_http_methods(["GET", "POST"])
def protocol_edit(request: LotwardRequest, code: str, version: int) -> HttpResponse:
    """Let a draft say something else."""
    protocol = _version(code, version)
    terms = terms_of(protocol)
    form = ProtocolForm(request.POST or None, terms=terms)

    def act(sign: Sign, said: protocols.Terms) -> protocols.Drafted:
        return protocols.edit_draft(protocol_id=protocol.pk, terms=said, sign=sign)

    context = _context(protocol, terms.evidence)
    return _draft_page(request, form, terms, act, page="protocol_edit", **context)


def _draft_page(
    request: LotwardRequest,
    form: ProtocolForm,
    terms: protocols.Terms | None,
    act: Any,
    *,
    page: str,
    **context: Any,
) -> HttpResponse:
    loads = load_forms(request.POST or None, terms)
    status = OK
    if request.method == "POST":
        done, status = None, UNFIT
        sound = form.is_valid()
        if loads.is_valid() and sound:
            given = tuple(line.load for line in loads if line.load is not None)
            done, status = attempt(
                request, form, lambda sign: act(sign, form.terms(given))
            )
        if done is not None:
            said = _("%(protocol)s version %(version)s is a draft: sign it to use it.")
            values = {"protocol": done.code, "version": done.version}
            messages.success(request, said % values)
            return go(request, protocol_address(done.code, done.version))
    return render_part(
        request,
        page=f"kitting/disinfection/{page}.html",
        part="kitting/disinfection/_protocol_form.html",
        context={
            "here": "kitting:runs",
            **context,
            "form": form,
            "loads": loads,
            "part": "protocol-form",
        },
        status=status,
    )


# -- Acts of one button -------------------------------------------------------------


def _act_page(
    request: LotwardRequest, form: Any, status: int, page: str, **context: Any
) -> HttpResponse:
    return render_part(
        request,
        page=f"kitting/disinfection/{page}.html",
        part="_form.html",
        context={"form": form, "part": page.replace("_", "-"), **context},
        status=status,
    )


@allowed("kitting.sign_protocols")
@require_http_methods(["GET", "POST"])
def protocol_version(request: LotwardRequest, code: str, version: int) -> HttpResponse:
    """Begin the next version as a copy of the last."""
    protocol = _version(code, version)
    form = JustDoForm(request.POST or None)
    status = OK
    if request.method == "POST":
        done, status = attempt(
            request, form, lambda sign: protocols.draft_version(code=code, sign=sign)
        )
        if done is not None:
            args = [done.code, done.version]
            return go(request, reverse("kitting:protocol-edit", args=args))
    act = _("Begin a new version")
    context = _context(protocol, act=act)
    return _act_page(request, form, status, "protocol_version", **context)


@allowed("kitting.sign_protocols")
@require_http_methods(["GET", "POST"])
def protocol_discard(request: LotwardRequest, code: str, version: int) -> HttpResponse:
    """Throw a draft away."""
    protocol = _version(code, version)
    form = JustDoForm(request.POST or None)
    status = OK
    if request.method == "POST":
        done, status = attempt(
            request,
            form,
            lambda sign: protocols.discard_draft(protocol_id=protocol.pk, sign=sign),
        )
        if done is not None:
            said = _("The draft %(protocol)s is discarded.")
            messages.success(request, said % {"protocol": protocol})
            return go(request, reverse("kitting:protocols"))
    act = _("Discard the draft")
    context = _context(protocol, act=act, stop=True)
    return _act_page(request, form, status, "protocol_discard", **context)


@allowed("kitting.sign_protocols")
@sensitive_post_parameters("password")
@require_http_methods(["GET", "POST"])
def protocol_sign(request: LotwardRequest, code: str, version: int) -> HttpResponse:
    """Sign a draft, as it stands on this page."""
    protocol = _version(code, version)
    terms = terms_of(protocol)
    mark = mark_of(protocol, until=protocol.in_force_until, terms=terms).hex()
    form = SignForm(request.POST or None, initial={"mark": mark}, by=str(request.user))
    status = OK
    if request.method == "POST":
        done, status = attempt_by_name(
            request,
            form,
            lambda sign: protocols.sign_protocol(
                protocol_id=protocol.pk,
                meaning=form.cleaned_data["meaning"],
                mark=form.cleaned_data["mark"],
                sign=sign,
            ),
        )
        if done is not None:
            said = _("%(protocol)s is signed by %(by)s.")
            values = {"protocol": protocol, "by": done.signed_by}
            messages.success(request, said % values)
            return go(request, protocol_address(code, version))
    act = _("Sign %(protocol)s") % {"protocol": protocol}
    context = _context(protocol, terms.evidence, act=act)
    return _act_page(request, form, status, "protocol_sign", **context)


@allowed("kitting.sign_protocols")
@sensitive_post_parameters("password")
@require_http_methods(["GET", "POST"])
def protocol_retire(request: LotwardRequest, code: str, version: int) -> HttpResponse:
    """End a version: today is its last day."""
    protocol = _version(code, version)
    form = RetireForm(request.POST or None, by=str(request.user))
    status = OK
    if request.method == "POST":
        done, status = attempt_by_name(
            request,
            form,
            lambda sign: protocols.retire_protocol(
                protocol_id=protocol.pk, reason=form.cleaned_data["reason"], sign=sign
            ),
        )
        if done is not None:
            said = _("%(protocol)s is in force until the end of %(day)s.")
            messages.success(
                request, said % {"protocol": protocol, "day": done.last_day}
            )
            return go(request, protocol_address(code, version))
    act = _("Retire %(protocol)s") % {"protocol": protocol}
    context = _context(protocol, act=act, stop=True)
    return _act_page(request, form, status, "protocol_retire", **context)
