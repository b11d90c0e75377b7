"""The page on which a checker looks at a bag once more."""

from __future__ import annotations

from functools import partial

from django.http import HttpResponse
from django.utils.translation import gettext as _

from kitting.checking.forms import AcceptAgainForm
from kitting.checking.services.again import accept_again
from kitting.lots.queries.bags import one_bag
from kitting.lots.views.bags import bag_address, context_of
from kitting.web.acting import act_page
from kitting.web.http import LotwardRequest, allowed, get_or_404


@allowed("kitting.check_lots", "GET", "POST")
def bag_accept(request: LotwardRequest, number: str) -> HttpResponse:
    """Accept a bag that was open for too long."""
    bag = get_or_404(one_bag(), number=number)
    return act_page(
        request,
        "kitting/checking/bag_accept",
        AcceptAgainForm(request.POST or None, bag=bag),
        partial(accept_again, bag_id=bag.pk),
        said=_("Bag %(bag)s is %(stage)s: its pieces were looked at."),
        to=bag_address(bag.number),
        around=lambda: context_of(bag),
        act=_("Accept the bag"),
    )
