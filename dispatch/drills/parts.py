"""What the room adds to the page of the day: when the last drill was."""

from __future__ import annotations

from typing import Any

from dispatch.drills import queries
from kitting.web.parts import register


def _of_day(_nothing: object) -> dict[str, Any]:
    last = queries.drills().first()
    return {"told": queries.Told(last) if last else None}


register("day-proofs", "dispatch/drills/_day.html", _of_day)
