"""What the room adds to the pages of a case and of a consignee."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from dispatch.models import Case, Consignee
from dispatch.notices.queries.at import MOST, recalled_at
from dispatch.notices.queries.left import left_to_call
from dispatch.notices.queries.letters import to_send
from dispatch.notices.queries.whom import moved, whom
from dispatch.recall.ways import Way
from kitting.web.figures import pieces
from kitting.web.parts import register


def _of_case(case: Case) -> dict[str, Any]:
    every = whom(case)
    letters = [letter for one in every for letter in one.letters]
    unsent = len(to_send(case, letters))
    to_call = sum(one.is_to_call for one in every)
    newest = [one.letters[-1] for one in every if one.letters and one.recalled]
    anew = len(moved(letter for letter in newest if not letter.sent))
    return {
        "ways": [Way("whom", _("Whom to tell"), _to_do(to_call, unsent, anew))],
        "every": every,
        "reached": sum(one.knows for one in every),
        "written": sum(one.written for one in every),
        "letters": len(letters),
        "unsent": unsent,
    }


def _to_do(to_call: int, unsent: int, anew: int) -> str:
    if to_call:
        words = ngettext("Call %(n)s consignee", "Call %(n)s consignees", to_call)
        return words % {"n": pieces(to_call)}
    if unsent:
        words = ngettext("Send %(n)s letter", "Send %(n)s letters", unsent)
        return words % {"n": pieces(unsent)}
    if anew:
        words = ngettext("Make %(n)s letter anew", "Make %(n)s letters anew", anew)
        return words % {"n": pieces(anew)}
    return ""


def _of_consignee(consignee: Consignee) -> dict[str, Any] | None:
    found, cases = recalled_at(consignee)
    if not cases:
        return None
    return {"recalled": found, "asked": min(cases, MOST), "cases": cases}


def _of_day(_nothing: object) -> dict[str, Any] | None:
    left = left_to_call()
    return {"cases": left} if left else None


register("day", "dispatch/notices/_day.html", _of_day)
register("dispatch:consignee", "dispatch/notices/_recalled_here.html", _of_consignee)
register("dispatch:case", "dispatch/notices/_whom.html", _of_case)
