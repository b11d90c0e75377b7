"""What the room adds to the pages of a case and of the day."""

from __future__ import annotations

from typing import Any

from dispatch.models import Case
from dispatch.replies.queries import follow_up as queries
from kitting.ledger import clock
from kitting.web.parts import register


def _of_case(case: Case) -> dict[str, Any]:
    return {"follow": queries.follow_up(case, clock.today())}


def _of_day(_nothing: object) -> dict[str, Any] | None:
    late = queries.late(clock.today())
    return {"late": late} if late else None


register("day", "dispatch/replies/_day.html", _of_day)
register("dispatch:case", "dispatch/replies/_case.html", _of_case)
