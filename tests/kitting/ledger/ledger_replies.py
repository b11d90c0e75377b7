"""What a consignee says of a box, in the history that every check is tried on."""

from __future__ import annotations

from dispatch.domain.replies import Line
from dispatch.models import ShipmentBox
from dispatch.replies import services
from kitting.models import Box
from tests.factories import sign


def answer(case: str, sent: Box) -> None:
    """A day for answers, and one about a box of which some sets were used."""
    services.want_replies(number=case, days=2, sign=sign())
    load = ShipmentBox.objects.get(box=sent, live=True)
    used = [Line(sent.pk, "used", 2), Line(sent.pk, "found", sent.size.sets - 2)]
    services.record_reply(
        number=case,
        consignee_id=(load.passed or load.shipment).consignee.pk,
        way="call",
        told_by="M. Ward",
        note="Shelf 2",
        lines=used,
        seen=0,
        sign=sign(),
    )
