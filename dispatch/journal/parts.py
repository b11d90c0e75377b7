"""What the room adds to the report of a case: the acts about it."""

from __future__ import annotations

from dispatch.closing.queries.report import TIMELINE, Acted
from dispatch.journal.acts import said
from dispatch.journal.queries.things import acts_with
from dispatch.models import Case
from kitting.models import Operation


def _acts(case: Case) -> list[Acted]:
    found = Operation.objects.filter(pk__in=acts_with([case])).order_by("pk")
    return [(act, str(said(act.name))) for act in found]


TIMELINE.append(_acts)
