"""The day's plan: how many boxes of each size are wanted."""

from __future__ import annotations

from django.http import HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _

from kitting.ledger import clock
from kitting.packing.forms import PlanFilterForm, PlanForm
from kitting.packing.queries.plan import mark_of_plan, plan_of
from kitting.packing.services.plan import plan_day
from kitting.web.acting import act_page
from kitting.web.http import LotwardRequest, allowed


@allowed("kitting.set_up", "GET", "POST")
def pack_plan(request: LotwardRequest) -> HttpResponse:
    """How many boxes are wanted on a day; say it for today or a later one."""
    today = clock.today()
    chosen = PlanFilterForm(request.GET or {"day": today})
    day = chosen.chosen().get("day", today)
    rows = plan_of(day)
    seen = mark_of_plan({row.size.pk: row.wanted for row in rows if row.wanted})
    form = PlanForm(
        request.POST or None, planned=rows, initial={"day": day, "seen": seen}
    )
    page = reverse("kitting:pack-plan")
    return act_page(
        request,
        "kitting/packing/plan",
        form,
        plan_day,
        said=_("The plan of %(day)s is set. Boxes wanted: %(boxes)s."),
        to=lambda done: f"{page}?day={done.day}",
        act=_("Set the plan"),
        back=reverse("kitting:benches"),
        chosen=chosen,
        day=day,
        over=day < today,
        rows=rows,
        wanted=sum(row.wanted for row in rows),
        to_pack=sum(row.to_pack for row in rows),
    )
