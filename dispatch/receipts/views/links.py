"""Signed links: given and ended by a clerk, and the page behind one, without signing in."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial, wraps
from typing import Any, Final, TypeVar

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from dispatch.models import ReceiptLink, Shipment
from dispatch.receipts.forms.links import AnswerForm, LinkForm, StrangerForm
from dispatch.receipts.queries.deliveries import after
from dispatch.receipts.queries.links import shown_of
from dispatch.receipts.services import links
from dispatch.receipts.spoken import ENGLISH, words_for
from kitting.domain.errors import LotwardError
from kitting.domain.stages import ShipmentStage
from kitting.ledger import clock
from kitting.ledger.clock import at_the_workshop
from kitting.ledger.locking import snapshot
from kitting.ledger.operations import Sign
from kitting.models import Workshop
from kitting.web.acting import act_page
from kitting.web.forms import KeyedForm
from kitting.web.http import LotwardRequest, allowed, get_or_404, status_for

Form = TypeVar("Form", bound=StrangerForm)

HEADERS: Final = {
    "Cache-Control": "private, no-store",
    "X-Robots-Tag": "noindex, nofollow, noarchive",
    "Content-Security-Policy": (
        "default-src 'none'; style-src 'self'; img-src 'self'; base-uri 'none';"
        " frame-ancestors 'none'; form-action 'self'"
    ),
}
"""Nobody keeps the page, finds it, or runs anything on it."""


@allowed("kitting.send_boxes", "GET", "POST")
def delivery_link(request: LotwardRequest, number: str) -> HttpResponse:
    """Show the link of a shipment, and give another one."""
    shipment = _shipment(number)
    link = links.good_link(shipment, clock.now())
    return act_page(
        request,
        "dispatch/receipts/delivery_link",
        LinkForm(request.POST or None),
        partial(links.give_link, shipment_id=shipment.pk),
        said=_("The link for %(shipment)s is given. An earlier one is good no more."),
        to=reverse("dispatch:delivery-link", args=[number]),
        shipment=shipment,
        link=link,
        address=_absolute(request, link) if link else "",
        on_paper=bool(settings.CONSIGNEE_URL),
        back=reverse("dispatch:shipment-detail", args=[number]),
        act=_("Give another link") if link else _("Give a link"),
    )


@allowed("kitting.send_boxes", "GET", "POST")
def delivery_unlink(request: LotwardRequest, number: str) -> HttpResponse:
    """End the link of a shipment."""
    shipment = _shipment(number)
    return act_page(
        request,
        "dispatch/receipts/delivery_unlink",
        KeyedForm(request.POST or None),
        partial(links.end_link, shipment_id=shipment.pk),
        said=_("The link for %(shipment)s is good no more."),
        to=reverse("dispatch:delivery-link", args=[number]),
        shipment=shipment,
        act=_("End the link"),
        stop=True,
    )


def _shipment(number: str) -> Shipment:
    shipments = Shipment.objects.select_related("consignee")
    return get_or_404(shipments.exclude(stage=ShipmentStage.CANCELLED), number=number)


def _absolute(request: HttpRequest, link: ReceiptLink) -> str:
    path = links.path_of(link)
    if settings.CONSIGNEE_URL:
        return f"{settings.CONSIGNEE_URL}{path}"
    return request.build_absolute_uri(path)


def by_link(
    view: Callable[[HttpRequest, str, Workshop], HttpResponse],
) -> Callable[[HttpRequest, str], HttpResponse]:
    """Let in whoever has a link, and keep the page to them; see ``HEADERS``.

    Args:
        view: It is given the token and the workshop.
    """

    @wraps(view)
    def shown(request: HttpRequest, token: str) -> HttpResponse:
        with at_the_workshop() as workshop:
            response = view(request, token, workshop)
        for name, value in HEADERS.items():
            response.headers[name] = value
        return response

    return shown


@require_http_methods(["GET", "POST"])
@by_link
def received(request: HttpRequest, token: str, workshop: Workshop) -> HttpResponse:
    """What a consignee is told of its boxes, and what it says of them."""
    link = links.link_behind(token, clock.now())
    if link is None:
        return no_link(request, ENGLISH)
    words = words_for(link.shipment.consignee.language)
    with snapshot():
        shown = shown_of(link.shipment, workshop)
        known = after(link.shipment)
    form = AnswerForm(request.POST or None, shown=shown, words=words)
    status = 200
    if request.method == "POST":
        status = answered(form, partial(_answer, link))
        if status == DONE:
            return redirect(request.path)
        if status == GONE:
            return no_link(request, words)
    context: dict[str, Any] = {
        "shipment": link.shipment,
        "shown": shown,
        "heard": [each for each in known.heard if each.way == "link"],
        "form": form,
        "words": words,
        "lang": words["lang"],
    }
    return render(request, "dispatch/receipts/received.html", context, status=status)


DONE, UNFIT, GONE = 302, 422, 404


def answered(form: Form, act: Callable[[Form, Sign], object]) -> int:
    """Do the act of a form that a consignee sent, and say with what to answer.

    Args:
        form: The form; what is wrong is on it then.
        act: The act, given the form and the consignee's sign.

    Returns:
        ``DONE``, ``GONE``, or the status of the page.
    """
    if not form.is_valid():
        return UNFIT
    try:
        act(form, Sign(by=links.consignee(), key=form.cleaned_data["op_key"]))
    except LotwardError as error:
        form.refuse(error)
        return status_for(error)
    return DONE


def _answer(link: ReceiptLink, form: AnswerForm, sign: Sign) -> None:
    links.answer_link(
        shipment_id=link.shipment_id, nth=link.nth, said=form.said, sign=sign
    )


def no_link(request: HttpRequest, words: Any) -> HttpResponse:
    """Answer that a link is not good, whatever the reason."""
    page = "dispatch/receipts/received_no_link.html"
    return render(request, page, {"words": words}, status=404)
