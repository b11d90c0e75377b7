"""What the room adds to the pages of a case and of the day."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from dispatch.models import Case
from dispatch.recall.ways import Way
from dispatch.replies.queries import follow_up as queries
from dispatch.replies.queries.accounts import Account
from kitting.ledger import clock
from kitting.web.figures import pieces
from kitting.web.parts import register


def _of_case(case: Case) -> dict[str, Any]:
    follow = queries.follow_up(case, clock.today())
    way = Way("answers", _("Answers about the boxes"), _to_do(follow))
    answers = {each.box.box: _said(each) for each in follow.found if each.parts}
    return {"follow": follow, "way": way, "answers": answers}


def _said(of: Account) -> str:
    return "; ".join(
        f"{each.words} {each.sets}" + (f" ({each.whom})" if each.whom else "")
        for each in of.parts
    )


def _to_do(follow: queries.FollowUp) -> str:
    if late := len(follow.late):
        words = ngettext(
            "Ask %(n)s consignee that has not answered in time",
            "Ask %(n)s consignees that have not answered in time",
            late,
        )
        return words % {"n": pieces(late)}
    asks = follow.consignees and follow.due is None
    return _("Set the day by which answers are due") if asks else ""


def _of_day(_nothing: object) -> dict[str, Any] | None:
    late = queries.late(clock.today())
    return {"late": late} if late else None


register("day", "dispatch/replies/_day.html", _of_day)
register("dispatch:case", "dispatch/replies/_case.html", _of_case)
