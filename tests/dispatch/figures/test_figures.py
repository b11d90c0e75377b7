"""What figures of a period count, and what they leave out."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.utils import timezone

from dispatch.allotment.services import release_promise
from dispatch.consignees.services.consignees import merge_consignees
from dispatch.domain.figures import Day, Share
from dispatch.domain.receipts import BoxSaid
from dispatch.figures.queries import Period, days_of, lasting_of, sent_in, shares_of
from dispatch.models import Allotment, Request, ShipmentBox
from dispatch.receipts.services import deliveries
from dispatch.receipts.services.returns import record_return
from dispatch.requests.services import cancel_request
from dispatch.shipments import services
from kitting.domain.stages import BoxStage
from kitting.ledger.reach import standing_reach
from kitting.models import Box, BoxSize, PackPlan, Product, Workshop
from kitting.models.catalogue import PlaceKind
from tests import factories
from tests.databases import once_a_module
from tests.dispatch.allotment.allotting import ask, confirm, load, pack
from tests.factories import NOW, TODAY, sign
from tests.kitting.ledger.ledger_receipts import later, said

pytestmark = pytest.mark.django_db


@once_a_module
def boxes() -> list[Box]:
    """Three boxes of six, ready to go."""
    first = factories.make_labelled_box()
    return [first, *pack(first.size, 2)]


@pytest.fixture
def size(boxes: list[Box]) -> BoxSize:
    return boxes[0].size


@pytest.fixture
def product(size: BoxSize) -> Product:
    return size.product


def of(product: Product, first: date = TODAY, last: date = TODAY) -> Period:
    return Period(product.pk, first, last)


def shares(period: Period) -> dict[str, tuple[int, int, int, int]]:
    """Asked, promised, sent and delivered by the name of the consignee."""
    return {
        each.name: (each.asked, each.promised, each.sent, each.delivered)
        for each in shares_of(period, sent_in(period))
    }


def test_what_was_asked_promised_sent_and_delivered(
    product: Product, boxes: list[Box]
) -> None:
    hill, dale = (factories.make_consignee(name) for name in ("Hill", "Dale"))
    ask(hill, product, 8, tier=2)
    ask(dale, product, 6, tier=1)
    confirm(product)
    going = factories.make_shipment(consignee=hill)
    load(going, boxes[0])
    factories.send(going)
    period = of(product)
    first, second = shares_of(period, sent_in(period))
    assert first == Share(dale.code, "Dale", 1, 6, 6, 6, 0, 0)
    assert second == Share(hill.code, "Hill", 2, 2, 8, 12, 6, 0)
    deliveries.record_delivery(
        shipment_id=going.pk, said=said(going, 1), sign=later(going)
    )
    assert shares(period)["Hill"] == (8, 12, 6, 6)


def test_a_promise_that_was_released_is_none_and_a_cancelled_request_asked_what_it_got(
    product: Product, boxes: list[Box]
) -> None:
    hill = factories.make_consignee("Hill")
    row = ask(hill, product, 18)
    confirm(product)
    going = factories.make_shipment(consignee=hill)
    load(going, boxes[0])
    factories.send(going)
    assert shares(of(product))["Hill"] == (18, 18, 6, 0)
    number = Allotment.objects.get().number
    release_promise(number=number, reason="Not needed", sign=sign())
    assert shares(of(product))["Hill"] == (18, 6, 6, 0)
    cancel_request(number=row.number, reason="Closed", sign=sign())
    assert Request.objects.get().stage == "cancelled"
    assert shares(of(product))["Hill"][0] == 6


def test_two_that_are_one_have_one_row(product: Product, boxes: list[Box]) -> None:
    hill, again = (factories.make_consignee(name) for name in ("Hill", "The Hill"))
    row = ask(again, product, 6)
    going = factories.make_shipment(consignee=again)
    load(going, boxes[0])
    factories.send(going)
    assert Request.objects.get(pk=row.pk).stage == "served"
    ask(hill, product, 12)
    confirm(product)
    merge_consignees(
        code=again.code, into_id=hill.pk, reason="the same door", sign=sign()
    )
    period = of(product)
    sent = sent_in(period)
    (share,) = shares_of(period, sent)
    assert share == Share(hill.code, "Hill", 3, 12, 18, 12, 6, 0)
    assert sent.by_consignee == {(hill.code, "Hill"): 6}


@pytest.mark.parametrize(
    ("found", "counted", "delivered"),
    [("whole", None, 12), ("damaged", None, 12), ("absent", None, 6), ("short", 4, 10)],
)
def test_what_did_not_arrive_is_not_delivered(
    product: Product, boxes: list[Box], found: str, counted: int | None, delivered: int
) -> None:
    going = factories.send(factories.make_shipment(*boxes[:2]))
    of_box = BoxSaid(boxes[1].pk, found, counted)
    there = 1 if found == "absent" else 2
    deliveries.record_delivery(
        shipment_id=going.pk, said=said(going, there, of_box), sign=later(going)
    )
    sent = sent_in(of(product))
    assert (sent.by_consignee.total(), sent.delivered.total()) == (12, delivered)


def test_the_newest_word_of_ours_decides_what_is_delivered(
    product: Product, boxes: list[Box]
) -> None:
    going = factories.send(factories.make_shipment(*boxes[:2]))
    for nth, lacking in enumerate(boxes[1::-1]):
        told = said(going, 1, BoxSaid(lacking.pk, "absent"))
        if nth == 0:
            deliveries.record_delivery(
                shipment_id=going.pk, said=told, sign=later(going)
            )
        else:
            deliveries.correct_delivery(
                shipment_id=going.pk,
                said=told,
                reason="The other one",
                seen=going.receipts.get().pk,
                sign=later(going),
            )
        assert sent_in(of(product)).delivered.total() == 6


def test_what_came_back_was_sent_and_is_not_delivered(
    product: Product, boxes: list[Box]
) -> None:
    hill = factories.make_consignee("Hill")
    ask(hill, product, 12)
    going = factories.make_shipment(consignee=hill)
    for box in boxes[:2]:
        load(going, box)
    factories.send(going)
    deliveries.record_delivery(
        shipment_id=going.pk, said=said(going, 2), sign=later(going)
    )
    quarantine = factories.make_place(PlaceKind.QUARANTINE)
    for sets, opened, there in ((2, True, 10), (4, True, 6)):
        record_return(
            box_id=boxes[0].pk,
            sets=sets,
            opened=opened,
            place_id=quarantine.pk,
            note="Too many",
            sign=later(going),
        )
        assert shares(of(product))["Hill"] == (12, 0, 12, there)
    record_return(
        box_id=boxes[1].pk,
        sets=6,
        opened=False,
        place_id=quarantine.pk,
        note="Unopened",
        sign=later(going),
    )
    [row] = shares_of(of(product), sent_in(of(product)))
    # Unopened, it served nothing: those six are lacked again.
    assert (row.sent, row.delivered, row.lacks, row.tier) == (12, 0, 6, 3)


def test_a_box_taken_off_and_another_product_are_not_counted(
    product: Product, boxes: list[Box]
) -> None:
    other = factories.make_labelled_box()
    going = factories.make_shipment(*boxes[:2], other)
    services.take_off_box(shipment_id=going.pk, box_id=boxes[1].pk, sign=sign())
    factories.send(going)
    assert sent_in(of(product)).by_day == {TODAY: 6}
    assert ShipmentBox.objects.filter(live=True).count() == 2


def test_days_are_those_of_the_workshop(product: Product, boxes: list[Box]) -> None:
    Workshop.objects.update(time_zone="Australia/Sydney")  # UTC + 11 in January
    for box, at in ((boxes[0], (12, 59)), (boxes[1], (13, 0))):  # 23:59, and midnight
        services.send_shipment(
            shipment_id=factories.make_shipment(box).pk,
            unlabelled="by hand",
            driver="Driver 2",
            sign=sign(now=datetime(2026, 1, 13, *at, tzinfo=UTC)),
        )
    days = date(2026, 1, 13), date(2026, 1, 14)
    with timezone.override(ZoneInfo("Australia/Sydney")):
        assert sent_in(of(product, *days)).by_day == dict.fromkeys(days, 6)
        assert sent_in(of(product, days[1], days[1])).by_day == {days[1]: 6}
        assert sent_in(of(product, days[0], days[0])).by_day == {days[0]: 6}


def test_a_day_has_what_was_packed_planned_and_sent(
    product: Product, size: BoxSize, boxes: list[Box]
) -> None:
    large = factories.make_size(boxes[0].recipe, 24)
    tomorrow = TODAY + timedelta(days=1)
    for day, of_size, many in (
        (TODAY, size, 4),
        (TODAY, large, 1),
        (tomorrow, size, 2),
    ):
        PackPlan.objects.create(day=day, size=of_size, boxes=many)
    factories.send(factories.make_shipment(boxes[0]))
    factories.make_labelled_box()  # of another product
    period = of(product, TODAY - timedelta(days=1), tomorrow)
    assert days_of(period, sent_in(period)) == [
        Day(TODAY - timedelta(days=1), 0, None, 0),
        Day(TODAY, 18, 48, 6),
        Day(tomorrow, 0, 12, 0),
    ]
    Box.objects.filter(pk=boxes[1].pk).update(stage=BoxStage.VOIDED)
    assert days_of(period, sent_in(period))[1].packed == 12


def test_what_is_there_is_ready_or_can_be_packed_now(
    product: Product, size: BoxSize, boxes: list[Box]
) -> None:
    factories.send(factories.make_shipment(boxes[0]))
    period = of(product, TODAY - timedelta(days=13), TODAY + timedelta(days=3))
    known = {"now": NOW, "today": TODAY, "reach": standing_reach()}
    there = lasting_of(period, sent_in(period), **known)  # type: ignore[arg-type]
    [line] = boxes[0].recipe.lines.all()
    assert (there.ready, there.packable, there.size) == (12, 0, 0)
    assert (there.sent, there.days, there.first) == (6, 14, line.part.name)
    revision = boxes[0].lines.get().lot.revision
    lot = factories.make_lot(revision)
    pieces = sum(bag.pieces for bag in lot.bags.all())
    there = lasting_of(period, sent_in(period), **known)  # type: ignore[arg-type]
    assert there.packable == pieces // line.needed(6) * 6
    assert there.size == 6
