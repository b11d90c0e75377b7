"""Lots from a file: a template for it, what it would bring, then the taking in."""

from __future__ import annotations

from django.http.response import HttpResponseBase
from django.urls import reverse
from django.utils.translation import gettext as _

from kitting.domain.cells import DateOrder
from kitting.domain.intakeheads import LOTS
from kitting.ledger import clock
from kitting.lots.services import files
from kitting.lots.services.files import Plan
from kitting.lots.services.lots import TakenIn
from kitting.web.figures import amount
from kitting.web.files import Filed, file_page
from kitting.web.http import LotwardRequest, allowed


@allowed("kitting.take_in", "GET", "POST")
def lot_file(request: LotwardRequest) -> HttpResponseBase:
    """Give a template, look at a file, or take in one that was looked at."""
    return file_page(
        request,
        Filed(
            page="kitting/lots/lot_file",
            name="lots",
            headings=LOTS,
            plan=_plan,
            act=files.take_in_file,
            said=_said,
            to=reverse("kitting:lots"),
        ),
    )


def _plan(data: bytes, order: DateOrder | None) -> Plan:
    return files.plan_file(data=data, date_order=order, now=clock.now())


def _said(done: TakenIn) -> str:
    return _("The file is taken in: %(lots)s, %(bags)s.") % {
        "lots": amount(len(done.lots), "lot"),
        "bags": amount(len(done.bags), "bag"),
    }
