"""Pages of protocols: the table, one version, drafting, signing, retiring."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any

from django.http import HttpResponse
from django.http.response import HttpResponseBase
from django.urls import reverse
from django.utils.translation import gettext as _

from kitting.disinfection.forms.protocols import (
    PROCESSES,
    NewProtocolForm,
    ProtocolForm,
    RetireForm,
    SignForm,
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
from kitting.domain.errors import Refused
from kitting.ledger import clock
from kitting.ledger.needs import is_own
from kitting.ledger.seals import touched_by
from kitting.models import Protocol
from kitting.models.runs import Process
from kitting.web.acting import act_page, done_before, say_and_go
from kitting.web.forms import KeyedForm
from kitting.web.http import LotwardRequest, allowed, get_or_404, render_part
from kitting.web.messages import sentence
from kitting.web.tables import Column, file_response

COLUMNS: list[Column[ProtocolLine]] = [
    Column("protocol", "protocol.code"),
    Column("version", "protocol.version"),
    Column("name", "protocol.name"),
    Column("process", "protocol.process"),
    Column("stage", lambda line: str(line.stage)),
    Column("in force from", "protocol.in_force_from"),
    Column("in force until", "protocol.in_force_until"),
    Column("covers", lambda line: ", ".join(line.parts)),
    Column("signed by", "protocol.signed_by"),
]


def protocol_address(code: str, version: int) -> str:
    """The address of a version's page."""
    return reverse("kitting:protocol-detail", args=[code, version])


@allowed("kitting.see_work")
def protocol_list(request: LotwardRequest) -> HttpResponseBase:
    """The table of all versions; ``?stage=`` chooses those in one stage."""
    lines = protocol_lines(clock.today())
    counts = count_stages(lines)
    chosen = request.GET.get("stage", "")
    if chosen in set(ProtocolStage):
        lines = [line for line in lines if line.stage == chosen]
    if file := file_response(request, "protocols", COLUMNS, lines):
        return file
    context = {
        "lines": lines,
        "counts": counts,
        "stages": list(ProtocolStage),
        "chosen": chosen,
        "processes": PROCESSES,
    }
    return render_part(
        request, "kitting/disinfection/protocols", "_protocol_table", context
    )


def _version(code: str, version: int) -> Protocol:
    return get_or_404(Protocol, code=code, version=version)


def _context(
    protocol: Protocol, codes: tuple[str, ...] | None = None
) -> dict[str, Any]:
    codes = evidence_of(protocol) if codes is None else codes
    return {
        "protocol": protocol,
        "shown": ProtocolPage(protocol, clock.today(), codes),
        "process": PROCESSES[Process(protocol.process)],
        "back": protocol_address(protocol.code, protocol.version),
    }


@allowed("kitting.see_work")
def protocol_detail(request: LotwardRequest, code: str, version: int) -> HttpResponse:
    """One version: what it requires, covers, stands on, and who signed it."""
    protocol = _version(code, version)
    return render_part(
        request, "kitting/disinfection/protocol_detail", "_protocol", _context(protocol)
    )


# -- Drafting -----------------------------------------------------------------------


@allowed("kitting.sign_protocols", "GET", "POST")
def protocol_new(request: LotwardRequest) -> HttpResponse:
    """Draft the first version of a protocol."""
    return _draft_page(
        request,
        "protocol_new",
        NewProtocolForm(request.POST or None),
        protocols.draft_protocol,
        back=reverse("kitting:protocols"),
    )


@allowed("kitting.sign_protocols", "GET", "POST")
def protocol_edit(request: LotwardRequest, code: str, version: int) -> HttpResponse:
    """Let a draft say something else."""
    protocol = _version(code, version)
    terms = terms_of(protocol)
    return _draft_page(
        request,
        "protocol_edit",
        ProtocolForm(request.POST or None, terms=terms),
        partial(protocols.edit_draft, protocol_id=protocol.pk),
        **_context(protocol, terms.evidence),
    )


def _draft_page(
    request: LotwardRequest,
    page: str,
    form: ProtocolForm,
    act: Callable[..., protocols.Drafted],
    **context: Any,
) -> HttpResponse:
    return act_page(
        request,
        f"kitting/disinfection/{page}",
        form,
        act,
        said=_("%(code)s version %(version)s is a draft: sign it to use it."),
        to=lambda done: protocol_address(done.code, done.version),
        part="protocol-form",
        act=_("Keep the draft"),
        **context,
    )


# -- Acts of one button -------------------------------------------------------------


@allowed("kitting.sign_protocols", "GET", "POST")
def protocol_version(request: LotwardRequest, code: str, version: int) -> HttpResponse:
    """Begin the next version as a copy of the last."""
    protocol = _version(code, version)
    return act_page(
        request,
        "kitting/disinfection/protocol_version",
        KeyedForm(request.POST or None),
        partial(protocols.draft_version, code=code),
        said="",
        to=lambda done: reverse(
            "kitting:protocol-edit", args=[done.code, done.version]
        ),
        around=lambda: _context(protocol),
        act=_("Begin a new version"),
    )


@allowed("kitting.sign_protocols", "GET", "POST")
def protocol_discard(request: LotwardRequest, code: str, version: int) -> HttpResponse:
    """Throw a draft away."""
    form = KeyedForm(request.POST or None)
    known = Protocol.objects.filter(code=code, version=version)
    if not known and done_before(request, form, "discard_draft"):
        said = _("The draft %(protocol)s is discarded.")
        draft = Protocol(code=code, version=version)
        return say_and_go(
            request, said % {"protocol": draft}, reverse("kitting:protocols")
        )
    protocol = get_or_404(known)
    return act_page(
        request,
        "kitting/disinfection/protocol_discard",
        form,
        partial(protocols.discard_draft, protocol_id=protocol.pk),
        said=_("The draft %(protocol)s is discarded."),
        named={"protocol": protocol},
        to=reverse("kitting:protocols"),
        around=lambda: _context(protocol),
        act=_("Discard the draft"),
        stop=True,
    )


@allowed("kitting.sign_protocols", "GET", "POST")
def protocol_sign(request: LotwardRequest, code: str, version: int) -> HttpResponse:
    """Sign a draft, as it stands on this page."""
    protocol = _version(code, version)
    terms = terms_of(protocol)
    mark = mark_of(protocol, until=protocol.in_force_until, terms=terms).hex()
    named = {"protocol": protocol}
    return act_page(
        request,
        "kitting/disinfection/protocol_sign",
        SignForm(request.POST or None, initial={"mark": mark}, by=str(request.user)),
        partial(protocols.sign_protocol, protocol_id=protocol.pk),
        said=_("%(protocol)s is signed by %(signed_by)s."),
        named=named,
        to=protocol_address(code, version),
        around=lambda: _to_sign(request, protocol, terms.evidence),
        act=_("Sign %(protocol)s") % named,
    )


def _to_sign(
    request: LotwardRequest, protocol: Protocol, codes: tuple[str, ...]
) -> dict[str, Any]:
    context = _context(protocol, codes)
    wrote = touched_by(protocol, *context["shown"].loads)
    own = is_own(request.workshop, request.user, wrote)
    said = sentence(Refused("protocol_own", protocol=str(protocol))) if own else ""
    return {**context, "own": said}


@allowed("kitting.sign_protocols", "GET", "POST")
def protocol_retire(request: LotwardRequest, code: str, version: int) -> HttpResponse:
    """End a version: today is its last day."""
    protocol = _version(code, version)
    named = {"protocol": protocol}
    return act_page(
        request,
        "kitting/disinfection/protocol_retire",
        RetireForm(request.POST or None, by=str(request.user)),
        partial(protocols.retire_protocol, protocol_id=protocol.pk),
        said=_("%(protocol)s is in force until the end of %(last_day)s."),
        named=named,
        to=protocol_address(code, version),
        around=lambda: _context(protocol),
        act=_("Retire %(protocol)s") % named,
        stop=True,
    )
