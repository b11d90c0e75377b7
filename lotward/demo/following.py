"""What wards say of what they got, and a drill that asks who has it."""

from __future__ import annotations

from dispatch.complaints import services as complaints
from dispatch.drills import services as drills
from dispatch.drills.queries import consignees_of
from dispatch.models import ShipmentBox
from kitting.domain.stages import BoxStage
from kitting.models import Lot
from lotward.demo import plan
from lotward.demo.making import Floor


def listen(floor: Floor) -> None:
    """Take down what wards say today, and decide what can be decided.

    Args:
        floor: The workshop.
    """
    for day, what, severity, ward, lot, decided in plan.COMPLAINTS:
        if day != floor.today:
            continue
        there = ShipmentBox.objects.filter(live=True, box__stage=BoxStage.DELIVERED)
        load = there.select_related("box", "shipment").order_by("-pk")[0]
        taken = complaints.take_complaint(
            what=what,
            severity=severity,
            said_by=f"Sister of {ward}",
            contact="by telephone",
            consignee_id=load.shipment.consignee_id,
            point=ward,
            about=floor.lot_number(*lot) if lot else str(load.box),
            received_on=floor.clock.now.date(),
            sign=floor.clock.sign("clerk", 45),
        )
        if decided:
            decision, text, reply = decided
            complaints.decide_complaint(
                number=taken.complaint,
                decision=decision,
                text=text,
                reply=reply,
                sign=floor.clock.sign("quality", 120),
            )


def drill(floor: Floor) -> None:
    """Draw a lot, list who has it against the clock, and call them.

    Args:
        floor: The workshop.
    """
    clock = floor.clock
    begun = drills.begin_drill(
        calling=True, seed=plan.DRILL_SEED, sign=clock.sign("quality", 300)
    )
    of = {"drill_id": begun.drill_id}
    drills.list_drill(**of, sign=clock.sign("clerk", 312))
    for nth, whom in enumerate(consignees_of(Lot.objects.get(number=begun.lot))):
        answers = nth != plan.DRILL_SILENT
        drills.note_drill_call(
            **of,
            code=whom.code,
            answered=answers,
            said_by="Goods entrance" if answers else "",
            sign=clock.sign("clerk", 95),
        )
    drills.end_drill(**of, remarks=plan.DRILL_REMARKS, sign=clock.sign("quality", 600))
