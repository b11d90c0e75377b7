"""The day, in sentences."""

from __future__ import annotations

from datetime import datetime, time
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_GET

from kitting.clock import day_of
from kitting.models import Workshop
from kitting.queries.attention import to_see_to
from kitting.queries.day import SHOWN, the_day
from kitting.reach import standing_reach
from kitting.views.stock_picture import picture_of
from lotward.http import allowed

if TYPE_CHECKING:
    from django.http import HttpResponse

    from lotward.http import LotwardRequest


@allowed("kitting.see_work")
@require_GET
def day(request: LotwardRequest) -> HttpResponse:
    """How the day stands."""
    workshop = Workshop.objects.get(pk=1)
    today = day_of(workshop, timezone.now())
    since = datetime.combine(today, time.min, ZoneInfo(workshop.time_zone))
    figures = the_day(today, since, standing_reach())
    context = {
        "day": figures,
        "stages": SHOWN,
        "picture": picture_of(figures.parts),
        "see_to": to_see_to(today),
    }
    return render(request, "kitting/day.html", context)
