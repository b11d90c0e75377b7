"""What the call sheet of a case says: whom to call first, and what was said so far."""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime

from django.utils import timezone
from django.utils.translation import gettext as _

from dispatch.consignees.queries import ship_to
from dispatch.labels.calls import Away, Call, CallSheet
from dispatch.models import Case, CaseCall
from dispatch.notices.queries.whom import Reached, Whom
from dispatch.notices.words import OUTCOMES
from kitting.domain.shown import spaced
from kitting.ledger.proof import heads
from kitting.models import Workshop
from kitting.printing.queries.labels import mark_of


def sheet_of(
    case: Case, those: Collection[Whom], workshop: Workshop, now: datetime
) -> CallSheet:
    """Say whom to call about a case, and about what.

    Args:
        case: The case.
        those: Whom it reaches, in the order in which they are called.
        workshop: The workshop.
        now: When it is read, in the workshop's zone.

    Returns:
        The sheet, with those of whom boxes are recalled.
    """
    calls = [_call(one, workshop.country) for one in those if one.recalled]
    return CallSheet(
        about=_("recall case %(case)s") % {"case": spaced(case.number)},
        said=case.hazard,
        at=now.strftime("%Y-%m-%d %H:%M"),
        calls=tuple(calls),
        head=heads.of_workshop(workshop),
        mark=mark_of(workshop),
    )


def _call(one: Whom, home: str) -> Call:
    return Call(
        name=one.consignee.name,
        address=ship_to(one.consignee, home).below_name,
        boxes=tuple(_away(box) for box in one.recalled),
        contact=one.consignee.contact,
        night_contact=one.consignee.night_contact,
        before=tuple(_said(call) for call in one.good_calls),
    )


def _away(box: Reached) -> Away:
    return Away(
        serial=str(box.box),
        pieces=box.row.pieces,
        sets=box.box.size.sets,
        shipment=box.shipment.number,
        sent_on=box.sent_on,
        point=box.point,
        passed_by=box.passed_by.name if box.passed_by else "",
        product=box.box.size.product.name,
        passed_to=box.passed_to.name if box.passed_to else "",
        back=box.is_back,
    )


def _said(call: CaseCall) -> str:
    at = timezone.localtime(call.when).strftime("%Y-%m-%d %H:%M")
    who = call.spoke_to or str(OUTCOMES[call.outcome])
    parts = [f"{at}, {call.operation.by_name}: {who}"]
    if call.said:
        parts.append(call.said)
    if call.stopped:
        parts.append(_("Nobody uses the boxes or passes them on any more."))
    if call.set_aside:
        parts.append(_("The boxes are in quarantine there."))
    if call.told_on:
        parts.append(_("Everybody is told whom they passed boxes on to."))
    return " – ".join(parts)
