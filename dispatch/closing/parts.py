"""What the room adds to the pages of a case and of lifting a hold of one."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext as _

from dispatch.closing.queries.closings import ended
from dispatch.closing.queries.lifted import left_out, untold
from dispatch.models import Case
from dispatch.notices.queries.whom import told
from dispatch.recall.ways import Way
from kitting.ledger.standing import Standing
from kitting.web.parts import register


def _of_case(case: Case) -> dict[str, Any]:
    return {"ended": ended(case), "ways": [Way("closing", _("How it ended"))]}


def _lifted(case: Case) -> dict[str, Any] | None:
    lifted = untold(case)
    if not lifted:
        return None
    title = _("To be told that a hold is lifted")
    way = Way("lifted", title, _("Tell that a hold is lifted"), always=True)
    return {"lifted": lifted, "ways": [way]}


def _of_lift(hold: Standing) -> dict[str, Any] | None:
    case = Case.objects.filter(number=hold.case).first()
    if case is None:
        return None
    names = told(case)
    out = left_out(case, hold)
    return {"told": names, "out": out} if names or out else None


register("dispatch:case", "dispatch/closing/_lifted.html", _lifted)
register("dispatch:case", "dispatch/closing/_of_case.html", _of_case)
register("dispatch:lift", "dispatch/closing/_lift_tells.html", _of_lift)
