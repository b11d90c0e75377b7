"""The page on which pieces of a bag are repacked."""

from __future__ import annotations

from functools import partial

from django.http import HttpResponse
from django.utils.translation import gettext as _

from kitting.domain.shown import spaced
from kitting.lots.forms.repack import RepackForm
from kitting.lots.queries.bags import one_bag
from kitting.lots.services.repack import Repacked, repack
from kitting.lots.views.bags import bag_address, context_of, labels_address
from kitting.models import Bag
from kitting.web.acting import act_page
from kitting.web.figures import amount
from kitting.web.http import LotwardRequest, allowed, get_or_404


@allowed("kitting.repack", "GET", "POST")
def bag_repack(request: LotwardRequest, number: str) -> HttpResponse:
    """Put pieces of a bag into others; new ones want a label."""
    bag = get_or_404(one_bag(), number=number)
    return act_page(
        request,
        "kitting/lots/bag_repack",
        RepackForm(request.POST or None, bag=bag),
        partial(repack, bag_id=bag.pk),
        said=lambda done: _said(done, bag),
        to=_way_on,
        around=lambda: context_of(bag),
        act=_("Repack them"),
        back=bag_address(bag.number),
    )


def _said(done: Repacked, bag: Bag) -> str:
    if not done.new:
        words = _(
            "%(pieces)s are in bag %(bag)s now; %(left)s are left in bag %(from)s."
        )
    elif len(done.into) == 1:
        words = _(
            "%(pieces)s are in new bag %(bag)s; %(left)s are left in bag %(from)s. Print"
            " its label and stick it on."
        )
    else:
        words = _(
            "%(pieces)s are in each of %(bags)s new bags; %(left)s are left in bag"
            " %(from)s. Print their labels and stick them on."
        )
    unit = bag.lot.part.unit
    return words % {
        "pieces": amount(done.pieces, unit),
        "bag": spaced(done.into[0]),
        "bags": len(done.into),
        "left": amount(done.left, unit),
        "from": spaced(done.bag),
    }


def _way_on(done: Repacked) -> str:
    """To the labels of new bags, else to the bag that was there."""
    if not done.new:
        return bag_address(done.into[0])
    return labels_address(done.into)
