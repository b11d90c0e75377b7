"""Set-up: the workshop's particulars, and what stands in its catalogue."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.contrib import messages
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from kitting.domain.errors import LotwardError
from kitting.ledger import clock
from kitting.ledger.operations import Sign
from kitting.people.forms.workshop import WorkshopForm
from kitting.people.queries import workshop as queries
from kitting.people.services.workshop import Particulars, change_workshop
from kitting.web.http import LotwardRequest, add_refusal, allowed, go

if TYPE_CHECKING:
    from django.http import HttpResponse

FIELDS = ("name", "address", "country", "time_zone", "gs1_prefix")


@allowed("kitting.set_up")
@require_http_methods(["GET", "POST"])
def workshop(request: LotwardRequest) -> HttpResponse:
    """Show the set-up, and change the workshop's particulars."""
    row = request.workshop
    initial = {name: getattr(row, name) for name in FIELDS}
    form = WorkshopForm(request.POST or None, initial=initial)
    status = 200
    if request.method == "POST":
        status = 422
        if form.is_valid():
            to = Particulars(**{name: form.cleaned_data[name] for name in FIELDS})
            sign = Sign(by=request.user, key=form.key, now=clock.now())
            try:
                change_workshop(to=to, sign=sign)
            except LotwardError as error:
                status = add_refusal(form, error)
            else:
                messages.success(request, _("The workshop's data are changed."))
                return go(request, reverse("kitting:workshop"))
    context = {"form": form, **queries.catalogue()}
    return render(request, "kitting/people/workshop.html", context, status=status)
