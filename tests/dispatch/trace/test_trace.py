"""The trace against brute force over the plain rows."""

from __future__ import annotations

from collections import Counter

import pytest

from dispatch.domain import trace as oracle
from dispatch.trace.queries import trace
from dispatch.trace.written import as_json
from kitting.domain.errors import CodeError, Missing
from kitting.domain.stages import BoxStage, MovementKind
from kitting.lots.services import lots
from kitting.models import Bag, Box, BoxLine, Lot, Movement, Place, Workshop
from kitting.models.catalogue import Per
from kitting.packing.services import boxes, voiding
from kitting.packing.services.labels import print_box_label
from tests import factories
from tests.factories import sign

pytestmark = pytest.mark.django_db


GTIN = "09521234000013"
MATRIX = f"01{GTIN}13260114101-A\x1d21"


class History:
    """One lot in bags, in boxes here, in a voided box and with two consignees."""

    def __init__(self) -> None:
        Workshop.objects.update(gs1_prefix="9521234")
        self.band = factories.make_revision(factories.make_part(name="Headband"))
        self.lot = factories.accept(
            factories.make_lot(self.band, bags=(lots.NewBag(20), lots.NewBag(11)))
        )
        self.run = factories.open_run(factories.make_protocol(self.band))
        factories.expose(self.run, *self.lot.bags.all())
        factories.close_run(self.run)
        recipe = factories.make_recipe([(self.band, 1, Per.SET)])
        self.size = factories.make_size(recipe, 6, gtin=GTIN)
        self.bench = factories.make_bench()
        self.boxes = [self.pack() for _ in range(4)]
        self.first = factories.make_consignee("Thornwick Children's")
        self.second = factories.make_consignee("Lodebridge Hospice")
        self.shipments = [
            factories.send(factories.make_shipment(box, consignee=whom))
            for box, whom in zip(
                self.boxes, (self.first, self.second, self.first), strict=False
            )
        ]
        back = {"label": str(self.boxes[3].serial), "reason": "Crushed"}
        voiding.void_box(box_id=self.boxes[3].pk, **back, sign=sign())
        self.open = boxes.start_box(
            bench_id=self.bench.pk, size_id=self.size.pk, sign=sign()
        )

    def pack(self) -> Box:
        bag = self.lot.bags.filter(stage="cleared").order_by("pk").first()
        if not self.bench.open_bags.exists():
            assert bag is not None
            boxes.bring_bag(bench_id=self.bench.pk, bag_id=bag.pk, sign=sign())
        started = boxes.start_box(
            bench_id=self.bench.pk, size_id=self.size.pk, sign=sign()
        )
        for bag in self.lot.bags.filter(stage="cleared").order_by("pk"):
            if BoxLine.objects.filter(box=started.box_id).exists():
                held = sum(
                    line.pieces for line in BoxLine.objects.filter(box=started.box_id)
                )
                if held == 6:
                    break
            boxes.bring_bag(bench_id=self.bench.pk, bag_id=bag.pk, sign=sign())
        closed = boxes.close_box(box_id=started.box_id, sign=sign())
        print_box_label(box_id=closed.box_id, sign=sign())
        boxes.see_label(box_id=closed.box_id, read=closed.serial, sign=sign())
        return Box.objects.get(pk=closed.box_id)


@pytest.fixture
def history() -> History:
    return History()


def brute_balance(lot: Lot) -> oracle.Balance:
    """The balance from every single row."""
    return oracle.balance(
        lot.pk,
        [
            oracle.Move(
                row.lot_id,
                row.bag_id,
                row.box_id,
                MovementKind(row.kind),
                row.pieces,
                row.delta,
            )
            for row in Movement.objects.all()
        ],
        [oracle.BagCount(bag.pk, bag.lot_id, bag.pieces) for bag in Bag.objects.all()],
        [
            oracle.Line(row.box_id, row.bag_id, row.lot_id, row.run_id, row.pieces)
            for row in BoxLine.objects.all()
        ],
        {box.pk: BoxStage(box.stage) for box in Box.objects.all()},
        unit=lot.part.unit,
    )


def test_a_lot_balances_to_the_piece_as_brute_force_says(history: History) -> None:
    found = trace(history.lot.number)
    assert found.balance == brute_balance(history.lot)
    assert found.balance is not None
    assert found.balance.difference == 0
    assert (found.balance.received, found.balance.sent) == (31, 18)
    assert (found.balance.in_boxes, found.balance.in_bags) == (6, 1)
    assert found.balance.scrapped == 6


def test_a_lot_names_every_box_and_every_consignee(history: History) -> None:
    found = trace(history.lot.number)
    wanted: Counter[str] = Counter()
    for line in BoxLine.objects.all():
        if line.lot_id == history.lot.pk:
            wanted[str(line.box)] += line.pieces
    assert {row.serial: row.pieces for row in found.boxes} == wanted
    assert [(row.name, row.boxes, row.pieces) for row in found.consignees] == [
        ("Lodebridge Hospice", 1, 6),
        ("Thornwick Children's", 2, 12),
    ]
    assert [row.number for row in found.runs] == [history.run.number]
    assert {row.number for row in found.bags} == {
        bag.number for bag in history.lot.bags.all()
    }


@pytest.mark.parametrize("how", ["serial", "sscc", "matrix", "lower", "number"])
def test_a_box_is_found_by_whatever_is_scanned(history: History, how: str) -> None:
    box = history.boxes[0]
    text = {
        "serial": box.serial,
        "sscc": f"]C100{box.sscc}",
        "matrix": f"]d2{MATRIX}{box.serial}",
        "lower": f" {str(box.serial).lower()} ",
        "number": box.number,
    }[how]
    found = trace(str(text))
    assert (found.kind, found.number) == ("box", box.serial)
    assert [row.number for row in found.lots] == [history.lot.number]
    assert [row.pieces for row in found.boxes] == [6]
    assert found.balance is None


def test_bag_run_and_shipment_trace_to_their_boxes(history: History) -> None:
    bag = history.lot.bags.order_by("pk")[0]
    of_bag = trace(bag.number)
    assert sum(row.pieces for row in of_bag.boxes) == sum(
        BoxLine.objects.filter(bag=bag).values_list("pieces", flat=True)
    )
    assert of_bag.balance is not None
    assert (of_bag.balance.received, of_bag.balance.difference) == (20, 0)
    of_run = trace(history.run.number)
    assert len(of_run.boxes) == 5
    assert len(of_run.bags) == 2
    shipment = history.shipments[0]
    of_shipment = trace(shipment.number)
    assert [row.serial for row in of_shipment.boxes] == [history.boxes[0].serial]
    assert of_shipment.kind == "shipment"


def test_a_material_traces_into_what_is_made_from_it() -> None:
    sheet_part = factories.make_part(needs_check=False, needs_clearing=False, unit="mm")
    sheet = factories.make_lot(factories.make_revision(sheet_part))
    visor_part = factories.make_part(needs_check=False, needs_clearing=False)
    revision = factories.make_revision(visor_part)
    visor = factories.make_lot(
        revision, bags=(lots.NewBag(6),), made_from=((sheet.pk, 40),)
    )
    size = factories.make_size(factories.make_recipe([(revision, 1, Per.SET)]))
    factories.make_open_box(size, None, visor.bags.get())
    found = trace(sheet.number)
    assert [(row.number, row.role) for row in found.lots] == [
        (sheet.number, "traced"),
        (visor.number, "made from it"),
    ]
    assert [row.pieces for row in found.boxes] == [6]
    assert found.balance is not None
    assert (found.balance.made_into, found.balance.in_bags) == (40, 60)
    assert found.balance.unit == "mm"
    back = trace(visor.number)
    assert [row.role for row in back.lots] == ["went into it", "traced"]
    assert [lot for lot, _ in found.derived] == [visor.number]
    assert found.derived == [(visor.number, brute_balance(visor))]
    assert back.derived == []
    # From a box and from a bag of visors back to the material.
    box = BoxLine.objects.get(lot=visor).box
    bag = visor.bags.get()
    for number in (box.number, bag.number):
        lots_of = {row.number: row.role for row in trace(number).lots}
        assert lots_of == {visor.number: "traced", sheet.number: "went into it"}


def test_json_has_the_promised_names(history: History) -> None:
    found = as_json(trace(history.lot.number))
    assert set(found) == {
        "number",
        "kind",
        "lots",
        "bags",
        "runs",
        "boxes",
        "consignees",
        "balance",
        "derived",
    }
    assert {
        "serial",
        "sscc",
        "stage",
        "pieces",
        "shipment",
        "consignee",
        "sent_on",
    } <= (set(found["boxes"][0]))
    assert set(found["consignees"][0]) == {"name", "boxes", "pieces"}
    assert set(found["balance"]) == {
        "unit",
        "received",
        "found",
        "in_bags",
        "in_boxes",
        "sent",
        "returned",
        "sampled",
        "made_into",
        "scrapped",
        "missing",
        "difference",
    }
    assert found["boxes"][0]["sent_on"] == "2026-01-14"


def test_nothing_and_places_are_not_traced() -> None:
    place = Place.objects.create(code="SHELF-9", name="Shelf 9")
    for text in ("L999", place.code, "S1000001Z"):
        with pytest.raises((Missing, CodeError)):
            trace(text)


def test_a_trace_takes_a_fixed_number_of_queries(
    history: History, django_assert_max_num_queries
) -> None:
    with django_assert_max_num_queries(24):
        trace(history.lot.number)
