"""Benches as managers set them up."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any

from django.http import HttpResponse
from django.http.request import split_domain_port
from django.urls import reverse
from django.utils.translation import gettext as _

from kitting.domain.figures import written
from kitting.ledger import clock
from kitting.ledger.coded import mark_of
from kitting.models import Bench, Scale, Tablet
from kitting.packing.forms import SCALE, BenchChangeForm, BenchForm
from kitting.packing.services import benches as services
from kitting.packing.services.benches import KeptBench, ScaleFacts
from kitting.web.acting import act_page
from kitting.web.http import LotwardRequest, allowed, get_or_404


def _starts_alone(request: LotwardRequest) -> bool:
    """Whether a browser keeps anything of a bench for a start without network."""
    host, _port = split_domain_port(request.get_host())
    return request.is_secure() or host in {"localhost", "127.0.0.1", "[::1]"}


@allowed("kitting.set_up", "GET", "POST")
def bench_new(request: LotwardRequest) -> HttpResponse:
    """Add a bench."""
    return act_page(
        request,
        "kitting/packing/bench_set",
        BenchForm(request.POST or None),
        partial(_with_scale, services.add_bench),
        said=_("%(name)s is added. It works at %(place)s."),
        to=reverse("kitting:benches"),
        act=_("Add the bench"),
        starts_alone=_starts_alone(request),
    )


@allowed("kitting.set_up", "GET", "POST")
def bench_change(request: LotwardRequest, code: str) -> HttpResponse:
    """Call a bench something else, close it or open it again."""
    at = get_or_404(Bench.objects.select_related("place"), code=code)
    on_record = {
        "seen": mark_of(at),
        **{name: getattr(at, name) for name in ("name", "active", "sounds")},
        **{name: _grams(getattr(at, name)) for name in SCALE},
    }
    return act_page(
        request,
        "kitting/packing/bench_set",
        BenchChangeForm(request.POST or None, initial=on_record),
        partial(_with_scale, services.change_bench, code=code),
        said=_("%(name)s is changed."),
        to=reverse("kitting:benches"),
        act=_("Change the bench"),
        starts_alone=_starts_alone(request),
        bench=at,
        scale=Scale.objects.filter(bench=at, token_sha256__isnull=False).first(),
        tablet=Tablet.objects.filter(bench=at).first(),
        now=clock.now(),
    )


def _with_scale(act: Callable[..., KeptBench], **said: Any) -> KeptBench:
    """Do an act whose form says the scale of a bench by its figures."""
    scale = ScaleFacts(**{name: said.pop(name) for name in SCALE})
    return act(**said, scale=scale)


def _grams(mass_mg: int | None) -> str:
    return "" if mass_mg is None else written(mass_mg, 1000)
