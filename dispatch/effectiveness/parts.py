"""What the room adds to the page of a case."""

from __future__ import annotations

from typing import Any

from dispatch.effectiveness.queries import checks_of
from dispatch.models import Case
from kitting.web.parts import register


def _of_case(case: Case) -> dict[str, Any]:
    return {"checks": checks_of(case)}


register("dispatch:case", "dispatch/effectiveness/_of_case.html", _of_case)
