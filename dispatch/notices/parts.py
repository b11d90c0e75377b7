"""What the room adds to the page of a case: whom to call, and what they were told."""

from __future__ import annotations

from typing import Any

from dispatch.models import Case
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


register("dispatch:case", "dispatch/notices/_whom.html", _of_case)
