"""What a consignee said of its boxes, written down by a clerk; and by when it is wanted."""

from __future__ import annotations

from functools import partial

from django.http import Http404, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _

from dispatch.models import Case, Consignee
from dispatch.replies import services
from dispatch.replies.forms import MOST_BOXES, ReplyForm, TermForm
from dispatch.replies.queries import accounts as queries
from kitting.ledger.locking import snapshot
from kitting.web.acting import act_page
from kitting.web.figures import amount
from kitting.web.http import LotwardRequest, allowed, get_or_404


@allowed("kitting.recall", "GET", "POST")
def case_reply(request: LotwardRequest, number: str, code: str) -> HttpResponse:
    """Write down what became of the boxes that a consignee has."""
    case = get_or_404(Case, number=number)
    consignee = get_or_404(
        Consignee.objects.select_related("merged_into"), code=code
    ).stays
    with snapshot():
        theirs = queries.asked_of(case, consignee)
        replies = queries.replies_of(case, consignee)
        asked = theirs.next_of(request.GET.get("box", ""), MOST_BOXES)
        before = queries.said_before(case, asked)
    if not theirs.boxes and not replies:
        raise Http404("The case reaches no box of this consignee.")
    form = ReplyForm(
        request.POST or None,
        boxes=asked,
        newest=queries.newest_of(replies),
        before=before,
    )
    return act_page(
        request,
        "dispatch/replies/case_reply",
        form,
        partial(services.record_reply, number=number, consignee_id=consignee.pk),
        said=_said,
        to=f"{reverse('dispatch:case-detail', args=[number])}#answers",
        case=case,
        asked=theirs,
        more=len(theirs.boxes) - len(asked),
        replies=replies,
        fields="dispatch/replies/_reply_fields.html",
        act=_("Record the answers"),
    )


def _said(done: services.Replied) -> str:
    boxes = amount(done.boxes, "box")
    words = _("What %(name)s says of %(boxes)s is on record.")
    return words % {"name": done.consignee, "boxes": boxes}


@allowed("kitting.place_holds", "GET", "POST")
def case_term(request: LotwardRequest, number: str) -> HttpResponse:
    """Say by when a case wants answers."""
    case = get_or_404(Case, number=number)
    return act_page(
        request,
        "dispatch/replies/case_term",
        TermForm(request.POST or None),
        partial(services.want_replies, number=number),
        said=_("Who has not answered for all of its boxes by then is listed."),
        to=f"{reverse('dispatch:case-detail', args=[number])}#answers",
        case=case,
        act=_("Set the day"),
    )
