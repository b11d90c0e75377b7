"""What the room adds to the pages of a case and of the day."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from dispatch.domain.replies import Answer
from dispatch.models import Case
from dispatch.recall.ways import Way
from dispatch.replies.queries import follow_up as queries
from dispatch.replies.queries.accounts import Account, Part
from kitting.ledger import clock
from kitting.web.figures import pieces
from kitting.web.parts import register


def _of_case(case: Case) -> dict[str, Any]:
    follow = queries.follow_up(case, clock.today())
    passed = _passed(follow)
    right = "" if follow.due else "kitting.place_holds"  # to set that day
    ways = [Way("answers", _("Answers about the boxes"), _to_do(follow), right)]
    if passed:
        words = ngettext(
            "Tell those to whom sets of %(n)s box were passed on",
            "Tell those to whom sets of %(n)s boxes were passed on",
            len(passed),
        )
        said = words % {"n": pieces(len(passed))}
        ways.append(Way("passed", _("Passed on, as was answered"), said))
    answers = {each.box.box: _said(each) for each in follow.found if each.parts}
    return {"follow": follow, "ways": ways, "answers": answers, "passed": passed}


def _passed(follow: queries.FollowUp) -> list[tuple[Account, Part]]:
    """Sets that an answer says somebody else has, who is on no list of whom to tell."""
    return [
        (each, part)
        for each in follow.found
        if each.box.held
        for part in each.parts
        if part.answer == Answer.PASSED
    ]


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
