"""What a fault of each lot would touch today: read, before there is any."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from django.db.models import F, Q
from django.db.models.functions import Coalesce

from dispatch.domain.reach import Packed, Reach, reach_of
from dispatch.models import ShipmentBox
from kitting.domain.stages import IN_HOUSE
from kitting.models import Box, BoxLine, Lot, LotOrigin

DAYS: Final = 14
"""What a consignee received longer ago is taken as used."""
SHOWN: Final = 10


@dataclass(frozen=True)
class Lots:
    """What all lots in use reach."""

    worst: list[tuple[Lot, Reach]]
    """The ``SHOWN`` that reach most."""
    lots: int
    """How many are in use."""


def reached_today(now: datetime) -> Lots:
    """Tell of each lot in use what a fault of it would touch.

    A lot is in use while it is in a box that is here or was sent in the last ``DAYS``
    days, or something in one was made from it. A box that was passed on counts where it
    is now, one that came back unopened not at all.

    Args:
        now: The moment.

    Returns:
        The lots that reach most, in five questions however many there are.
    """
    since = now - timedelta(days=DAYS)
    sent = ShipmentBox.objects.filter(
        live=True, back=False, shipment__sent_at__gte=since
    )
    whom = [
        Coalesce(
            F(f"{by}__consignee__merged_into__{name}"), F(f"{by}__consignee__{name}")
        )
        for by in ("passed", "shipment")
        for name in ("name", "code")
    ]
    said = {
        box: f"{passed or name} ({passed_code or code})"
        for box, passed, passed_code, name, code in sent.values_list("box", *whom)
    }
    inside: dict[int, set[int]] = defaultdict(set)
    here = Q(box__stage__in=IN_HOUSE)
    gone = Q(box__in=sent.values("box"))
    for some in (here, gone):
        lines = BoxLine.objects.filter(some, pieces__gt=0).order_by()
        for box, lot in lines.values_list("box", "lot"):
            inside[box].add(lot)
    boxes = Box.objects.filter(Q(stage__in=IN_HOUSE) | Q(pk__in=sent.values("box")))
    packed = [
        Packed(sets, inside[pk], said.get(pk, ""))
        for pk, sets in boxes.values_list("pk", "size__sets")
    ]
    made_from: dict[int, list[int]] = defaultdict(list)
    for lot, origin in LotOrigin.objects.values_list("lot", "from_lot"):
        made_from[lot].append(origin)
    found = reach_of(packed, made_from)
    worst = found[:SHOWN]
    lots = Lot.objects.select_related("part").in_bulk([each.lot for each in worst])
    return Lots([(lots[each.lot], each) for each in worst], len(found))
