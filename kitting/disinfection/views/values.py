"""The page on which values of a run are logged."""

from __future__ import annotations

from functools import partial

from django.http import HttpResponse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from kitting.disinfection.forms.values import ValuesForm
from kitting.disinfection.services.values import log_values
from kitting.disinfection.views.run import context_of, find_run
from kitting.disinfection.views.runs import run_address
from kitting.models.runs import UVC
from kitting.web.acting import act_page
from kitting.web.http import LotwardRequest, allowed


@allowed("kitting.run_line", "GET", "POST")
def run_values(request: LotwardRequest, number: str) -> HttpResponse:
    """Log values of a run by heat or liquid."""
    run = find_run(number)
    return act_page(
        request,
        "kitting/disinfection/run_values",
        ValuesForm(request.POST or None, run=run, workshop=request.workshop),
        partial(log_values, run_id=run.pk),
        said=lambda done: (
            ngettext(
                "%(values)s value is logged.",
                "%(values)s values are logged.",
                done.values,
            )
            % vars(done)
        ),
        to=run_address(run),
        around=lambda: context_of(request, run),
        act=_("Log what was measured"),
        by_light=run.protocol.process in UVC,
    )
