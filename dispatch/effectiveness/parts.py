"""What the room adds to the page of a case."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext_lazy, ngettext

from dispatch.effectiveness.queries import checks_of
from dispatch.models import Case
from dispatch.recall.ways import Way
from kitting.web.figures import pieces
from kitting.web.parts import register


def _of_case(case: Case) -> dict[str, Any]:
    checks = checks_of(case)
    left = checks[0].result.open if checks else 0
    return {"checks": checks, "ways": [Way("effectiveness", _TITLE, _to_do(left))]}


_TITLE = gettext_lazy("Did the recall reach them?")


def _to_do(left: int) -> str:
    words = ngettext(
        "Ask %(n)s consignee whether the recall reached it",
        "Ask %(n)s consignees whether the recall reached them",
        left,
    )
    return words % {"n": pieces(left)} if left else ""


register("dispatch:case", "dispatch/effectiveness/_of_case.html", _of_case)
