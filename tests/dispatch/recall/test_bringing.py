"""Bringing in what a case holds: one scan takes a thing off whatever it is on."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from dispatch.models import Case, ShipmentBox, Sought
from dispatch.pallets.queries.pallets import pallets_of
from dispatch.recall import services
from dispatch.recall.queries.bringing import Bringing, bringing
from dispatch.recall.queries.cases import whole
from dispatch.shipments.services import load_box, load_pallet, send_shipment
from kitting.domain.errors import LotwardError, OnHold
from kitting.domain.stages import BoxStage
from kitting.ledger import holds
from kitting.lots.services.lots import NewBag
from kitting.models import Bag, Box, Carrier, Hold, OpenBag, Place, User
from kitting.models.catalogue import PlaceKind
from kitting.packing.services.boxes import start_box
from kitting.places.services import carriers
from kitting.web.messages import sentence
from tests import factories
from tests.assertions import text_of
from tests.factories import sign, sign_by_another

pytestmark = pytest.mark.django_db


@pytest.fixture
def cage() -> Place:
    return factories.make_place(PlaceKind.QUARANTINE)


def a_case(*things: Box | Bag) -> str:
    scope = [(thing._meta.model_name or "", thing.pk) for thing in things]
    said = {"hazard": "A visor cracks", "reason": "A ward called"}
    return services.open_case(scope=scope, **said, sign=sign()).case


def bring(case: str, thing: Box | Bag, cage: Place, **more: Any) -> services.Brought:
    kind = thing._meta.model_name or ""
    said = {"number": case, "kind": kind, "thing_id": thing.pk, "place_id": cage.pk}
    done = services.bring_in(**said, **more, sign=sign())
    thing.refresh_from_db()
    return done


def refused(case: str, thing: Box | Bag, cage: Place, **more: Any) -> LotwardError:
    with pytest.raises(LotwardError) as raised:
        bring(case, thing, cage, **more)
    assert not Sought.objects.exists()
    return raised.value


def left(case: str) -> Bringing:
    return bringing(whole(Case.objects.get(number=case)))


def test_a_box_on_a_shelf_goes_to_quarantine(cage: Place, box: Box) -> None:
    shelf = factories.make_place()
    Box.objects.filter(pk=box.pk).update(place=shelf)
    case = a_case(box)
    assert (left(case).brought, left(case).total) == (0, 1)
    done = bring(case, box, cage)
    assert (done.moved, done.at, done.place) == (True, shelf.name, cage.name)
    assert box.place == cage
    row = Sought.objects.get()
    assert (row.box, row.at, row.into, row.reason) == (box, shelf, cage, "")
    assert (left(case).brought, left(case).total) == (1, 1)
    again = bring(case, box, cage)
    assert (again.moved, again.place) == (False, cage.name)
    assert Sought.objects.count() == 1


def test_a_box_half_loaded_comes_off_its_shipment_by_the_same_scan(
    cage: Place, box: Box, other: Box
) -> None:
    shipment = factories.make_shipment(box, other)
    case = a_case(box)
    going = {"shipment_id": shipment.pk, "haulier": "Own van"}
    with pytest.raises(OnHold) as raised:
        send_shipment(**going, unlabelled="demo", sign=sign())  # type: ignore[arg-type]
    assert "Put the box in quarantine." in sentence(raised.value)
    assert [stop.shipment for stop in left(case).stops] == [shipment.number]
    done = bring(case, box, cage)
    assert (done.off, box.stage, box.place) == (
        shipment.number,
        BoxStage.LABELLED,
        cage,
    )
    assert list(ShipmentBox.objects.filter(live=True)) == [
        ShipmentBox.objects.get(box=other)
    ]
    send_shipment(**going, unlabelled="demo", sign=sign())  # type: ignore[arg-type]
    assert factories.prove() == []


def test_who_may_not_load_leaves_a_loaded_box_to_a_clerk(cage: Place, box: Box) -> None:
    shipment = factories.make_shipment(box)
    case = a_case(box)
    error = refused(case, box, cage, may_unload=False)
    assert (error.code, error.params["shipment"]) == (
        "case_box_loaded",
        shipment.number,
    )


@pytest.mark.parametrize("loaded", [False, True])
def test_a_box_comes_off_its_pallet(
    cage: Place, loaded: bool, box: Box, other: Box
) -> None:
    pallet = factories.make_pallet(box, other)
    if loaded:
        shipment = factories.make_shipment()
        load_pallet(shipment_id=shipment.pk, pallet_id=pallet.pk, sign=sign())
    done = bring(a_case(box), box, cage)
    assert done.pallet == pallet.number
    assert set(pallets_of([box.pk, other.pk])) == {other.pk}
    assert factories.prove() == []


def test_a_box_in_work_and_a_bag_open_at_a_bench_come_off_it(cage: Place) -> None:
    size = factories.make_size(factories.make_recipe())
    revision = size.product.recipes.get().lines.get().revision
    bag = factories.make_lot(revision, bags=(NewBag(pieces=9),)).bags.get()
    box = factories.make_open_box(size, None, bag)
    bench = box.bench
    assert bench is not None
    assert OpenBag.objects.filter(bag=bag, bench=bench).exists()
    case = a_case(box, bag)
    assert {stop.place for stop in left(case).stops} == {bench.place.name}
    assert bring(case, bag, cage).bench == str(bench)
    assert not OpenBag.objects.filter(bag=bag).exists()
    done = bring(case, box, cage)
    assert (done.bench, done.at) == (str(bench), bench.place.name)
    start_box(bench_id=bench.pk, size_id=box.size_id, sign=sign())  # it goes on
    assert [stop.brought for stop in left(case).stops] == []
    assert factories.prove() == []


def test_a_bag_comes_off_its_carrier(cage: Place) -> None:
    bag = factories.make_bag()
    made = carriers.make_carrier(name="Blue trolley", sign=sign()).carrier
    carrier = Carrier.objects.get(number=made)
    carriers.load_bag(carrier_id=carrier.pk, bag_id=bag.pk, sign=sign())
    case = a_case(bag)
    assert bring(case, bag, cage).carrier == made
    assert bag.carrier is None
    carriers.put_carrier(carrier_id=carrier.pk, place_id=cage.pk, sign=sign())
    carriers.load_bag(carrier_id=carrier.pk, bag_id=bag.pk, sign=sign())
    assert not bring(case, bag, cage).moved  # and stays on it
    assert factories.prove() == []


def test_what_is_not_of_the_case_stays_where_it_is(
    cage: Place, box: Box, other: Box
) -> None:
    case = a_case(box)
    assert refused(case, other, cage).code == "not_of_case"
    hold = Hold.objects.get(box=box)
    holds.lift_hold(hold_id=hold.pk, reason="Sound", sign=sign_by_another())
    assert refused(case, box, cage).code == "not_of_case_any_more"
    assert refused(case, factories.make_bag(), cage).code == "not_of_case"


def test_only_a_quarantine_takes_it_and_only_what_is_here(
    cage: Place, box: Box
) -> None:
    case = a_case(box)
    assert refused(case, box, factories.make_place()).code == "not_quarantine"
    gone = factories.make_labelled_box()
    factories.send(factories.make_shipment(gone))
    assert refused(a_case(gone), gone, cage).code == "case_box_left"


def test_what_is_not_found_is_named_until_it_turns_up(cage: Place, box: Box) -> None:
    case = a_case(box)
    said = {"number": case, "kind": "box", "thing_id": box.pk}
    services.note_not_found(**said, reason="Shelf B and under it", sign=sign())  # type: ignore[arg-type]
    [thing] = left(case).missing
    assert thing.missing is not None
    assert (thing.number, thing.missing.reason) == (str(box), "Shelf B and under it")
    assert (left(case).brought, left(case).total) == (0, 1)
    bring(case, box, cage)
    assert left(case).missing == []
    with pytest.raises(LotwardError, match="is_in_quarantine"):
        services.note_not_found(**said, reason="Shelf B", sign=sign())  # type: ignore[arg-type]
    with pytest.raises(LotwardError, match="reason_missing"):
        services.note_not_found(**said, reason=" ", sign=sign())  # type: ignore[arg-type]


def test_a_held_box_cannot_go_back_onto_a_shipment(cage: Place, box: Box) -> None:
    shipment = factories.make_shipment(box)
    bring(a_case(box), box, cage)
    with pytest.raises(OnHold):
        load_box(shipment_id=shipment.pk, box_id=box.pk, sign=sign())


# -- The page ----------------------------------------------------------------------------


@pytest.fixture
def clerk(client_for: Callable[[User], Client]) -> Client:
    return client_for(factories.make_person("clerk"))


def scan(client: Client, case: str, read: str, **more: Any) -> Any:
    sent = {"op_key": str(uuid.uuid4()), "read": read, **more}
    return client.post(reverse("dispatch:case-bring", args=[case]), sent, follow=True)


def said(answer: Any) -> str:
    return " ".join(text_of(answer).split())


def test_scans_bring_in_and_say_so(
    clerk: Client, cage: Place, box: Box, other: Box
) -> None:
    loaded = other
    shipment = factories.make_shipment(loaded)
    case = a_case(box, loaded)
    page = said(clerk.get(reverse("dispatch:case-bring", args=[case])))
    assert "0 of 2 are in quarantine." in page
    answer = scan(clerk, case, str(box.serial))
    assert f"goes to {cage.name} now." in said(answer)
    assert "1 of 2 are in quarantine." in said(answer)
    answer = scan(clerk, case, str(loaded.serial))
    assert f"It is off shipment {shipment.number}." in said(answer).replace(" ", " ")
    assert "All that it holds here is in quarantine." in said(answer)
    assert "is in quarantine already" in said(scan(clerk, case, str(loaded.serial)))


def test_the_quarantine_is_chosen_once_where_there_are_several(
    clerk: Client, cage: Place, box: Box
) -> None:
    other = factories.make_place(PlaceKind.QUARANTINE)
    case = a_case(box)
    answer = scan(clerk, case, str(box.serial))
    assert answer.status_code == 422
    assert "Scan the quarantine first" in said(answer)
    answer = scan(clerk, case, other.code)
    assert f"Everything scanned now goes to {other.name}." in said(answer)
    assert answer.redirect_chain[-1][0].endswith(f"?to={other.code}")
    assert scan(clerk, case, str(box.serial), to=other.code).status_code == 200
    box.refresh_from_db()
    assert box.place == other


@pytest.mark.parametrize("wrong", ["", "nothing", "K9999999Z", "ACT-DO", "A" * 201])
def test_a_scan_that_is_none_is_answered(
    clerk: Client, cage: Place, wrong: str, box: Box
) -> None:
    case = a_case(box)
    assert scan(clerk, case, wrong).status_code == 422
    shelf, lot = factories.make_place(), factories.make_bag().lot
    assert "is no quarantine" in said(scan(clerk, case, shelf.code))
    assert "is no bag and no box" in said(scan(clerk, case, lot.number))
    assert not Sought.objects.exists()


def test_the_same_scan_sent_twice_is_done_once(
    clerk: Client, cage: Place, box: Box
) -> None:
    case, key = a_case(box), str(uuid.uuid4())
    for _ in range(2):
        assert "now." in said(scan(clerk, case, str(box.serial), op_key=key))
    assert Sought.objects.count() == 1


def test_htmx_is_answered_with_the_part(clerk: Client, cage: Place, box: Box) -> None:
    case = a_case(box)
    sent = {"op_key": str(uuid.uuid4()), "read": str(box.serial)}
    address = reverse("dispatch:case-bring", args=[case])
    answer = clerk.post(address, sent, headers={"HX-Request": "true"})
    assert answer.status_code == 200
    part = answer.content.decode()
    assert part.strip().startswith('<div id="case-bring"')
    assert "scan-yes" in part


def test_what_is_not_found_is_named_on_its_page(
    clerk: Client, cage: Place, box: Box
) -> None:
    case = a_case(box)
    address = reverse("dispatch:case-not-found", args=[case, str(box.serial)])
    assert clerk.get(address).status_code == 200
    sent = {"op_key": str(uuid.uuid4()), "reason": "All of shelf B"}
    answer = clerk.post(address, sent, follow=True)
    assert "Looked for and not found: 1." in said(answer)
    assert "All of shelf B" in said(answer)
    assert clerk.post(address, {**sent, "reason": ""}).status_code == 422
    for odd in ("nothing", factories.make_place().code):
        other = reverse("dispatch:case-not-found", args=[case, odd])
        assert clerk.get(other).status_code == 404


def test_a_packer_brings_in_but_takes_nothing_off_a_shipment(
    client_for: Callable[[User], Client], cage: Place, box: Box, other: Box
) -> None:
    packer = client_for(factories.make_person("packer"))
    loaded = other
    factories.make_shipment(loaded)
    case = a_case(box, loaded)
    assert scan(packer, case, str(box.serial)).status_code == 200
    answer = scan(packer, case, str(loaded.serial))
    assert answer.status_code == 422
    assert "Only a dispatch clerk takes it off" in said(answer)


def test_a_page_of_bringing_in_is_for_who_puts_away(
    client: Client, client_for: Callable[[User], Client], outsider: User, box: Box
) -> None:
    case = a_case(box)
    stranger = client_for(outsider)
    for name, more in (("case-bring", []), ("case-not-found", [str(box.serial)])):
        address = reverse(f"dispatch:{name}", args=[case, *more])
        assert client.get(address).status_code == 302
        assert stranger.get(address).status_code == 403
    nowhere = reverse("dispatch:case-bring", args=["V9999999Z"])
    manager = client_for(factories.make_person("manager"))
    assert manager.get(nowhere).status_code == 404


def test_the_day_and_a_shipment_lead_to_it(clerk: Client, box: Box) -> None:
    shipment = factories.make_shipment(box)
    case = a_case(box)
    to = reverse("dispatch:case-bring", args=[case])
    shown = reverse("dispatch:shipment-detail", args=[shipment.number])
    for page in (reverse("kitting:day"), shown):
        assert f'href="{to}"' in clerk.get(page).content.decode()
