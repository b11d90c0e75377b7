"""Numbers for blank bag labels, and the labels."""

from __future__ import annotations

import re
from typing import Any

from django.http import HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from kitting.domain.numbers import read
from kitting.lots.forms.blanks import BagNumbersForm
from kitting.lots.queries.blanks import given_out, newest_from
from kitting.lots.services import blanks
from kitting.printing.queries.labels import labelled_as
from kitting.printing.views.prints import print_page
from kitting.web.acting import act_page
from kitting.web.http import LotwardRequest, allowed


@allowed("kitting.take_in", "GET", "POST")
def bag_numbers(request: LotwardRequest) -> HttpResponse:
    """Give out numbers for blank labels, and list the ones given out."""
    return act_page(
        request,
        "kitting/lots/bag_numbers",
        BagNumbersForm(request.POST or None),
        blanks.give_out_numbers,
        said=_given,
        to=lambda done: _address(read(done.numbers[0]).sequence, len(done.numbers)),
        around=lambda: _around(request),
        act=_("Give out numbers"),
    )


def _given(done: blanks.GivenOut) -> str:
    count = len(done.numbers)
    words = ngettext(
        "%(count)s number is given out.", "%(count)s numbers are given out.", count
    )
    return words % {"count": count}


def _address(first: int, count: int) -> str:
    return f"{reverse('kitting:bag-numbers')}?first={first}&count={count}"


def _around(request: LotwardRequest) -> dict[str, Any]:
    first, count = _range(request)
    numbers = given_out(first, count)
    return {
        "numbers": numbers,
        "blank": not all(each.lot for each in numbers),
        "first": first,
        "count": count,
        "asked": "first" in request.GET,
    }


@allowed("kitting.take_in", "GET", "POST")
def bag_number_labels(request: LotwardRequest) -> HttpResponse:
    """Print blank labels for the numbers of a range that are on no bag yet."""
    first, count = _range(request)
    blank = [each.number for each in given_out(first, count) if not each.lot]
    back = _address(first, count)
    return print_page(request, labelled_as("bag_number"), blank, back=back)


def _range(request: LotwardRequest) -> tuple[int, int]:
    """The range in the address; without one the numbers given out last."""
    count = min(max(_whole(request.GET.get("count", ""), 24), 1), blanks.MOST_NUMBERS)
    asked = _whole(request.GET.get("first", ""), 0)
    return asked or newest_from(count), count


def _whole(text: str, otherwise: int) -> int:
    return int(text) if re.fullmatch(r"[0-9]{1,12}", text) else otherwise
