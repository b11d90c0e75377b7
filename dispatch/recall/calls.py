"""What the call sheet of a recall says."""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime

from django.utils.translation import gettext as _

from dispatch.labels.calls import Away, Call, CallSheet
from dispatch.recall.queries.recall import Reached
from dispatch.recall.whereabouts import in_one_line
from dispatch.trace.queries import BoxRow, Trace
from kitting.domain.shown import spaced
from kitting.ledger.proof import heads
from kitting.models import Workshop
from kitting.printing.queries.labels import mark_of


def call_sheet_of(
    found: Trace,
    reached: Collection[Reached],
    workshop: Workshop,
    now: datetime,
    along: str = "",
) -> CallSheet:
    """Say whom to call, and about what.

    Args:
        found: A trace.
        reached: The consignees that its boxes were sent to; at least one.
        workshop: The workshop.
        now: When it was traced, in the workshop's zone.
        along: In words, what else was traced along with it; may be empty.

    Returns:
        The sheet.
    """
    kind, number = _(found.kind), spaced(found.number)
    about = _("%(kind)s %(number)s") % {"kind": kind, "number": number}
    return CallSheet(
        about=f"{about}, {along}" if along else about,
        said=in_one_line(found, reached),
        at=now.strftime("%Y-%m-%d %H:%M"),
        calls=tuple(_call(each) for each in reached),
        head=heads.of_workshop(workshop),
        mark=mark_of(workshop),
    )


def _call(whom: Reached) -> Call:
    return Call(
        name=whom.name,
        address=tuple(whom.address.splitlines()),
        boxes=tuple(_away(box) for box in whom.boxes),
        contact=whom.contact,
        night_contact=whom.night_contact,
    )


def _away(box: BoxRow) -> Away:
    return Away(
        serial=box.serial,
        pieces=box.pieces,
        sets=box.sets,
        shipment=box.shipment,
        sent_on=box.sent_on,
        point=box.point,
        passed_by=box.passed_by,
        short=box.short,
    )
