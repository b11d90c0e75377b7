"""What the room adds to the pages of a shipment, a box and the day, and to its paper."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.db.models import Q

from dispatch.models import Shipment
from dispatch.receipts.queries import deliveries as queries
from dispatch.receipts.services import links
from dispatch.shipments.queries.papers import ADDRESSES
from kitting.ledger import clock
from kitting.models import Box
from kitting.web.parts import register


def _of_shipment(shipment: Shipment) -> dict[str, Any] | None:
    return {"known": queries.after(shipment)} if shipment.sent_at else None


def _of_day(_nothing: object) -> dict[str, Any] | None:
    waiting = queries.to_see_to(clock.now())
    return {"waiting": waiting} if waiting else None


def _of_box(box: Box) -> dict[str, Any] | None:
    back, passed = queries.returned(Q(box=box)), queries.passed_on(Q(box=box))
    return {"back": back, "passed": passed} if back or passed else None


def _address(shipment: Shipment) -> str:
    """Where its consignee reads of it, for its delivery note."""
    link = links.good_link(shipment, clock.now()) if settings.CONSIGNEE_URL else None
    return f"{settings.CONSIGNEE_URL}{links.path_of(link)}" if link else ""


ADDRESSES.append(_address)
register("box", "dispatch/receipts/_after_box.html", _of_box)
register("shipment", "dispatch/receipts/_after.html", _of_shipment)
register("day", "dispatch/receipts/_day.html", _of_day)
