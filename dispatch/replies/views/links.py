"""The page behind a signed link, on which a consignee answers; and ending the link."""

from __future__ import annotations

from functools import partial
from typing import Any

from django.conf import settings
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from dispatch.consignees.queries import same_as
from dispatch.models import Case, Consignee, Letter
from dispatch.recall import links
from dispatch.recall.queries.cases import closing_of
from dispatch.receipts.views.links import DONE, GONE, answered, by_link, no_link
from dispatch.replies import services
from dispatch.replies.forms import MOST_BOXES, LinkedForm, LinkForm
from dispatch.replies.queries import accounts as queries
from dispatch.replies.spoken import words_for
from kitting.ledger.locking import snapshot
from kitting.ledger.operations import Sign
from kitting.models import Workshop
from kitting.web.acting import act_page
from kitting.web.http import LotwardRequest, allowed, get_or_404


@allowed("kitting.recall", "GET", "POST")
def case_link(request: LotwardRequest, number: str, code: str) -> HttpResponse:
    """Show a consignee's link to a case, and end it."""
    case = get_or_404(Case, number=number)
    rows = Consignee.objects.select_related("merged_into")
    consignee = get_or_404(rows, code=code).stays
    if closing_of(case) is not None:
        raise Http404("The case is closed: no link to it is good.")
    if not queries.asked_of(case, consignee).boxes and not queries.replies_of(
        case, consignee
    ):
        raise Http404("The case reaches no box of this consignee.")
    path = links.path_of(case, consignee)
    page = reverse("dispatch:case-link", args=[number, code])
    return act_page(
        request,
        "dispatch/replies/case_link",
        LinkForm(
            request.POST or None,
            initial={"nth": links.link_in_force(case, consignee)},
        ),
        partial(services.end_reply_link, number=number, consignee_id=consignee.pk),
        said=_("That link is good no more. The one that is shown here now is another."),
        to=page,
        back=reverse("dispatch:case-reply", args=[number, code]),
        case=case,
        consignee=consignee,
        address=links.link_of(case, consignee) or request.build_absolute_uri(path),
        on_paper=bool(settings.CONSIGNEE_URL),
        act=_("End this link"),
        stop=True,
    )


@require_http_methods(["GET", "POST"])
@by_link
def recalled(request: HttpRequest, token: str, workshop: Workshop) -> HttpResponse:
    """What a consignee is asked of its boxes of a case, and what it says of them."""
    found = links.behind(token)
    if found is None:
        return no_link(request, words_for("en"))
    case, consignee, nth = found
    words = words_for(consignee.language)
    with snapshot():
        asked = queries.asked_of(case, consignee, words)
        replies = queries.replies_of(case, consignee, words)
        boxes = asked.next_of(request.GET.get("box", ""), MOST_BOXES)
        before = queries.said_before(case, boxes, words)
        letter = _letter(case, consignee)
    form = LinkedForm(
        request.POST or None,
        boxes=boxes,
        words=words,
        newest=queries.newest_of(replies),
        before=before,
    )
    status = 200
    if request.method == "POST":
        status = answered(form, partial(_reply, case, consignee, nth))
        if status == DONE:
            return redirect(request.path)
        if status == GONE:
            return no_link(request, words)
    context: dict[str, Any] = {
        "case": case,
        "letter": letter,
        "asked": asked,
        "more": len(asked.boxes) - len(boxes),
        "replies": replies,
        "form": form,
        "words": words,
        "lang": words["lang"],
    }
    return render(request, "dispatch/replies/recalled.html", context, status=status)


def _letter(case: Case, consignee: Consignee) -> Letter | None:
    """The newest letter to a consignee about a case: it is in its language."""
    own = same_as(consignee.pk)
    return Letter.objects.filter(case=case, consignee__in=own).order_by("-pk").first()


def _reply(
    case: Case, consignee: Consignee, nth: int, form: LinkedForm, sign: Sign
) -> None:
    services.reply_by_link(
        number=case.number,
        consignee_id=consignee.pk,
        nth=nth,
        told_by=form.cleaned_data["by"],
        note=form.cleaned_data["remark"],
        lines=form.lines,
        seen=form.cleaned_data["seen"],
        sent=form.sent,
        sign=sign,
    )
