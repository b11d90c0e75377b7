"""A case that reaches consignees, and calls to them."""

from __future__ import annotations

from dispatch.domain.notices import Heard
from dispatch.models import Case, Consignee
from dispatch.notices.services import calls
from dispatch.recall import services
from kitting.models import Box
from tests import factories
from tests.factories import sign

REACHED = Heard("reached", spoke_to="Night sister", said="We stop", stopped=True)


def a_case(*boxes: Box) -> Case:
    opened = services.open_case(
        scope=[("box", box.pk) for box in boxes],
        hazard="A visor cracks",
        reason="A ward called",
        sign=sign(),
    )
    return Case.objects.get(number=opened.case)


def box_at(consignee: Consignee | None = None) -> tuple[Box, Consignee]:
    box = factories.make_labelled_box()
    shipment = factories.send(factories.make_shipment(box, consignee=consignee))
    return box, shipment.consignee


def call(case: Case, consignee: Consignee, heard: Heard = REACHED) -> None:
    calls.note_call(
        number=case.number, consignee_id=consignee.pk, heard=heard, sign=sign()
    )
