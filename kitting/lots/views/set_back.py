"""The page on which a bag that was open for too long is set back."""

from __future__ import annotations

from functools import partial

from django.http import HttpResponse
from django.utils.translation import gettext as _

from kitting.domain.shown import spaced
from kitting.domain.stages import BagStage
from kitting.lots.forms.set_back import SetBackForm
from kitting.lots.queries.bags import one_bag
from kitting.lots.services.set_back import SetBack, set_back
from kitting.lots.views.bags import bag_address, context_of, labels_address
from kitting.models import Bag
from kitting.web.acting import act_page
from kitting.web.figures import amount
from kitting.web.http import LotwardRequest, allowed, get_or_404


@allowed("kitting.repack", "GET", "POST")
def bag_set_back(request: LotwardRequest, number: str) -> HttpResponse:
    """Set back a bag that was open for too long; the new one wants its label."""
    bag = get_or_404(one_bag(), number=number)
    return act_page(
        request,
        "kitting/lots/bag_set_back",
        SetBackForm(request.POST or None, bag=bag),
        partial(set_back, bag_id=bag.pk),
        said=lambda done: _said(done, bag),
        to=lambda done: labels_address([done.into]),
        around=lambda: context_of(bag),
        act=_("Set them back"),
        back=bag_address(bag.number),
    )


def _said(done: SetBack, bag: Bag) -> str:
    words = _(
        "%(pieces)s are in new bag %(into)s, to be disinfected again. Print its label"
        " and stick it on."
    )
    if done.stage == BagStage.ARRIVED:
        words = _(
            "%(pieces)s are in new bag %(into)s, for a checker. Print its label and"
            " stick it on."
        )
    pieces = amount(done.pieces, bag.lot.part.unit)
    return words % {"pieces": pieces, "into": spaced(done.into)}
