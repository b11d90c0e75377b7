"""What the room adds to the page of a case."""

from __future__ import annotations

from typing import Any

from dispatch.models import Case
from dispatch.replies.queries import follow_up as queries
from kitting.ledger import clock
from kitting.web.parts import register


def _of_case(case: Case) -> dict[str, Any]:
    return {"follow": queries.follow_up(case, clock.today())}


register("dispatch:case", "dispatch/replies/_case.html", _of_case)
