"""Boxes of a case are replaced by requests."""

from __future__ import annotations

from functools import partial

from django.http import Http404, HttpResponse
from django.utils.translation import gettext as _

from dispatch.models import Case, Consignee
from dispatch.notices.forms.replacements import ReplaceForm
from dispatch.notices.queries.whom import one_of, replaceable
from dispatch.notices.services import replacements as services
from dispatch.notices.views.letters import whom_to_tell
from kitting.ledger.locking import snapshot
from kitting.web.acting import act_page
from kitting.web.figures import amount
from kitting.web.http import LotwardRequest, allowed, get_or_404


@allowed("kitting.send_boxes", "GET", "POST")
def case_replace(request: LotwardRequest, number: str, code: str) -> HttpResponse:
    """Take a request for the sets of boxes that a consignee sends back or destroys."""
    case = get_or_404(Case, number=number)
    consignee = get_or_404(Consignee, code=code)
    with snapshot():
        one = one_of(case, consignee)
        boxes = replaceable(one) if one else []
    if one is None:
        raise Http404("The case does not reach it.")
    return act_page(
        request,
        "dispatch/notices/case_replace",
        ReplaceForm(
            request.POST or None, of=one.boxes if request.method == "POST" else boxes
        ),
        partial(services.replace_boxes, number=number, consignee_id=consignee.pk),
        said=_said,
        to=whom_to_tell(number),
        act=_("Take the request"),
        case=case,
        one=one,
        boxes=boxes,
    )


def _said(done: services.Replaced) -> str:
    words = _("%(consignee)s gets %(sets)s instead: %(requests)s.")
    sets, requests = amount(done.sets, "set"), ", ".join(done.requests)
    return words % {"consignee": done.consignee, "sets": sets, "requests": requests}
