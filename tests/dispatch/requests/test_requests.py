"""Requests: taken, changed, cancelled; which one a box serves; when one is served."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest

from dispatch.domain.needs import Asked, RequestStage, Tier, Way
from dispatch.models import Consignee, Request, Shipment, ShipmentBox
from dispatch.requests.queries.promises import Promises
from dispatch.requests.queries.requests import (
    open_for,
    to_take_off,
    with_figures,
    would_serve,
)
from dispatch.requests.services import (
    KeptRequest,
    cancel_request,
    change_request,
    take_request,
)
from dispatch.shipments import services
from kitting.domain import numbers
from kitting.domain.errors import Conflict, Missing, Refused, WrongStage
from kitting.ledger import holds
from kitting.ledger.coded import mark_of
from kitting.ledger.reach import Reach, standing_reach
from kitting.models import Box, Product
from tests import factories
from tests.assertions import assert_refused
from tests.databases import once_a_module
from tests.factories import sign

pytestmark = pytest.mark.django_db

NOTHING = Promises(())
"""No box is promised."""


@once_a_module
def box() -> Box:
    """A box that is ready to go; its size holds six sets."""
    return factories.make_labelled_box()


@once_a_module
def whom() -> Consignee:
    return factories.make_consignee()


def take(
    whom: Consignee,
    product: Product,
    sets: int = 6,
    tier: int = Tier.STOCK,
    **said: Any,
) -> Request:
    asked = Asked(sets=sets, tier=tier, way=Way.TELEPHONE, **said)
    done = take_request(
        consignee_id=whom.pk, product_id=product.pk, asked=asked, sign=sign()
    )
    return Request.objects.get(number=done.request)


def load(shipment: Shipment, box: Box) -> Request | None:
    services.load_box(shipment_id=shipment.pk, box_id=box.pk, sign=sign())
    return ShipmentBox.objects.get(shipment=shipment, box=box).request


def figures(asked: Request) -> tuple[str, int, int, int]:
    row: Any = with_figures(Request.objects.filter(pk=asked.pk)).get()
    return row.stage, row.sent, row.loaded, row.left


# -- Taken, changed, cancelled -----------------------------------------------------------


def test_a_request_is_taken_with_a_number_of_its_own(whom: Consignee, box: Box) -> None:
    day = factories.TODAY + timedelta(days=2)
    row = take(
        whom,
        box.size.product,
        54,
        Tier.NONE_LEFT,
        needed_by=day,
        caller=" Ward 3 ",
        reference="77",
        note="n",
    )
    assert numbers.read(row.number).kind is numbers.Kind.REQUEST
    assert (row.consignee, row.product, row.sets) == (whom, box.size.product, 54)
    assert (row.tier, row.needed_by, row.asked_on) == (1, day, factories.TODAY)
    assert (row.caller, row.reference, row.note) == ("Ward 3", "77", "n")
    assert (row.stage, row.taken_by) == (RequestStage.OPEN, sign().by.username)
    assert factories.prove() == []


SLIPS: list[tuple[dict[str, Any], str]] = [
    ({"sets": 0}, "request_sets"),
    ({"sets": 100_001}, "request_sets"),
    ({"tier": 4}, "request_tier"),
    ({"needed_by": -1}, "request_day_over"),
    ({"caller": "x" * 81}, "entry_too_long"),
    ({"reference": "x" * 41}, "entry_too_long"),
    ({"note": "x" * 201}, "entry_too_long"),
    ({"caller": "a\x07b"}, "entry_not_shown"),
    ({"reference": "a\x1db"}, "entry_not_shown"),
    ({"note": "a\x85b"}, "entry_not_shown"),
]


@pytest.mark.parametrize(("slip", "code"), SLIPS)
def test_a_slip_is_refused_and_nothing_is_kept(
    slip: dict[str, Any], code: str, whom: Consignee, box: Box
) -> None:
    if "needed_by" in slip:
        slip = {"needed_by": factories.TODAY + timedelta(days=slip["needed_by"])}
    with pytest.raises(Refused) as caught:
        take(whom, box.size.product, **slip)
    assert caught.value.code == code
    assert not Request.objects.exists()


def test_a_product_without_sizes_in_use_is_refused(whom: Consignee, box: Box) -> None:
    box.size.product.sizes.update(active=False)
    with pytest.raises(Refused) as caught:
        take(whom, box.size.product)
    assert_refused(caught.value, "product_without_sizes", product=box.size.product.name)
    with pytest.raises(Missing):
        take(Consignee(pk=0), box.size.product)


def change(row: Request, **to: Any) -> KeptRequest:
    names = Asked.__dataclass_fields__
    asked = Asked(**{**{name: getattr(row, name) for name in names}, **to})
    return change_request(
        number=row.number, asked=asked, reason="They called again", sign=sign()
    )


def test_a_day_that_is_over_stays_but_is_not_entered(whom: Consignee, box: Box) -> None:
    row = take(whom, box.size.product, needed_by=factories.TODAY)
    late = sign(now=factories.NOW + timedelta(days=3))
    asked = Asked(sets=7, tier=2, way="mail", needed_by=factories.TODAY)
    change_request(number=row.number, asked=asked, reason="More", sign=late)
    row.refresh_from_db()
    assert (row.sets, row.tier, row.way) == (7, 2, "mail")


def test_what_somebody_else_changed_meanwhile_is_not_changed(
    whom: Consignee, box: Box
) -> None:
    row = take(whom, box.size.product)
    seen = mark_of(row)
    change(row, sets=12)
    for act in (change_request, cancel_request):
        more = {"asked": Asked(1, 1, "visit")} if act is change_request else {}
        with pytest.raises(Conflict) as caught:
            act(number=row.number, reason="No", seen=seen, sign=sign(), **more)
        assert_refused(caught.value, "page_is_old")


def test_what_is_cancelled_has_a_reason_and_stays_so(whom: Consignee, box: Box) -> None:
    row = take(whom, box.size.product)
    with pytest.raises(Refused, match="reason_missing"):
        cancel_request(number=row.number, reason=" ", sign=sign())
    cancel_request(number=row.number, reason="Served elsewhere", sign=sign())
    for act in (
        lambda: change(row),
        lambda: cancel_request(number=row.number, reason="Twice", sign=sign()),
    ):
        with pytest.raises(WrongStage):
            act()
    shipment = factories.make_shipment(consignee=whom)
    assert open_for(shipment) == []
    assert load(shipment, box) is None
    assert factories.prove() == []


# -- Which one a box serves --------------------------------------------------------------


def test_a_box_serves_the_neediest_then_what_is_needed_first(
    whom: Consignee, box: Box
) -> None:
    product, today = box.size.product, factories.TODAY
    take(factories.make_consignee(), product, tier=Tier.NONE_LEFT)
    take(whom, factories.make_labelled_box().size.product, tier=Tier.NONE_LEFT)
    late = take(whom, product, tier=Tier.RUNS_OUT)
    soon = take(whom, product, tier=Tier.RUNS_OUT, needed_by=today)
    first = take(whom, product, tier=Tier.NONE_LEFT, needed_by=today)
    shipment = factories.make_shipment(consignee=whom)
    boxes = [box, *(factories.make_labelled_box(size=box.size) for _ in range(3))]
    assert [load(shipment, each) for each in boxes] == [first, soon, late, None]
    assert figures(soon) == (RequestStage.OPEN, 0, 6, 0)
    services.take_off_box(shipment_id=shipment.pk, box_id=boxes[1].pk, sign=sign())
    assert figures(soon) == (RequestStage.OPEN, 0, 0, 6)
    assert load(shipment, boxes[1]) == soon
    assert factories.prove() == []


def test_a_request_is_served_once_all_its_sets_have_left(
    whom: Consignee, box: Box
) -> None:
    row = take(whom, box.size.product, 8)
    more = factories.make_labelled_box(size=box.size)
    for each, left in ((box, 2), (more, -4)):
        shipment = factories.make_shipment(each, consignee=whom)
        assert figures(row)[0] == RequestStage.OPEN
        factories.send(shipment)
        assert figures(row)[3] == left
    assert figures(row) == (RequestStage.SERVED, 12, 0, -4)
    with pytest.raises(WrongStage):
        cancel_request(number=row.number, reason="Too late", sign=sign())
    change(row, sets=13)
    assert figures(row) == (RequestStage.OPEN, 12, 0, 1)
    change(row, sets=12)
    assert figures(row)[0] == RequestStage.SERVED
    assert factories.prove() == []


def test_what_is_on_a_van_is_sent_or_taken_off_before_the_rest_is_cancelled(
    whom: Consignee, box: Box
) -> None:
    row = take(whom, box.size.product, 60)
    shipment = factories.make_shipment(box, consignee=whom)
    with pytest.raises(Refused) as caught:
        cancel_request(number=row.number, reason="Enough", sign=sign())
    named = {"request": row.number, "shipment": shipment.number, "sets": 6}
    assert_refused(caught.value, "request_loaded", **named)
    factories.send(shipment)
    cancel_request(number=row.number, reason="Enough", sign=sign())
    assert figures(row)[:2] == (RequestStage.CANCELLED, 6)
    assert factories.prove() == []


# -- What prove finds --------------------------------------------------------------------


BENT: list[tuple[Callable[[Request], object], str]] = [
    (
        lambda row: Request.objects.update(stage="cancelled"),
        "Boxes wait to leave for it.",
    ),
    (lambda row: Request.objects.update(stage="served"), "of 60 sets are sent"),
    (
        lambda row: ShipmentBox.objects.update(request=None),
        "has another request.",
    ),
    (
        lambda row: ShipmentBox.objects.update(
            request=take(factories.make_consignee(), row.product)
        ),
        "A box for another serves it.",
    ),
]


@pytest.mark.parametrize(("bend", "said"), BENT)
def test_what_is_bent_by_hand_is_found(
    bend: Callable[[Request], object], said: str, whom: Consignee, box: Box
) -> None:
    row = take(whom, box.size.product, 60)
    factories.make_shipment(box, consignee=whom)
    bend(row)
    assert any(said in str(fault) for fault in factories.prove())


# -- Which boxes would do ----------------------------------------------------------------


def test_ready_boxes_come_first_and_held_ones_do_not_count(box: Box) -> None:
    product = box.size.product
    larger = factories.make_size(box.recipe, sets=12)
    found = would_serve(18, product.pk, Reach(), NOTHING)
    assert found.any is not None
    assert (found.any.counts, found.any.packed) == ({12: 1, 6: 1}, 1)
    assert found.ready.below is not None
    assert (found.ready.below.counts, found.ready.above) == ({6: 1}, None)
    holds.place_hold(target="box", value=box.pk, reason="Wet", sign=sign())
    found = would_serve(18, product.pk, standing_reach(), NOTHING)
    assert (found.ready.below, found.any and found.any.packed) == (None, 0)
    product.sizes.exclude(pk=larger.pk).update(active=False)
    assert would_serve(18, product.pk, Reach(), NOTHING).any is not None
    product.sizes.update(active=False)
    assert would_serve(18, product.pk, Reach(), NOTHING).any is None


def test_who_cuts_a_request_is_told_what_to_take_off(whom: Consignee, box: Box) -> None:
    row = take(whom, box.size.product, sets=18, note="One line\r\nand\tanother")
    more = [factories.make_labelled_box(box.size) for _ in range(2)]
    shipment = factories.make_shipment(consignee=whom)
    for each in (box, *more):
        assert load(shipment, each) == row
    assert to_take_off(with_figures(Request.objects.all()).get()) == []
    for sets, off in ((12, [more[1]]), (8, []), (6, [more[1], more[0]])):
        change(row, sets=sets)
        found = to_take_off(with_figures(Request.objects.all()).get())
        if sets == 8:  # of 18 without one box 12 are left, without two 6: too few
            off = [more[1]]
        assert [each.box for each in found] == off
