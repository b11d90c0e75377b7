"""The page of a bag."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.http import HttpResponse
from django.urls import reverse
from django.utils.http import urlencode

from kitting.ledger import clock
from kitting.ledger.reach import standing_reach
from kitting.lots.queries.bags import bag_page, one_bag
from kitting.models import Bag
from kitting.web.http import LotwardRequest, allowed, get_or_404, render_part


def bag_address(number: str) -> str:
    """The address of a bag's page."""
    return reverse("kitting:bag-detail", args=[number])


def labels_address(numbers: Sequence[str]) -> str:
    """The address at which the labels of new bags are printed."""
    labels = reverse("kitting:label-print", args=["bag"])
    return f"{labels}?{urlencode({'n': numbers}, doseq=True)}"


@allowed("kitting.see_work")
def bag_detail(request: LotwardRequest, number: str) -> HttpResponse:
    """Everything about one bag."""
    bag = get_or_404(one_bag(), number=number)
    return render_part(request, "kitting/lots/bag_detail", "_bag", context_of(bag))


def context_of(bag: Bag) -> dict[str, Any]:
    """What every page around a bag shows."""
    shown = bag_page(bag, standing_reach(), clock.now())
    return {"bag": bag, "shown": shown}
