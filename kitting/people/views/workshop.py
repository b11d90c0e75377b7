"""Set-up: the workshop's particulars, and what stands in its catalogue."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _

from kitting.people import queries
from kitting.people.forms import WorkshopForm
from kitting.people.services.workshop import Particulars, change_workshop
from kitting.web.acting import attempt, say_and_go
from kitting.web.http import LotwardRequest, allowed

FIELDS = ("name", "address", "country", "time_zone", "gs1_prefix")


@allowed("kitting.set_up", "GET", "POST")
def workshop(request: LotwardRequest) -> HttpResponse:
    """Show the set-up, and change the workshop's particulars."""
    row = request.workshop
    initial = {name: getattr(row, name) for name in FIELDS}
    form = WorkshopForm(request.POST or None, initial=initial)
    done, status = attempt(
        request,
        form,
        lambda sign, **said: change_workshop(to=Particulars(**said), sign=sign),
    )
    if done is not None:
        to = reverse("kitting:workshop")
        return say_and_go(request, _("The workshop's data are changed."), to)
    context = {"form": form, **queries.catalogue()}
    return render(request, "kitting/people/workshop.html", context, status=status)
