"""The main job in one thin line, service by service, with conservation at the end."""

from __future__ import annotations

import pytest

from kitting.domain import gs1
from kitting.domain.errors import OnHold
from kitting.ledger import holds
from kitting.lots.services import lots
from kitting.models import Box, BoxLine, Workshop
from kitting.models.catalogue import Per
from kitting.packing.services import boxes
from kitting.packing.services.labels import print_box_label
from tests import factories

pytestmark = pytest.mark.django_db


def test_a_lot_goes_from_the_door_to_a_ward_and_a_hold_stops_the_next_box() -> None:
    Workshop.objects.update(gs1_prefix="9521234")
    band = factories.make_revision(factories.make_part(name="Headband"))
    manual = factories.make_revision(
        factories.make_part(name="Manual", needs_check=False, needs_clearing=False)
    )
    lot = factories.accept(
        factories.make_lot(band, bags=(lots.NewBag(10), lots.NewBag(10)))
    )
    manuals = factories.make_bag(manual, 50)
    run = factories.open_run(factories.make_protocol(band))
    factories.expose(run, *lot.bags.all())
    assert factories.close_run(run).stage == "released"
    recipe = factories.make_recipe([(band, 1, Per.SET), (manual, 1, Per.BOX)])
    size = factories.make_size(recipe, 6, gtin="09521234000013")
    bench = factories.make_bench()
    first, second = lot.bags.all()
    boxes.bring_bag(bench_id=bench.pk, bag_id=manuals.pk, sign=factories.sign())
    box = factories.make_open_box(size, bench, first)
    closed = boxes.close_box(box_id=box.pk, sign=factories.sign())
    assert gs1.sscc_ok(closed.sscc or "")
    print_box_label(box_id=box.pk, sign=factories.sign())
    boxes.see_label(box_id=box.pk, read=closed.serial, sign=factories.sign())
    started = boxes.start_box(bench_id=bench.pk, size_id=size.pk, sign=factories.sign())
    assert started.taken == 5
    boxes.bring_bag(bench_id=bench.pk, bag_id=second.pk, sign=factories.sign())
    shipment = factories.make_shipment(Box.objects.get(pk=box.pk))
    factories.send(shipment)
    held = holds.place_hold(
        target="lot", value=lot.pk, reason="Rough edge", sign=factories.sign()
    )
    assert (held.boxes_here, held.boxes_gone) == (1, 1)
    with pytest.raises(OnHold):
        boxes.close_box(box_id=started.box_id, sign=factories.sign())
    in_boxes = sum(BoxLine.objects.filter(lot=lot).values_list("pieces", flat=True))
    in_bags = sum(lot.bags.values_list("pieces", flat=True))
    assert (in_boxes, in_bags) == (12, 8)
