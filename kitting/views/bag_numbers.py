"""Numbers for blank bag labels, and the labels."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_GET, require_http_methods

from kitting.domain.numbers import read
from kitting.forms.lots import BagNumbersForm
from kitting.labels.kinds import BAG, BagLabel
from kitting.labels.press import draw
from kitting.labels.stock import BAG_70X40
from kitting.models import Workshop
from kitting.queries.labels import DEMO_MARK
from kitting.queries.lots import given_out, last_given_out
from kitting.services import lots
from kitting.views.acting import OK, attempt
from lotward.http import allowed, go, render_part

if TYPE_CHECKING:
    from lotward.http import LotwardRequest


@allowed("kitting.take_in")
@require_http_methods(["GET", "POST"])
def bag_numbers(request: LotwardRequest) -> HttpResponse:
    """Give out numbers for blank labels, and list the ones given out."""
    form = BagNumbersForm(request.POST or None)
    status = OK
    if request.method == "POST":
        done, status = attempt(
            request,
            form,
            lambda sign: lots.give_out_numbers(
                count=form.cleaned_data["count"], sign=sign
            ),
        )
        if done is not None:
            count = len(done.numbers)
            said = ngettext(
                "%(count)s number is given out.",
                "%(count)s numbers are given out.",
                count,
            )
            messages.success(request, said % {"count": count})
            first = read(done.numbers[0]).sequence
            address = reverse("kitting:bag-numbers")
            return go(request, f"{address}?first={first}&count={count}")
    first, count = _range(request)
    return render_part(
        request,
        page="kitting/bag_numbers.html",
        part="_form.html",
        context={
            "form": form,
            "act": _("Give out numbers"),
            "part": "bag-numbers",
            "numbers": given_out(first, count),
            "first": first,
            "count": count,
            "asked": "first" in request.GET,
            "here": "kitting:lots",
        },
        status=status,
    )


@allowed("kitting.take_in")
@require_GET
def bag_number_labels(request: LotwardRequest) -> HttpResponse:
    """Blank labels for the numbers of a range that are on no bag yet, as a PDF."""
    first, count = _range(request)
    blank = [each.number for each in given_out(first, count) if not each.lot]
    if not blank:
        raise Http404("There is no blank number in this range.")
    mark = DEMO_MARK if Workshop.objects.get(pk=1).demo else None
    labels = [BagLabel(number, mark=mark) for number in blank]
    pressed = draw(BAG, labels, BAG_70X40)
    response = HttpResponse(pressed.pdf, content_type="application/pdf")
    name = f"bag-numbers-{blank[0]}.pdf"
    response.headers["Content-Disposition"] = f'inline; filename="{name}"'
    return response


def _range(request: LotwardRequest) -> tuple[int, int]:
    """The range in the address; without one the numbers given out last."""
    count = min(max(_whole(request.GET.get("count", ""), 24), 1), lots.MOST_NUMBERS)
    newest = max(last_given_out() - count + 1, 1)
    return max(_whole(request.GET.get("first", ""), newest), 1), count


def _whole(text: str, otherwise: int) -> int:
    return int(text) if re.fullmatch(r"[0-9]{1,12}", text) else otherwise
