"""Pages of samples: pieces of a bag for tests."""

from __future__ import annotations

from functools import partial

from django.http import HttpResponse
from django.utils.translation import gettext as _

from kitting.lots.forms.samples import ResultForm, SampleForm
from kitting.lots.queries.bags import one_bag
from kitting.lots.queries.samples import one_sample
from kitting.lots.services import samples
from kitting.lots.views.bags import bag_address, context_of
from kitting.web.acting import act_page
from kitting.web.http import LotwardRequest, allowed, get_or_404


@allowed("kitting.count_bags", "GET", "POST")
def bag_sample(request: LotwardRequest, number: str) -> HttpResponse:
    """Send pieces of a bag to a test."""
    bag = get_or_404(one_bag(), number=number)
    return act_page(
        request,
        "kitting/lots/bag_sample",
        SampleForm(request.POST or None, bag=bag),
        partial(samples.send_to_test, bag_id=bag.pk),
        said=_("%(pieces)s of bag %(bag)s go to the test; %(left)s are left."),
        to=bag_address(bag.number),
        around=lambda: context_of(bag),
        act=_("Send them to the test"),
    )


@allowed("kitting.record_results", "GET", "POST")
def sample_result(request: LotwardRequest, pk: int) -> HttpResponse:
    """Record what came back for a sample."""
    sample = get_or_404(one_sample(), pk=pk)
    return act_page(
        request,
        "kitting/lots/bag_result",
        ResultForm(request.POST or None),
        partial(samples.record_result, sample_id=sample.pk),
        said=_("The result of the sample of bag %(bag)s is on record."),
        to=bag_address(sample.bag.number),
        around=lambda: context_of(sample.bag),
        act=_("Record the result"),
        sample=sample,
    )
