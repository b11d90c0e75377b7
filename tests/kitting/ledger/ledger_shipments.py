"""Requests and shipments of the history that every check is tried on."""

from __future__ import annotations

from dispatch.allotment.queries.proposals import facts_of
from dispatch.allotment.services import allot, release_promise
from dispatch.consignees.services.consignees import merge_consignees
from dispatch.domain.needs import Asked
from dispatch.domain.proposal import Chosen, Move, Term
from dispatch.log.services import keep_view
from dispatch.models import Consignee, Pallet, Shipment
from dispatch.pallets import services as pallets
from dispatch.requests.services import cancel_request, change_request, take_request
from dispatch.shipments import services
from kitting.ledger.reach import standing_reach
from kitting.models import Box
from tests import factories
from tests.factories import sign
from tests.kitting.ledger.ledger_receipts import receive


def make_consignee() -> Consignee:
    code = factories.unique("EG")
    return Consignee.objects.create(code=code, name=f"Eskmoor General {code}")


def _begin() -> Shipment:
    begun = services.begin_shipment(
        consignee_id=make_consignee().pk, reference="", sign=sign()
    )
    return Shipment.objects.get(pk=begun.shipment_id)


def _ask(shipment: Shipment, box: Box, *, sets: int) -> str:
    asked = Asked(sets=sets, tier=1, way="telephone")
    taken = take_request(
        consignee_id=shipment.consignee_id,
        product_id=box.size.product_id,
        asked=asked,
        sign=sign(),
    )
    return taken.request


def _allot(box: Box) -> str:
    """Promise what is ready, and a box that is yet to be packed."""
    product = box.size.product
    seen = facts_of(product.pk, factories.NOW, factories.TODAY, standing_reach())
    first, *_others = seen.rows
    term = Term(first.consignee.code, 20, 6, "two wards")
    move = Move(1, box.size.sets, first.number, "")
    done = allot(
        product_id=product.pk,
        chosen=Chosen(7, {box.size_id: 2}, (term,), (move,)),
        beyond=seen.beyond,
        seen=seen.mark,
        reason="no more can be packed today",
        sign=sign(),
    )
    return done.allotment


def _merge(gone: Shipment) -> None:
    """Merge the consignee of a shipment with another one of the same door."""
    merge_consignees(
        code=gone.consignee.code,
        into_id=make_consignee().pk,
        reason="the same door",
        sign=sign(),
    )


def _stack(box: Box) -> Pallet:
    begun = pallets.begin_pallet(sign=sign())
    pallet = Pallet.objects.get(number=begun.pallet)
    pallets.stack_box(pallet_id=pallet.pk, box_id=box.pk, sign=sign())
    return pallet


def _break_one_up(box: Box, shipment: Shipment) -> None:
    """A pallet that was on a shipment, off it again, and broken up; one that is empty."""
    pallet = _stack(box)
    on = {"shipment_id": shipment.pk, "pallet_id": pallet.pk}
    services.load_pallet(**on, sign=sign())
    services.take_off_pallet(**on, sign=sign())
    of = {"pallet_id": pallet.pk, "box_id": box.pk}
    pallets.unstack_box(**of, sign=sign())
    pallets.stack_box(**of, sign=sign())
    why = "it leans"
    pallets.break_up_pallet(pallet_id=pallet.pk, reason=why, sign=sign())
    pallets.begin_pallet(sign=sign())


def ship(sent: Box, labelled: Box) -> tuple[Shipment, Shipment]:
    gone, waiting, off = _begin(), _begin(), _begin()
    _ask(gone, sent, sets=6)
    more = _ask(waiting, sent, sets=60)
    fewer = Asked(sets=18, tier=2, way="mail")
    change_request(number=more, asked=fewer, reason="fewer beds", sign=sign())
    twice = _ask(off, sent, sets=6)
    cancel_request(number=twice, reason="asked twice", sign=sign())
    services.load_box(shipment_id=gone.pk, box_id=sent.pk, sign=sign())
    _break_one_up(labelled, off)
    services.load_box(shipment_id=off.pk, box_id=labelled.pk, sign=sign())
    services.send_shipment(
        unlabelled="by hand", driver="Driver 2", shipment_id=gone.pk, sign=sign()
    )
    services.cancel_shipment(shipment_id=off.pk, reason="no van", sign=sign())
    promised = _allot(labelled)
    services.load_box(shipment_id=waiting.pk, box_id=labelled.pk, sign=sign())
    services.take_off_box(shipment_id=waiting.pk, box_id=labelled.pk, sign=sign())
    pallet = _stack(labelled)
    on = {"shipment_id": waiting.pk, "pallet_id": pallet.pk}
    services.load_pallet(**on, sign=sign())
    release_promise(number=promised, reason="packed tomorrow", sign=sign())
    receive()
    _merge(gone)
    keep_view(name="By van", asked="taken=Driver+2", sign=sign())
    for shipment in (gone, waiting):
        shipment.refresh_from_db()
    return gone, waiting
