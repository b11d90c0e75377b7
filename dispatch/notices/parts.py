"""What the room adds to the pages of a case and of a consignee."""

from __future__ import annotations

from typing import Any

from dispatch.models import Case, Consignee
from dispatch.notices.queries.at import recalled_at
from dispatch.notices.queries.whom import whom
from kitting.web.parts import register


def _of_case(case: Case) -> dict[str, Any]:
    every = whom(case)
    letters = [letter for one in every for letter in one.letters]
    return {
        "every": every,
        "reached": sum(one.knows for one in every),
        "written": sum(one.written for one in every),
        "letters": len(letters),
        "unsent": sum(not letter.sent for letter in letters),
    }


def _of_consignee(consignee: Consignee) -> dict[str, Any] | None:
    found = recalled_at(consignee)
    return {"recalled": found} if found else None


register("dispatch:consignee", "dispatch/notices/_recalled_here.html", _of_consignee)
register("dispatch:case", "dispatch/notices/_whom.html", _of_case)
