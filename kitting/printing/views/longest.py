"""Every label tried, with the longest that there is on it: looked at, and printed."""

from __future__ import annotations

from functools import partial
from typing import Any

from django.http import Http404, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _

from kitting.domain.errors import LotwardError, Missing
from kitting.labels.picture import png
from kitting.printing.fitting import ALL, Longest, drawn_test, longest_face, longest_of
from kitting.printing.forms.longest import TestForm
from kitting.printing.queries.longest import newest_look
from kitting.printing.queries.stocks import laid_out, of_kind, stock_of, stocks_for
from kitting.printing.services.printers import LookedAt, look_at_labels, try_label
from kitting.printing.views.prints import CSS_PER_MM, refused
from kitting.web.acting import act_page
from kitting.web.forms import KeyedForm
from kitting.web.http import LotwardRequest, allowed, pdf_response
from kitting.web.messages import sentence

HERE = "kitting:labels"


@allowed("kitting.set_up", "GET", "POST")
def labels_try(request: LotwardRequest) -> HttpResponse:
    """Show every label, and say that they were looked at."""
    look = newest_look()
    return act_page(
        request,
        "kitting/printing/labels_try",
        KeyedForm(request.POST or None),
        look_at_labels,
        said=_said,
        to=reverse("kitting:labels-try"),
        act=_("I looked at every label"),
        look=look,
        labels=[(one, *_pixels(one), _unfit(one, look)) for one in ALL],
        here=HERE,
        back=reverse("first-hour"),
        back_word=_("The first hour"),
    )


def _said(done: LookedAt) -> str:
    return "" if done.unfit else _("Every label was looked at, and all can be printed.")


def _unfit(one: Longest, look: Any) -> bool:
    return look is not None and one.name in look.unfit


def _pixels(one: Longest) -> tuple[int, int]:
    kind = one.kind
    return round(kind.width_mm * CSS_PER_MM), round(kind.height_mm * CSS_PER_MM)


@allowed("kitting.set_up", "GET", "POST")
def label_try(request: LotwardRequest, name: str) -> HttpResponse:
    """Show the longest label of a purpose, and print it as a test."""
    one = _longest(name)
    of, why = "", ""
    try:
        of, face = longest_face(one)
        drawn_test(one, face, of_kind(one.kind).on)
    except LotwardError as error:
        why = sentence(error)
    wide, high = _pixels(one)
    return act_page(
        request,
        "kitting/printing/label_try",
        TestForm(request.POST or None, kind=one.kind),
        partial(try_label, name=name),
        said=_("A test of it is on its way to printer %(printer)s."),
        to=reverse("kitting:label-try", args=[name]),
        act=_("Print it as a test"),
        one=one,
        of=of,
        why=why,
        wide=wide,
        high=high,
        stocks=stocks_for(one.kind),
        here=HERE,
        back=reverse("kitting:labels-try"),
        back_word=_("Every label"),
    )


@allowed("kitting.set_up")
def label_try_picture(request: LotwardRequest, name: str) -> HttpResponse:
    """The picture of the longest label of a purpose, as a test."""
    try:
        picture = _picture(_longest(name))
    except LotwardError as error:
        raise Http404("There is no such label.") from error
    return HttpResponse(picture, content_type="image/png")


@allowed("kitting.set_up")
def label_try_pdf(request: LotwardRequest, name: str) -> HttpResponse:
    """The same as a PDF, of its own size or for a stock."""
    one = _longest(name)
    code = request.GET.get("stock", "")
    try:
        laid = laid_out(stock_of(code)) if code.isprintable() and code else None
        on = (laid or of_kind(one.kind)).on
        _of, face = longest_face(one)
        pdf = drawn_test(one, face, on).pdf
    except LotwardError as error:
        return refused(request, error, back=reverse("kitting:label-try", args=[name]))
    return pdf_response(pdf, f"test-{name}".replace("_", "-"))


def _picture(one: Longest) -> bytes:
    on = of_kind(one.kind).on
    _of, face = longest_face(one)
    return png(drawn_test(one, face, on), on)


def _longest(name: str) -> Longest:
    try:
        return longest_of(name)
    except Missing as error:
        raise Http404("There are no labels of this kind.") from error
