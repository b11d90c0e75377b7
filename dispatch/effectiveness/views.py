"""Effectiveness checks: drawn from the page of a case, and answered one by one."""

from __future__ import annotations

from functools import partial

from django.http import HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from dispatch.effectiveness import queries, services
from dispatch.effectiveness.forms import AnswerForm, DrawForm
from dispatch.models import Case, EffectConsignee
from dispatch.notices.queries.whom import Whom
from kitting.web.acting import act_page
from kitting.web.figures import pieces
from kitting.web.http import LotwardRequest, allowed, get_or_404


@allowed("kitting.place_holds", "GET", "POST")
def effect_new(request: LotwardRequest, number: str) -> HttpResponse:
    """Draw the consignees of a case that are asked whether the recall reached them."""
    case = get_or_404(Case, number=number)
    return act_page(
        request,
        "dispatch/effectiveness/effect_new",
        DrawForm(request.POST or None),
        partial(services.draw_check, number=number),
        said=_drawn,
        to=_section(number),
        act=_("Draw whom to ask"),
        case=case,
        around=lambda: {"consignees": len(queries.consignees_of(case))},
    )


def _section(number: str) -> str:
    return f"{reverse('dispatch:case-detail', args=[number])}#effectiveness"


def _drawn(done: services.Draw) -> str:
    words = ngettext(
        "%(drawn)s of %(consignees)s consignee is to be asked.",
        "%(drawn)s of %(consignees)s consignees are to be asked.",
        done.consignees,
    )
    return words % {"drawn": pieces(done.drawn), "consignees": pieces(done.consignees)}


@allowed("kitting.recall", "GET", "POST")
def effect_answer(request: LotwardRequest, pk: int) -> HttpResponse:
    """Note what a consignee says that was drawn."""
    beside = ("check_of__case", "consignee__merged_into")
    found = EffectConsignee.objects.filter(drawn=True).select_related(*beside)
    row = get_or_404(found, pk=pk)
    return act_page(
        request,
        "dispatch/effectiveness/effect_answer",
        AnswerForm(request.POST or None),
        partial(services.note_answer, of_id=row.pk),
        said=_("What %(name)s said is on record."),
        to=_section(row.check_of.case.number),
        act=_("Keep what they said"),
        case=row.check_of.case,
        whom=Whom(row.consignee.stays, ()),
    )
