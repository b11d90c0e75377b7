"""The list of a case as a file says of each box what it is, its way and its answer."""

from __future__ import annotations

import csv
from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from dispatch.domain.receipts import BoxSaid
from dispatch.models import Case
from dispatch.recall.services import open_case
from dispatch.receipts.services.deliveries import record_delivery
from kitting.ledger import holds
from kitting.models import Box, Hold, User
from tests import factories
from tests.dispatch.closing.test_closing_pages import bare, report
from tests.dispatch.replies.replying import case_on, lines, reply, sent_to
from tests.factories import sign, sign_by_another
from tests.kitting.ledger.ledger_receipts import later, said

pytestmark = pytest.mark.django_db


@pytest.fixture
def quality(client_for: Callable[[User], Client]) -> Client:
    return client_for(factories.make_person("quality officer"))


def rows(client: Client, case: Case) -> list[dict[str, str]]:
    page = reverse("dispatch:case-detail", args=[case.number])
    lines = client.get(page, {"as": "csv"})
    body = b"".join(lines.streaming_content).decode()  # type: ignore[arg-type]
    return list(csv.DictReader(body.splitlines()))


def test_a_box_has_its_product_its_lots_its_days_and_its_answer(
    quality: Client,
) -> None:
    came, absent = sent_to(boxes=2)
    shipment = came.shipment_boxes.get(live=True).shipment
    here = factories.make_labelled_box()
    case = case_on(came, absent, here)
    record_delivery(
        shipment_id=shipment.pk,
        said=said(shipment, 1, BoxSaid(absent.pk, "absent")),
        sign=later(shipment),
    )
    reply(case, shipment.consignee, *lines(came, used=2, quarantine=4))
    first, second, third = rows(quality, case)
    assert first["product"] == came.size.product.name
    assert first["sets"] == "6"
    lots = sorted(came.lines.values_list("lot__number", flat=True))
    assert first["lots"] == "; ".join(lots)
    today = timezone.localdate(shipment.sent_at).isoformat()
    assert (first["sent_on"], first["received_on"]) == (today, today)
    assert (second["sent_on"], second["received_on"]) == (today, "")
    assert (third["sent_on"], third["received_on"], third["answer"]) == ("", "", "")
    assert first["answer"] == "used 2; in quarantine there 4"
    paper = "".join(report(quality, case.number))
    assert bare(f"{came.size.product.name}, 6 sets; lots {', '.join(lots)}") in paper
    assert paper.count(bare(f"sent {today}; received {today}")) == 1
    assert paper.count(bare(f"sent {today}")) == 2


def test_lots_stay_although_the_case_holds_them_no_more(
    quality: Client, box: Box
) -> None:
    lot = box.lines.get().lot
    values = {"hazard": "A visor cracks", "reason": "A ward called"}
    done = open_case(scope=[("lot", lot.pk)], **values, sign=sign())
    hold = Hold.objects.get(lot=lot)
    holds.lift_hold(hold_id=hold.pk, reason="Sound", sign=sign_by_another())
    [row] = rows(quality, Case.objects.get(number=done.case))
    assert row["lots"] == lot.number


def test_the_report_has_the_addresses_of_the_consignees(quality: Client) -> None:
    [box] = sent_to()
    consignee = box.shipment_boxes.get(live=True).shipment.consignee
    type(consignee).objects.filter(pk=consignee.pk).update(
        street="1 Long Road", city="Eskmoor", postcode="", country="GB"
    )
    paper = "".join(report(quality, case_on(box).number))
    assert bare("1 Long Road, ESKMOOR") in paper
