"""Cases: holds and the list of boxes in one act, and what comes onto the list later."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext

from dispatch.models import Case, CaseBox, CaseHold, CaseLook, ShipmentBox
from dispatch.recall import services
from dispatch.recall.proof import lists
from dispatch.recall.queries.bringing import bringing
from dispatch.recall.queries.cases import whole
from dispatch.shipments import services as shipments
from dispatch.trace.queries import trace
from kitting.domain import numbers
from kitting.domain.errors import (
    Conflict,
    LotwardError,
    Missing,
    OnHold,
    OperationKeyReused,
    Refused,
)
from kitting.ledger import holds
from kitting.ledger.proof.faults import Tally
from kitting.lots.services.lots import NewBag
from kitting.models import Box, Hold, Lift, Lot, Operation
from kitting.models.catalogue import PlaceKind
from kitting.packing.services import boxes as packing
from kitting.places.services.places import put_box
from tests import factories
from tests.commands.tampering.ways import change, remove
from tests.databases import guards_away
from tests.factories import sign, sign_by_another

pytestmark = pytest.mark.django_db

SAID = {"hazard": "A visor cracks in a face", "reason": "A ward called"}


def open_on(*scope: tuple[str, int | str], **changes: object) -> services.Looked:
    values = {**SAID, "sign": sign(), **changes}
    return services.open_case(scope=scope, **values)  # type: ignore[arg-type]


def lot_of(box: Box) -> Lot:
    return box.lines.get().lot


def listed(case: str) -> list[tuple[int, str, int]]:
    rows = CaseBox.objects.filter(case__number=case).order_by("pk")
    return list(rows.values_list("box", "stage", "pieces"))


def refused(code: str, **changes: object) -> None:
    with pytest.raises(LotwardError) as caught:
        open_on(("box", 1), **changes)
    assert caught.value.code == code
    assert not Case.objects.exists()
    assert not Hold.objects.exists()


@pytest.mark.smoke
def test_to_open_a_case_holds_and_lists_in_one_act(box: Box) -> None:
    lot = lot_of(box)
    done = open_on(("lot", lot.pk), rated="class II, as I decide")
    assert (done.holds, done.boxes, done.here, done.gone) == (1, 1, 1, 0)
    assert numbers.read(done.case).kind is numbers.Kind.CASE
    case = Case.objects.get(number=done.case)
    assert case.rated == "class II, as I decide"
    hold = Hold.objects.get()
    assert (hold.lot_id, hold.of_case.look.case) == (lot.pk, case)
    assert hold.reason == f"Case {done.case}: A visor cracks in a face"
    assert listed(done.case) == [(box.pk, "labelled", 6)]
    acts = {
        row.operation_id
        for model in (Case, CaseLook, CaseHold, CaseBox, Hold)
        for row in model.objects.all()
    }
    assert acts == {Operation.objects.get(name="open_case").pk}
    assert factories.prove() == []


def test_each_box_is_listed_as_it_is_with_who_has_it() -> None:
    here = factories.make_labelled_box()
    lot, size = lot_of(here), here.size
    sent, loaded = (factories.make_labelled_box(size) for _ in range(2))
    gone = factories.send(factories.make_shipment(sent))
    waiting = factories.make_shipment(loaded)
    scope = [("lot", lot_of(box).pk) for box in (here, sent, loaded)]
    done = open_on(*scope)
    assert (done.boxes, done.here, done.gone) == (3, 2, 1)
    told = {
        row.box_id: (row.stage, row.shipment_id, row.consignee_id)
        for row in CaseBox.objects.all()
    }
    assert lot.pk in {pk for _kind, pk in scope}
    assert told == {
        here.pk: ("labelled", None, None),
        sent.pk: ("sent", gone.pk, gone.consignee_id),
        loaded.pk: ("loaded", waiting.pk, waiting.consignee_id),
    }
    assert factories.prove() == []


def test_the_list_is_what_the_trace_finds(box: Box) -> None:
    lot = lot_of(box)
    found = {each.serial: each.pieces for each in trace(lot.number).boxes}
    done = open_on(("lot", lot.pk))
    rows = whole(Case.objects.get(number=done.case)).boxes
    assert {each.serial: each.pieces for each in rows} == found != {}


def test_what_is_listed_stays_as_it_was_found(box: Box) -> None:
    done = open_on(("box", box.pk))
    shelf = factories.make_place(PlaceKind.QUARANTINE)
    put_box(box_id=box.pk, place_id=shelf.pk, sign=sign())
    hold = Hold.objects.get()
    holds.lift_hold(hold_id=hold.pk, reason="Sound", sign=sign_by_another())
    factories.send(factories.make_shipment(box))
    assert listed(done.case) == [(box.pk, "labelled", 6)]
    [row] = whole(Case.objects.get()).boxes
    assert (row.stage, row.now, row.held) == ("labelled", "sent", False)
    assert factories.prove() == []


def test_a_case_may_reach_no_box() -> None:
    done = open_on(("lot", factories.make_lot().pk))
    assert (done.holds, done.boxes) == (1, 0)
    assert factories.prove() == []


def test_nothing_is_opened_without_hazard_reason_or_scope() -> None:
    refused("hazard_missing", hazard=" ")
    refused("reason_missing", reason=" ")
    refused("entry_too_long", hazard="a" * 501)
    refused("entry_too_long", rated="a" * 81)
    with pytest.raises(Refused) as caught:
        open_on()
    assert caught.value.code == "scope_missing"


def test_of_a_scope_with_something_that_is_not_there_nothing_is_held() -> None:
    lot = factories.make_lot()
    with pytest.raises(Missing):
        open_on(("lot", lot.pk), ("bag", 1))
    with pytest.raises(Refused) as caught:
        open_on(("lot", lot.pk), ("shipment", 1))
    assert caught.value.code == "hold_target_unknown"
    assert not Hold.objects.exists()


def test_a_long_hazard_is_read_by_its_beginning_where_it_is_held() -> None:
    open_on(("lot", factories.make_lot().pk), hazard="Cracks. " * 60)
    assert len(Hold.objects.get().reason) <= 200
    assert Hold.objects.get().reason.endswith("…")


def test_the_same_key_opens_it_once() -> None:
    lot, key = factories.make_lot(), sign()
    first = open_on(("lot", lot.pk), sign=key)
    assert open_on(("lot", lot.pk), sign=key) == first
    assert Case.objects.count() == Hold.objects.count() == 1
    with pytest.raises(OperationKeyReused):
        open_on(("lot", lot.pk), sign=key, hazard="Another")


def test_a_second_case_on_the_same_thing_leads_to_the_first() -> None:
    lot = factories.make_lot(source="Print bench")
    first = open_on(("lot", lot.pk), ("source", "print  BENCH"))
    for target in (("lot", lot.pk), ("source", "Print bench")):
        with pytest.raises(Conflict) as caught:
            open_on(target)
        assert caught.value.code == "case_has_it"
        assert caught.value.params["case"] == first.case
    assert Case.objects.count() == 1
    assert Hold.objects.count() == 2


def test_a_hold_that_stood_before_goes_on_standing_beside_that_of_the_case() -> None:
    lot = factories.make_lot()
    before = holds.place_hold(target="lot", value=lot.pk, reason="Haze", sign=sign())
    open_on(("lot", lot.pk))
    own = Hold.objects.get(of_case__isnull=False)
    holds.lift_hold(hold_id=own.pk, reason="Sound", sign=sign_by_another())
    assert Hold.objects.get(lift=None).pk == before.hold_id


def test_to_widen_adds_its_boxes_with_their_own_moment(box: Box, other: Box) -> None:
    first = box
    case = open_on(("box", first.pk)).case
    scope = [("box", other.pk)]
    more = {"number": case, "scope": scope, "reason": "The same bench"}
    done = services.widen_case(**more, sign=sign())  # type: ignore[arg-type]
    assert (done.holds, done.boxes) == (1, 1)
    nth = CaseBox.objects.order_by("pk").values_list("box", "look__nth")
    assert list(nth) == [(first.pk, 1), (other.pk, 2)]
    with pytest.raises(Conflict) as caught:
        services.widen_case(**more, sign=sign())  # type: ignore[arg-type]
    assert caught.value.code == "case_has_it"
    assert factories.prove() == []


def test_what_was_taken_out_may_come_in_again(box: Box) -> None:
    case = open_on(("box", box.pk)).case
    hold = Hold.objects.get()
    with pytest.raises(Refused) as caught:
        holds.lift_hold(hold_id=hold.pk, reason="Sound", sign=sign())
    assert caught.value.code == "hold_own"
    holds.lift_hold(hold_id=hold.pk, reason="Sound", sign=sign_by_another())
    again = {"scope": [("box", box.pk)], "reason": "It was not"}
    done = services.widen_case(number=case, **again, sign=sign())  # type: ignore[arg-type]
    assert (done.holds, done.boxes) == (1, 0)
    assert Lift.objects.count() == 1
    assert factories.prove() == []


def test_to_look_again_finds_what_came_into_reach_since(box: Box) -> None:
    material = factories.make_lot()
    case = open_on(("lot", material.pk)).case
    hold = Hold.objects.get()
    assert services.look_again(number=case, sign=sign()).boxes == 0
    holds.lift_hold(hold_id=hold.pk, reason="Sound", sign=sign_by_another())
    scope = [("lot", lot_of(box).pk)]
    why = {"reason": "The same bench"}
    services.widen_case(number=case, scope=scope, **why, sign=sign())  # type: ignore[arg-type]
    again = services.look_again(number=case, sign=sign())
    assert (again.holds, again.boxes) == (0, 0)
    assert [each.nth for each in CaseLook.objects.order_by("pk")] == [1, 2, 3, 4]
    assert factories.prove() == []


def listed_by_a_hold_lifted_since() -> Box:
    """A case is widened by a lot and looks again after its hold is lifted.

    Another box of that lot is packed after the lift.
    """
    size = factories.make_size(factories.make_recipe())
    revision = size.product.recipes.get().lines.get().revision
    six = NewBag(pieces=6)
    lot = factories.make_lot(revision, bags=(six, six))
    before, behind = lot.bags.order_by("pk")
    box = factories.make_open_box(size, None, before)
    case = open_on(("box", factories.make_labelled_box().pk)).case
    scope = [("lot", lot.pk)]
    why = {"reason": "The same bench"}
    done = services.widen_case(number=case, scope=scope, **why, sign=sign())  # type: ignore[arg-type]
    assert done.boxes == 1
    lifted = {"hold_id": Hold.objects.get(lot=lot).pk, "reason": "Sound"}
    holds.lift_hold(**lifted, sign=sign_by_another())  # type: ignore[arg-type]
    factories.make_open_box(size, None, behind)
    assert services.look_again(number=case, sign=sign()).boxes == 0
    return box


def test_a_list_is_proved_by_what_was_held_at_each_look() -> None:
    row = CaseBox.objects.get(box=listed_by_a_hold_lifted_since())
    assert factories.prove() == []
    widened, again = CaseLook.objects.filter(nth__gt=1).order_by("nth")

    def bent(bend: Callable[[], object]) -> list[tuple[str, int | None]]:
        tally = Tally("case lists", "looks")
        with guards_away(), transaction.atomic():
            bend()
            lists(tally)
            transaction.set_rollback(True)
        return [(fault.table, fault.pk) for fault in tally.faults]

    looked, on = CaseLook._meta.db_table, CaseBox._meta.db_table
    assert bent(lambda: remove(row)) == [(looked, widened.pk)]
    later = {"look": again, "operation": again.operation}
    found = bent(lambda: change(row, **later))
    assert found == [(looked, widened.pk), (on, row.pk)]
    assert bent(lambda: remove(Lift.objects.get())) == [(looked, again.pk)]


def test_a_bench_in_mid_box_stops_and_its_box_is_on_the_list() -> None:
    size = factories.make_size(factories.make_recipe())
    bag = factories.make_bag(size.product.recipes.get().lines.get().revision)
    box = factories.make_open_box(size, None, bag)
    done = open_on(("lot", lot_of(box).pk))
    [(pk, stage, pieces)] = listed(done.case)
    assert (pk, stage, pieces) == (box.pk, "open", 6)
    with pytest.raises(OnHold) as caught:
        packing.close_box(box_id=box.pk, sign=sign())
    assert done.case in str(caught.value.params["reason"])
    assert factories.prove() == []


def to_bring(case: Case) -> list[str]:
    """What is to be brought in, from wherever it is."""
    stops = bringing(whole(case)).stops
    return [thing.number for stop in stops for thing in stop.things]


def test_a_shipment_half_loaded_is_not_sent_until_its_boxes_are_off(
    box: Box, other: Box
) -> None:
    bad, good = box, other
    shipment = factories.make_shipment(bad, good)
    case = Case.objects.get(number=open_on(("box", bad.pk)).case)
    assert [each.on for each in whole(case).to_take_off] == [shipment.number]
    with pytest.raises(OnHold):
        factories.send(shipment)
    of = {"shipment_id": shipment.pk, "box_id": bad.pk}
    shipments.take_off_box(**of, sign=sign())
    assert whole(case).to_take_off == []
    assert to_bring(case) == [bad.serial]
    quarantine = factories.make_place(PlaceKind.QUARANTINE)
    put_box(box_id=bad.pk, place_id=quarantine.pk, sign=sign())
    assert to_bring(case) == []
    assert len(whole(case).quarantined) == 1
    factories.send(shipment)
    assert ShipmentBox.objects.filter(live=True).count() == 1
    assert factories.prove() == []


def test_bags_of_the_scope_are_to_be_brought_from_where_they_are() -> None:
    bag = factories.make_bag(pieces=40)
    case = Case.objects.get(number=open_on(("lot", bag.lot_id)).case)
    assert to_bring(case) == [bag.number]
    holds.lift_hold(
        hold_id=Hold.objects.get().pk, reason="Sound", sign=sign_by_another()
    )
    assert to_bring(case) == []


def questions(boxes: int) -> tuple[int, int]:
    """Questions to the database to open a case on so many boxes, and to show it."""
    made = [factories.make_labelled_box() for _ in range(boxes)]
    scope = [("source", lot_of(made[0]).source)]
    with CaptureQueriesContext(
        connection,
    ) as asked:
        done = open_on(*scope)
    assert done.boxes >= boxes
    case = Case.objects.get(number=done.case)
    with CaptureQueriesContext(connection) as shown:
        whole(case)
    for hold in Hold.objects.filter(lift=None):
        holds.lift_hold(hold_id=hold.pk, reason="Sound", sign=sign_by_another())
    return len(asked), len(shown)


def test_it_asks_the_same_for_any_number_of_boxes() -> None:
    assert questions(1) == questions(5)
