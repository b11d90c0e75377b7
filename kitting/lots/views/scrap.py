"""The page on which pieces of a bag are scrapped."""

from __future__ import annotations

from functools import partial

from django.http import HttpResponse
from django.utils.translation import gettext as _

from kitting.lots.forms.scrap import ScrapForm
from kitting.lots.queries.bags import one_bag
from kitting.lots.services.scrap import scrap
from kitting.lots.views.bags import bag_address, context_of
from kitting.web.acting import act_page
from kitting.web.http import LotwardRequest, allowed, get_or_404


@allowed("kitting.repack", "GET", "POST")
def bag_scrap(request: LotwardRequest, number: str) -> HttpResponse:
    """Scrap pieces of a bag."""
    bag = get_or_404(one_bag(), number=number)
    reasons = request.workshop.scrap_list
    return act_page(
        request,
        "kitting/lots/bag_scrap",
        ScrapForm(request.POST or None, bag=bag, reasons=reasons),
        partial(scrap, bag_id=bag.pk),
        said=_("%(pieces)s of bag %(bag)s are scrapped; %(left)s are left."),
        to=bag_address(bag.number),
        around=lambda: context_of(bag),
        act=_("Scrap them"),
        stop=True,
    )
