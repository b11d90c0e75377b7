"""Cases with boxes at consignees, and what is said of these."""

from __future__ import annotations

from typing import Any

from dispatch.closing.queries.closings import mark_of_scope
from dispatch.closing.services import close_case
from dispatch.domain.replies import Line
from dispatch.models import Case, Consignee, Reply
from dispatch.recall.services import open_case
from dispatch.replies import services
from kitting.ledger.operations import Sign
from kitting.models import Box
from tests import factories
from tests.factories import sign, sign_by_another

One = tuple[Consignee, Box, Case]
Two = tuple[Consignee, list[Box], Case]


def sent_to(consignee: Consignee | None = None, boxes: int = 1) -> list[Box]:
    """Boxes of six sets that were sent together."""
    some = [factories.make_labelled_box() for _ in range(boxes)]
    factories.send(factories.make_shipment(*some, consignee=consignee))
    for box in some:
        box.refresh_from_db()
    return some


def case_on(*boxes: Box) -> Case:
    scope = [("box", box.pk) for box in boxes]
    values = {"hazard": "A visor cracks", "reason": "A ward called"}
    done = open_case(scope=scope, **values, sign=sign())
    return Case.objects.get(number=done.case)


def closed(case: Case, *boxes: Box) -> None:
    """Close a case although nobody knows what is with some boxes."""
    close_case(
        number=case.number,
        cause="A blunt knife",
        done="All were called",
        prevention="New knives",
        seen=mark_of_scope(case),
        reasons=[(box.pk, "lost") for box in boxes],
        sign=sign_by_another(),
    )


def newest(case: Case) -> int:
    return max(Reply.objects.filter(case=case).values_list("pk", flat=True), default=0)


def lines(box: Box, **sets: int) -> list[Line]:
    """What is said of a box, by answer."""
    whom = {"passed": "Ward 7, next door"}
    return [Line(box.pk, each, n, whom.get(each, "")) for each, n in sets.items()]


def reply(
    case: Case, consignee: Consignee, *said: Line, by: Sign | None = None, **other: Any
) -> services.Replied:
    asked = {"way": "call", "told_by": "M. Ward", "note": "", "seen": newest(case)}
    return services.record_reply(
        number=case.number,
        consignee_id=consignee.pk,
        lines=said,
        sign=by or sign(),
        **{**asked, **other},
    )
