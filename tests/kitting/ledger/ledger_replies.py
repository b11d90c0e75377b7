"""What a consignee says of a box, in the history that every check is tried on."""

from __future__ import annotations

from dataclasses import replace

from dispatch.domain.replies import Line
from dispatch.models import Reply, ShipmentBox
from dispatch.receipts.services.links import consignee
from dispatch.replies import services
from kitting.models import Box
from tests.factories import NOW, sign


def answer(case: str, sent: Box) -> None:
    """A day for answers, and one about a box of which some sets were used."""
    services.want_replies(number=case, days=2, sign=sign())
    load = ShipmentBox.objects.get(box=sent, live=True)
    used = [Line(sent.pk, "used", 2), Line(sent.pk, "found", sent.size.sets - 2)]
    whom = (load.passed or load.shipment).consignee
    services.record_reply(
        number=case,
        consignee_id=whom.pk,
        way="call",
        told_by="M. Ward",
        note="Shelf 2",
        lines=used,
        seen=0,
        when=NOW,
        sign=sign(),
    )
    of = {"number": case, "consignee_id": whom.pk}
    services.end_reply_link(**of, nth=1, sign=sign())
    by_link(case, whom.pk, used, nth=2)


def by_link(case: str, whom: int, lines: list[Line], nth: int = 1) -> None:
    """The consignee says the same again on its page."""
    services.reply_by_link(
        number=case,
        consignee_id=whom,
        nth=nth,
        told_by="M. Ward",
        note="",
        lines=lines,
        seen=Reply.objects.latest("pk").pk if Reply.objects.exists() else 0,
        sign=replace(sign(), by=consignee()),
    )
