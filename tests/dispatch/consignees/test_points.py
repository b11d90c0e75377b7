"""Delivery points and wards: one is asked for, sent to, and named when it is recalled."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from io import BytesIO
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from pypdf import PdfReader

from dispatch.consignees.services.consignees import (
    WhereTo,
    add_consignee,
    change_consignee,
)
from dispatch.domain.needs import Asked
from dispatch.models import Consignee, Request, Shipment, ShipmentBox
from dispatch.recall.queries.recall import whom_it_reached
from dispatch.requests.services import change_request, take_request
from dispatch.shipments import services
from dispatch.trace.queries import trace
from kitting.domain.errors import CodeError, Conflict, LotwardError, NotFit, Refused
from kitting.models import Box, User
from tests import factories
from tests.assertions import assert_refused, text_of
from tests.databases import once_a_module
from tests.factories import sign

pytestmark = pytest.mark.django_db

TO = WhereTo(
    name="Klinik Ost",
    country="DE",
    street="Schreinerweg 6",
    city="Braunschweig",
    points=" Gate B, stores \n\nWard 3\nWard 3\n",
    night_contact="Porter, 7",
    gln="9521321 00001 8",  # the check digit as python-stdnum has it
)


@once_a_module
def klinik() -> Consignee:
    add_consignee(code="KO", to=TO, sign=sign())
    return Consignee.objects.get(code="KO")


@once_a_module
def box() -> Box:
    return factories.make_labelled_box()


def begin(klinik: Consignee, point: str) -> Shipment:
    done = services.begin_shipment(
        consignee_id=klinik.pk, reference="", point=point, sign=sign()
    )
    return Shipment.objects.get(pk=done.shipment_id)


def ask(klinik: Consignee, box: Box, point: str = "") -> Request:
    asked = Asked(sets=6, tier=1, way="telephone", point=point)
    taken = take_request(
        consignee_id=klinik.pk,
        product_id=box.size.product_id,
        asked=asked,
        sign=sign(),
    )
    return Request.objects.get(number=taken.request)


def refused(act: Callable[[], object]) -> LotwardError:
    with pytest.raises(LotwardError) as caught:
        act()
    return caught.value


def test_each_line_is_a_point_once(klinik: Consignee) -> None:
    assert klinik.points == "Gate B, stores\nWard 3"
    assert klinik.gln == "9521321000018"


def test_a_shipment_goes_to_a_point_that_there_is(klinik: Consignee) -> None:
    assert begin(klinik, " ward  3 ").point == "Ward 3"
    assert begin(klinik, "").point == ""
    error = refused(lambda: begin(klinik, "Ward 4"))
    there = "Gate B, stores; Ward 3"
    assert_refused(
        error, "point_unknown", consignee="Klinik Ost", read="Ward 4", points=there
    )


def test_what_goes_to_one_ward_serves_no_other(klinik: Consignee, box: Box) -> None:
    stores, ward = ask(klinik, box, "Gate B, stores"), ask(klinik, box, "Ward 3")
    boxes = [box, *(factories.make_labelled_box(size=box.size) for _ in range(2))]
    served = []
    for each, point in zip(boxes, ("Ward 3", "Ward 3", ""), strict=True):
        there = begin(klinik, point)
        services.load_box(shipment_id=there.pk, box_id=each.pk, sign=sign())
        served.append(ShipmentBox.objects.get(box=each).request)
    assert served == [ward, None, stores]
    assert factories.prove() == []


def test_a_request_stays_with_its_ward_while_boxes_for_it_stand_at_the_dock(
    klinik: Consignee, box: Box
) -> None:
    row, there = ask(klinik, box, "Ward 3"), begin(klinik, "Ward 3")
    services.load_box(shipment_id=there.pk, box_id=box.pk, sign=sign())

    def change(point: str, sets: int = 12) -> None:
        asked = Asked(sets=sets, tier=1, way="telephone", point=point)
        change_request(number=row.number, asked=asked, reason="Moved", sign=sign())

    error = refused(lambda: change("Gate B, stores"))
    to = {"request": row.number, "shipment": there.number, "sets": 6}
    assert_refused(error, "request_loaded", **to)
    change("Ward 3")
    factories.send(there)
    change("Gate B, stores", 18)
    row.refresh_from_db()
    assert (row.point, row.sets) == ("Gate B, stores", 18)


def test_a_closed_one_is_asked_for_and_sent_to_no_more(
    klinik: Consignee, box: Box
) -> None:
    change_consignee(
        code="KO", to=WhereTo(**{**vars(TO), "active": False}), sign=sign()
    )
    for act in (lambda: ask(klinik, box), lambda: begin(klinik, "")):
        assert_refused(refused(act), "consignee_closed", consignee="Klinik Ost")


@pytest.mark.parametrize("gln", ["9521321000011", "952132100001", "X" * 13])
def test_a_gln_has_its_check_digit(klinik: Consignee, gln: str) -> None:
    error = refused(
        lambda: change_consignee(
            code="KO", to=WhereTo(**{**vars(TO), "gln": gln}), sign=sign()
        )
    )
    assert isinstance(error, CodeError)
    assert_refused(error, "gln_wrong", read=gln)


def test_two_have_no_gln_together(klinik: Consignee) -> None:
    error = refused(lambda: add_consignee(code="KW", to=TO, sign=sign()))
    assert isinstance(error, Conflict)
    assert_refused(error, "gln_taken", read="9521321000018", name="Klinik Ost")
    for code in ("KW", "KN"):
        to = WhereTo(**{**vars(TO), "gln": ""})
        add_consignee(code=code, to=to, sign=sign())


def test_a_point_that_is_longer_than_a_label_is_refused(klinik: Consignee) -> None:
    to = WhereTo(**{**vars(TO), "points": "x" * 81})
    error = refused(lambda: change_consignee(code="KO", to=to, sign=sign()))
    assert isinstance(error, Refused)
    assert error.code == "entry_too_long"


def test_a_point_is_found_however_wide_its_blanks_are(klinik: Consignee) -> None:
    to = WhereTo(**{**vars(TO), "points": "Ward  3\nWARD 3\nGate\tB"})
    change_consignee(code="KO", to=to, sign=sign())
    klinik.refresh_from_db()
    assert klinik.points == "Ward 3\nGate B"
    assert begin(klinik, "gate b").point == "Gate B"


def test_every_point_is_tried_on_a_label_and_not_the_longest_alone(
    klinik: Consignee,
) -> None:
    points = "Gate B, stores\n\u753b"  # Han, which the typeface has not
    to = WhereTo(**{**vars(TO), "points": points})
    error = refused(lambda: change_consignee(code="KO", to=to, sign=sign()))
    assert isinstance(error, NotFit)
    assert error.code == "label_would_not_fit"


@pytest.mark.parametrize("email", ["stores", "stores@", "a b@c.example", "@c.example"])
def test_an_address_for_e_mail_is_one(email: str) -> None:
    to = WhereTo(**{**vars(TO), "gln": "", "email": email})
    error = refused(lambda: add_consignee(code="EM", to=to, sign=sign()))
    assert_refused(error, "email_wrong", read=email)


def test_an_address_for_e_mail_is_kept() -> None:
    """RFC 5321, 4.1.2: what stands before the @ may have a plus."""
    to = WhereTo(**{**vars(TO), "gln": "", "email": "stores+recall@c.example"})
    add_consignee(code="EM", to=to, sign=sign())
    assert Consignee.objects.get(code="EM").email == "stores+recall@c.example"


def test_a_recall_names_the_ward_and_whom_to_ask_at_night(
    klinik: Consignee, box: Box, client_for: Callable[[User], Client]
) -> None:
    there = begin(klinik, "Ward 3")
    services.load_box(shipment_id=there.pk, box_id=box.pk, sign=sign())
    factories.send(there)
    (reached,) = whom_it_reached(trace(str(box)), "DE")
    assert (reached.points, reached.night_contact) == (("Ward 3",), "Porter, 7")
    clerk = client_for(factories.make_person("clerk"))
    shown = text_of(clerk.get(reverse("dispatch:recall"), {"q": str(box)}))
    assert "<strong>Ward 3</strong>" in shown
    assert "at night: Porter, 7" in shown
    paper = reverse("dispatch:packing-list", args=[there.number])
    text = PdfReader(BytesIO(clerk.get(paper).content)).pages[0].extract_text()
    at = [text.index(line) for line in ("Klinik Ost", "Ward 3", "Schreinerweg 6")]
    assert at == sorted(at)


@pytest.mark.smoke
def test_a_shipment_begins_on_a_page_with_its_ward(
    klinik: Consignee, client_for: Callable[[User], Client]
) -> None:
    clerk = client_for(factories.make_person("clerk"))
    page = reverse("dispatch:shipment-new")
    entered: dict[str, Any] = {"consignee": "KO", "point": "ward 3"}
    answer = clerk.post(page, {"op_key": str(uuid.uuid4()), **entered})
    assert answer.status_code == 302
    assert Shipment.objects.get().point == "Ward 3"


def test_the_page_offers_the_wards_of_who_was_chosen(
    klinik: Consignee, client_for: Callable[[User], Client]
) -> None:
    clerk = client_for(factories.make_person("clerk"))
    page = reverse("dispatch:consignee-points")
    offered = '<option value="Gate B, stores"></option><option value="Ward 3"></option>'
    assert offered in text_of(clerk.get(page, {"consignee": "KO"}))
    for nobody in ("?", "", "\0"):
        assert "option" not in text_of(clerk.get(page, {"consignee": nobody}))
    new = reverse("dispatch:request-new")
    assert offered in text_of(clerk.get(new, {"consignee": "KO"}))


@pytest.mark.smoke
def test_a_ward_that_there_is_not_is_said_on_the_page(
    klinik: Consignee, client_for: Callable[[User], Client]
) -> None:
    clerk = client_for(factories.make_person("clerk"))
    entered = {"op_key": str(uuid.uuid4()), "consignee": "KO", "point": "Ward 4"}
    answer = clerk.post(reverse("dispatch:shipment-new"), entered)
    assert answer.status_code == 422
    assert "On record are: Gate B, stores; Ward 3." in text_of(answer)


def test_two_wards_of_a_hospital_are_told_apart_before_a_shipment_is_opened(
    klinik: Consignee, box: Box, client_for: Callable[[User], Client]
) -> None:
    ask(klinik, box, "Ward 3")
    begin(klinik, "Ward 3")
    sent = begin(klinik, "Gate B, stores")
    services.load_box(shipment_id=sent.pk, box_id=box.pk, sign=sign())
    factories.send(sent)
    clerk = client_for(factories.make_person("clerk"))
    for page in ("shipments", "shipment-new", "requests", "allotment-new"):
        shown = text_of(clerk.get(reverse(f"dispatch:{page}")))
        assert "Klinik Ost, Ward 3" in shown, page
    for page in ("shipments", "log"):
        shown = text_of(clerk.get(reverse(f"dispatch:{page}")))
        assert "Klinik Ost, Gate B, stores" in shown, page
