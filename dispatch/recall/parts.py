"""What the room adds to a shipment that may not leave: open cases."""

from __future__ import annotations

from typing import Any

from dispatch.models import CaseBox, Shipment
from dispatch.recall.queries.cases import is_closed
from kitting.web.parts import register


def _of_held(shipment: Shipment) -> dict[str, Any] | None:
    on = {"box__shipment_boxes__shipment": shipment, "box__shipment_boxes__live": True}
    listed = CaseBox.objects.filter(**on).exclude(is_closed("case"))
    cases = sorted(set(listed.order_by().values_list("case__number", flat=True)))
    return {"cases": cases} if cases else None


register("shipment:held", "dispatch/recall/_shipment_held.html", _of_held)
