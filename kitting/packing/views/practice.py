"""A box packed for practice: the screen of a bench, marked all the time."""

from __future__ import annotations

from typing import Final
from urllib.parse import urlencode
from uuid import uuid4

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse

from kitting.domain.errors import Refused
from kitting.packing.forms import ScanForm
from kitting.packing.services.practice import SAID, practise
from kitting.packing.views.bench import screen_context
from kitting.web.acting import OK, UNFIT, say_and_go
from kitting.web.http import LotwardRequest, add_refusal, allowed
from kitting.web.messages import sentence

MOST: Final = 60
"""Scans that are done once more; a box of the demo takes ten."""


@allowed("kitting.pack", "GET", "POST", by_badge=True)
def practice(request: LotwardRequest) -> HttpResponse:
    """Take one scan after those that the address names; nothing of it is kept."""
    scans = request.GET.getlist("s")[:MOST]
    form, status = ScanForm(request.POST or None), OK
    key = uuid4()
    if request.method == "POST":
        if not form.is_valid():
            status = UNFIT
        elif len(scans) < MOST:
            scans.append(form.cleaned_data["scan"] or "")
            key = form.key
    try:
        done = practise(by=request.user, scans=scans, key=key)
    except Refused as error:
        to = reverse("kitting:benches")
        return say_and_go(request, sentence(error), to, level=messages.WARNING)
    address = _address(done.kept)
    if done.refusal is not None and form.is_bound:
        status = add_refusal(form, done.refusal)
    elif status == OK and address != request.get_full_path():
        return redirect(address)
    context = screen_context(done.screen, done.answer, *done.last, form)
    context |= {"scan_url": address, "bench_url": address, "practice": SAID}
    return render(request, "kitting/packing/practice.html", context, status=status)


def _address(scans: list[str]) -> str:
    asked = urlencode([("s", text) for text in scans])
    return reverse("kitting:practice") + (f"?{asked}" if asked else "")
