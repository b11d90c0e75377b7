"""What may be said of a delivery, what it moves, and that nothing said is lost."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from dispatch.domain.receipts import BoxSaid
from dispatch.models import Receipt, ReceiptBox, Settlement, Shipment
from dispatch.receipts.queries import deliveries as queries
from dispatch.receipts.services import deliveries as services
from dispatch.trace.balance import balance_of
from kitting.domain.errors import LotwardError
from kitting.models import Box, BoxLine, Operation
from kitting.web.messages import ALL, sentence
from tests import factories
from tests.databases import once_a_module
from tests.factories import sign
from tests.kitting.ledger.ledger_receipts import later, said

pytestmark = pytest.mark.django_db


@once_a_module
def boxes() -> list[Box]:
    return [factories.make_labelled_box() for _ in range(2)]


@once_a_module
def shipment(boxes: list[Box]) -> Shipment:
    """A sent one with two boxes on it."""
    return factories.send(factories.make_shipment(*boxes))


def refused(act: Callable[[], object]) -> LotwardError:
    """Do an act that is refused: it has a sentence, and nothing is written."""
    sign()
    counts = (Operation.objects.count(), Receipt.objects.count())
    with pytest.raises(LotwardError) as caught:
        act()
    assert (Operation.objects.count(), Receipt.objects.count()) == counts
    assert caught.value.code in ALL
    assert "%(" not in sentence(caught.value)
    assert f"({caught.value.code})" not in sentence(caught.value)
    return caught.value


def record(shipment: Shipment, of: Any, **signed: Any) -> services.Received:
    signature = signed.get("sign") or later(shipment)
    return services.record_delivery(shipment_id=shipment.pk, said=of, sign=signature)


def stages(boxes: list[Box]) -> list[str]:
    return [Box.objects.get(pk=box.pk).stage for box in boxes]


def test_all_boxes_of_a_received_shipment_are_delivered(
    shipment: Shipment, boxes: list[Box]
) -> None:
    done = record(shipment, said(shipment, 2))
    assert (done.stage, done.boxes, done.absent) == ("delivered", 2, 0)
    assert stages(boxes) == ["delivered", "delivered"]
    assert not queries.after(shipment).open
    assert factories.prove() == []


def test_a_box_that_did_not_arrive_stays_sent_and_is_told_until_it_is_settled(
    shipment: Shipment, boxes: list[Box]
) -> None:
    record(shipment, said(shipment, 1, BoxSaid(boxes[1].pk, "absent")))
    assert stages(boxes) == ["delivered", "sent"]
    known = queries.after(shipment)
    assert (known.open, known.lacking) == (True, (str(boxes[1]),))
    now = later(shipment).now
    [waiting] = queries.to_see_to(now).shipments
    assert (waiting.number, waiting.differs) == (shipment.number, True)
    services.settle_delivery(
        shipment_id=shipment.pk,
        seen=known.newest,
        note="Lost by the carrier",
        sign=later(shipment),
    )
    assert queries.to_see_to(now) is None
    assert not queries.after(shipment).open
    assert stages(boxes) == ["delivered", "sent"]
    assert factories.prove() == []


def test_pieces_of_a_box_that_did_not_arrive_still_count_as_sent(
    shipment: Shipment, boxes: list[Box]
) -> None:
    record(shipment, said(shipment, 1, BoxSaid(boxes[1].pk, "absent")))
    for line in BoxLine.objects.filter(box__in=boxes).select_related("lot__part"):
        balance = balance_of(line.lot)
        assert (balance.sent, balance.difference) == (line.pieces, 0)


def test_a_correction_is_a_row_beside_the_first_and_no_box_goes_back(
    shipment: Shipment, boxes: list[Box]
) -> None:
    record(shipment, said(shipment, 1, BoxSaid(boxes[1].pk, "absent")))
    first = shipment.receipts.get()
    before = Receipt.objects.filter(pk=first.pk).values().get()
    other = said(shipment, 1, BoxSaid(boxes[0].pk, "absent"), by="The other ward")
    services.correct_delivery(
        shipment_id=shipment.pk,
        said=other,
        reason="It was the other box",
        seen=first.pk,
        sign=later(shipment),
    )
    assert Receipt.objects.filter(pk=first.pk).values().get() == before
    newest, oldest = queries.after(shipment).heard
    assert (newest.reason, oldest.reason) == ("It was the other box", "")
    assert stages(boxes) == ["delivered", "delivered"]
    assert queries.after(shipment).open
    assert factories.prove() == []


def test_what_was_recorded_for_the_wrong_shipment_is_corrected_to_nothing(
    shipment: Shipment, boxes: list[Box]
) -> None:
    record(shipment, said(shipment, 2))
    absent = [BoxSaid(box.pk, "absent") for box in boxes]

    def correct(of: Any) -> None:
        services.correct_delivery(
            shipment_id=shipment.pk,
            said=of,
            reason="The note was of another shipment",
            seen=queries.after(shipment).ours,
            sign=later(shipment),
        )

    none_named = said(shipment, 0)
    assert refused(lambda: correct(none_named)).code == "boxes_not_named"
    correct(said(shipment, 0, *absent))
    known = queries.after(shipment)
    assert known.open
    assert set(known.lacking) == {str(box) for box in boxes}
    assert stages(boxes) == ["delivered", "delivered"]
    correct(said(shipment, 2))
    assert not queries.after(shipment).open
    assert factories.prove() == []


def test_a_correction_of_an_older_page_is_refused(
    shipment: Shipment, boxes: list[Box]
) -> None:
    record(shipment, said(shipment, 2))
    first = shipment.receipts.get().pk
    again = {"shipment_id": shipment.pk, "said": said(shipment, 2), "reason": "Name"}
    services.correct_delivery(**again, seen=first, sign=later(shipment))
    error = refused(
        lambda: services.correct_delivery(**again, seen=first, sign=later(shipment))
    )
    assert error.code == "page_is_old"


def test_a_delivery_is_recorded_once(shipment: Shipment) -> None:
    key = later(shipment)
    first = record(shipment, said(shipment, 2), sign=key)
    assert record(shipment, said(shipment, 2), sign=key) == first
    error = refused(lambda: record(shipment, said(shipment, 2)))
    assert error.code == "delivery_on_record"
    assert shipment.receipts.count() == 1


@pytest.mark.parametrize(
    ("wrong", "code"),
    [
        ({"by": " "}, "entry_missing"),
        ({"by": "x" * 81}, "entry_too_long"),
        ({"note": "x" * 201}, "entry_too_long"),
        ({"boxes": 0}, "nothing_received"),
        ({"boxes": 1}, "boxes_not_named"),
        ({"way": "link"}, "delivery_by_link"),
    ],
)
def test_what_cannot_be_is_refused(
    shipment: Shipment, wrong: dict[str, Any], code: str
) -> None:
    of = replace(said(shipment, 2), **wrong)
    assert refused(lambda: record(shipment, of)).code == code


def test_nothing_is_received_before_it_was_sent_or_later_than_now(
    shipment: Shipment,
) -> None:
    assert shipment.sent_at is not None
    early = replace(said(shipment, 2), at=shipment.sent_at - timedelta(minutes=1))
    assert refused(lambda: record(shipment, early)).code == "received_before_sent"
    soon = replace(said(shipment, 2), at=shipment.sent_at + timedelta(hours=3))
    assert refused(lambda: record(shipment, soon)).code == "received_later"
    within = shipment.sent_at.replace(second=0, microsecond=0)
    record(shipment, replace(said(shipment, 2), at=within))


def test_what_is_said_of_boxes_must_be_of_this_shipment_and_add_up(
    shipment: Shipment, boxes: list[Box]
) -> None:
    stranger = factories.make_labelled_box()
    one = boxes[0].pk
    for of_boxes, code in (
        ([BoxSaid(stranger.pk, "damaged")], "box_not_received"),
        ([BoxSaid(one, "damaged"), BoxSaid(one, "short", 1)], "box_named_twice"),
        ([BoxSaid(one, "short")], "box_is_not_short"),
        ([BoxSaid(one, "short", boxes[0].size.sets)], "box_is_not_short"),
        ([BoxSaid(box.pk, "absent") for box in boxes], "nothing_received"),
    ):
        of = said(shipment, 2, *of_boxes)
        error = refused(lambda of=of: record(shipment, of))  # type: ignore[misc]
        assert error.code == code
    assert not ReceiptBox.objects.filter(receipt__shipment=shipment).exists()


def test_more_sets_than_the_label_says_differ_as_well(
    shipment: Shipment, boxes: list[Box]
) -> None:
    exact = boxes[0].size.sets
    record(shipment, said(shipment, 2, BoxSaid(boxes[0].pk, "whole", exact)))
    assert not queries.after(shipment).open
    more = said(shipment, 2, BoxSaid(boxes[0].pk, "whole", exact + 1))
    services.correct_delivery(
        shipment_id=shipment.pk,
        said=more,
        reason="One more was in it",
        seen=queries.after(shipment).ours,
        sign=later(shipment),
    )
    assert queries.after(shipment).open
    assert factories.prove() == []


def test_only_what_was_sent_is_received(boxes: list[Box]) -> None:
    waiting = factories.make_shipment(factories.make_labelled_box())
    sent = factories.send(factories.make_shipment(factories.make_labelled_box()))
    of = said(sent, 1)
    error = refused(lambda: record(waiting, of, sign=later(sent)))
    assert error.code == "shipment_not_sent"


def test_what_was_settled_opens_again_with_what_is_said_later(
    shipment: Shipment, boxes: list[Box]
) -> None:
    record(shipment, said(shipment, 2, BoxSaid(boxes[0].pk, "damaged")))
    newest = queries.after(shipment).newest
    of = {"shipment_id": shipment.pk, "note": "Sent anew"}
    services.settle_delivery(**of, seen=newest, sign=later(shipment))
    twice = refused(
        lambda: services.settle_delivery(**of, seen=newest, sign=later(shipment))
    )
    assert twice.code == "delivery_settled"
    services.correct_delivery(
        shipment_id=shipment.pk,
        said=said(shipment, 2, BoxSaid(boxes[1].pk, "damaged")),
        reason="The other one",
        seen=newest,
        sign=later(shipment),
    )
    assert queries.after(shipment).open
    old = refused(
        lambda: services.settle_delivery(**of, seen=newest, sign=later(shipment))
    )
    assert old.code == "page_is_old"
    assert Settlement.objects.count() == 1


def test_what_does_not_differ_is_not_settled(
    shipment: Shipment, boxes: list[Box]
) -> None:
    def settle(seen: int) -> object:
        of = {"shipment_id": shipment.pk, "note": "All there", "seen": seen}
        return services.settle_delivery(**of, sign=later(shipment))

    assert refused(lambda: settle(0)).code == "nothing_to_settle"
    record(shipment, said(shipment, 2))
    newest = queries.after(shipment).newest
    assert refused(lambda: settle(newest)).code == "nothing_to_settle"
    services.correct_delivery(
        shipment_id=shipment.pk,
        said=said(shipment, 2, BoxSaid(boxes[0].pk, "damaged")),
        reason="A crushed corner",
        seen=newest,
        sign=later(shipment),
    )
    settle(queries.after(shipment).newest)
    assert not queries.after(shipment).open
    assert Settlement.objects.count() == 1


def test_a_shipment_that_nobody_heard_of_is_told_after_three_days(
    shipment: Shipment,
) -> None:
    assert shipment.sent_at is not None
    soon = shipment.sent_at + queries.LATE_AFTER
    assert queries.to_see_to(soon) is None
    found = queries.to_see_to(soon + timedelta(seconds=1))
    assert found is not None
    assert [row.number for row in found.shipments] == [shipment.number]
    record(shipment, said(shipment, 2))
    assert queries.to_see_to(soon + timedelta(seconds=1)) is None
