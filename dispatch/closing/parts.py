"""What the room adds to the page of a case: how it ended, or what keeps it open."""

from __future__ import annotations

from typing import Any

from dispatch.closing.queries.closings import ended
from dispatch.models import Case
from kitting.web.parts import register


def _of_case(case: Case) -> dict[str, Any]:
    return {"ended": ended(case)}


register("dispatch:case", "dispatch/closing/_of_case.html", _of_case)
