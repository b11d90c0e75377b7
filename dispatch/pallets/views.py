"""Pallets: begun with a label, built scan by scan, broken up."""

from __future__ import annotations

from functools import partial
from typing import Any

from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _

from dispatch.models import Pallet
from dispatch.pallets import services
from dispatch.pallets.forms import BeginForm, BoxScanForm, BreakUpForm, TakeOffForm
from dispatch.pallets.labels import PALLETS, is_printed
from dispatch.pallets.queries import pallets as queries
from kitting.ledger import clock
from kitting.ledger.reach import Reach, reach_of, standing_reach
from kitting.ledger.standing import told_holds
from kitting.printing.views.prints import print_page
from kitting.web.acting import Said, act_page, attempt_scan, said_of_scan, say_of_scan
from kitting.web.figures import amount
from kitting.web.forms import KeyedForm
from kitting.web.http import (
    LotwardRequest,
    allowed,
    get_or_404,
    new_op_key,
    render_part,
    wants_fragment,
)


@allowed("kitting.see_work")
def pallets(request: LotwardRequest) -> HttpResponse:
    """The pallets that are here, then those that left or were broken up."""
    there, lately = queries.every_pallet()
    context = {"there": there, "lately": lately}
    return render(request, "dispatch/pallets/pallets.html", context)


@allowed("kitting.send_boxes", "GET", "POST")
def pallet_new(request: LotwardRequest) -> HttpResponse:
    """Begin a pallet, and go on to print its label."""
    return act_page(
        request,
        "dispatch/pallets/pallet_new",
        BeginForm(request.POST or None),
        services.begin_pallet,
        said=_("Pallet %(pallet)s is begun. Print its label and stick it on."),
        to=lambda begun: reverse("dispatch:pallet-label", args=[begun.pallet]),
        back=reverse("dispatch:pallets"),
        act=_("Begin the pallet"),
    )


@allowed("kitting.see_work")
def pallet_detail(request: LotwardRequest, number: str) -> HttpResponse:
    """One pallet: built while it is here, afterwards told."""
    return _show(request, get_or_404(Pallet, number=number))


@allowed("kitting.send_boxes", "POST")
def pallet_scan(request: LotwardRequest, number: str) -> HttpResponse:
    """Put the box that was scanned onto the pallet."""
    pallet = get_or_404(Pallet, number=number)
    form = BoxScanForm(request.POST)
    done, status = attempt_scan(
        request,
        form,
        lambda sign, scan: services.stack_box(
            pallet_id=pallet.pk, box_id=queries.box_scanned(scan), sign=sign
        ),
    )
    words = _("Box %(box)s is on the pallet.")
    return _after_scan(request, pallet, form, done, words, status)


@allowed("kitting.send_boxes", "POST")
def pallet_take_off(request: LotwardRequest, number: str) -> HttpResponse:
    """Take a box off the pallet again."""
    pallet = get_or_404(Pallet, number=number)
    form = TakeOffForm(request.POST)
    done, status = attempt_scan(
        request,
        form,
        lambda sign, box: services.unstack_box(
            pallet_id=pallet.pk, box_id=box, sign=sign
        ),
    )
    words = _("Box %(box)s is off the pallet. Put it away.")
    box = form.cleaned_data.get("box", 0)
    if done and queries.stays(box, standing_reach(), clock.today()):
        words = _("Box %(box)s is off the pallet and may not go. Put it in quarantine.")
    return _after_scan(request, pallet, form, done, words, status)


def _after_scan(
    request: LotwardRequest,
    pallet: Pallet,
    form: KeyedForm,
    done: services.Stacked | None,
    words: str,
    status: int,
) -> HttpResponse:
    """Answer a box on or off: htmx stays on the page, a plain post goes back to it."""
    if done is None:
        return _show(request, pallet, wrong=form, status=status)
    said = words % {"box": done.box}
    if wants_fragment(request):
        return _show(request, pallet, said=said)
    say_of_scan(request, Said(said))
    return redirect("dispatch:pallet-detail", pallet.number)


def _show(
    request: LotwardRequest,
    pallet: Pallet,
    *,
    said: str = "",
    wrong: KeyedForm | None = None,
    status: int = 200,
) -> HttpResponse:
    """Show a pallet as it is now; somebody else may have changed it meanwhile."""
    row = queries.row_of(pallet)
    reach = Reach() if row.left else reach_of(told_holds())
    boxes = queries.standing_on(row.pallet, reach, clock.today())
    broken_up = queries.why_broken_up(row.pallet)
    context: dict[str, Any] = {
        "row": row,
        "pallet": row.pallet,
        "boxes": [(box, new_op_key()) for box in boxes],
        "stay": [] if row.left else [box for box in boxes if box.stays],
        "broken_up": broken_up,
        "printed": None if broken_up else is_printed(row.pallet),
        "said": said or said_of_scan(request).words,
        "wrong": wrong,
        "scan_key": new_op_key(),
    }
    page = "dispatch/pallets/pallet_detail"
    return render_part(request, page, "_pallet", context, status=status)


@allowed("kitting.print_labels", "GET", "POST")
def pallet_label(request: LotwardRequest, number: str) -> HttpResponse:
    """Print the label of a pallet; again, with the reason, where one was printed."""
    pallet = get_or_404(Pallet, number=number)
    back = reverse("dispatch:pallet-detail", args=[number])
    return print_page(request, PALLETS, [pallet.number], back=back)


@allowed("kitting.send_boxes", "GET", "POST")
def pallet_break_up(request: LotwardRequest, number: str) -> HttpResponse:
    """Break a pallet up, with a reason; its boxes stand by themselves again."""
    pallet = get_or_404(Pallet, number=number)
    here = reverse("dispatch:pallet-detail", args=[number])
    row = queries.row_of(pallet)
    if request.method == "GET" and not row.is_open:
        return redirect(here)

    def said(done: services.BrokenUp) -> str:
        if not done.boxes:
            words = _("Pallet %(pallet)s is broken up. Take its label off.")
            return words % {"pallet": done.pallet}
        words = _(
            "Pallet %(pallet)s is broken up. Take its label off and put %(boxes)s away."
        )
        return words % {"pallet": done.pallet, "boxes": amount(done.boxes, "box")}

    return act_page(
        request,
        "dispatch/pallets/pallet_break_up",
        BreakUpForm(request.POST or None),
        partial(services.break_up_pallet, pallet_id=pallet.pk),
        said=said,
        to=reverse("dispatch:pallets"),
        back=here,
        row=row,
        act=_("Break it up"),
        stop=True,
    )
