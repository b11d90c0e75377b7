"""What the room adds to the pages of a case and of lifting a hold of one."""

from __future__ import annotations

from typing import Any

from dispatch.closing.queries.closings import ended
from dispatch.closing.queries.lifted import untold
from dispatch.models import Case
from dispatch.notices.queries.whom import told
from kitting.ledger.standing import Standing
from kitting.web.parts import register


def _of_case(case: Case) -> dict[str, Any]:
    return {"ended": ended(case)}


def _lifted(case: Case) -> dict[str, Any] | None:
    lifted = untold(case)
    return {"lifted": lifted} if lifted else None


def _of_lift(hold: Standing) -> dict[str, Any] | None:
    case = Case.objects.filter(number=hold.case).first()
    names = told(case) if case else []
    return {"told": names} if names else None


register("dispatch:case", "dispatch/closing/_lifted.html", _lifted)
register("dispatch:case", "dispatch/closing/_of_case.html", _of_case)
register("dispatch:lift", "dispatch/closing/_lift_tells.html", _of_lift)
