"""What became of a shipment of the history that every check is tried on."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

from dispatch.domain.receipts import BoxSaid, Said
from dispatch.models import Return, Shipment
from dispatch.receipts.services import deliveries as services
from dispatch.receipts.services import links, passing, returns
from kitting.models.catalogue import PlaceKind
from tests import factories
from tests.factories import sign


def said(shipment: Shipment, boxes: int, *of_boxes: BoxSaid, **other: Any) -> Said:
    """What a note says, an hour after the shipment was sent."""
    assert shipment.sent_at is not None
    at = shipment.sent_at.replace(second=0, microsecond=0) + timedelta(minutes=1)
    asked = {"by": "R. Ward, goods in", "at": at, "boxes": boxes, **other}
    return Said(of_boxes=of_boxes, **asked)


def later(shipment: Shipment, hours: int = 2) -> Any:
    """Sign so long after a shipment was sent."""
    assert shipment.sent_at is not None
    return sign(now=shipment.sent_at + timedelta(hours=hours))


def receive() -> Shipment:
    """A shipment of which a box was missing, and turned up; another was damaged."""
    first, second = factories.make_labelled_box(), factories.make_labelled_box()
    shipment = factories.send(factories.make_shipment(first, second))
    of = {"shipment_id": shipment.pk}
    missing = said(shipment, 1, BoxSaid(second.pk, "absent"))
    services.record_delivery(**of, said=missing, sign=later(shipment))
    newest = shipment.receipts.latest("pk").pk
    note = "The carrier looks for it"
    services.settle_delivery(**of, seen=newest, note=note, sign=later(shipment))
    damaged = said(shipment, 2, BoxSaid(second.pk, "damaged", 6, "Wet"), way="call")
    services.correct_delivery(
        **of, said=damaged, reason="It came", seen=newest, sign=later(shipment)
    )
    answer(shipment, second.pk)
    pass_and_return(shipment, first.pk, second.pk)
    shipment.refresh_from_db()
    return shipment


def answer(shipment: Shipment, box: int) -> None:
    """The consignee says by a link what it counted; the link is ended then."""
    of = {"shipment_id": shipment.pk}
    links.give_link(**of, days=30, sign=later(shipment))
    counted = said(shipment, 2, BoxSaid(box, "damaged", 6), way="link")
    by_them = replace(later(shipment), by=links.consignee())
    links.answer_link(**of, nth=1, said=counted, sign=by_them)
    links.end_link(**of, sign=later(shipment))


def pass_and_return(shipment: Shipment, first: int, second: int) -> None:
    """One box goes on to another place and comes back, with sets of the other."""
    of, when = {"shipment_id": shipment.pk, "note": ""}, later(shipment)
    assert when.now is not None
    to = {"consignee_id": factories.make_consignee().pk, "point": ""}
    told = {"told_by": "The store", "on": when.now.date()}
    passing.pass_on(**of, **to, **told, box_ids=[first], sign=when)
    cage = factories.make_place(PlaceKind.QUARANTINE)
    back = {"place_id": cage.pk, "note": "Not wanted"}
    loose, whole = {"sets": 2, "opened": True}, {"sets": 6, "opened": False}
    returns.record_return(box_id=second, **loose, **back, sign=later(shipment))
    wrong = {"sets": 6, "opened": False}
    returns.record_return(box_id=first, **wrong, **back, sign=later(shipment))
    why = {"return_id": Return.objects.latest("pk").pk, "reason": "Another box"}
    returns.undo_return(**why, sign=later(shipment))
    returns.record_return(box_id=first, **whole, **back, sign=later(shipment))
