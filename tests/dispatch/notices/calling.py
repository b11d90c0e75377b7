"""A case that reaches consignees, and calls to them."""

from __future__ import annotations

from dispatch.domain.notices import Heard
from dispatch.models import Case, Consignee, Letter
from dispatch.notices.services import calls, letters
from dispatch.recall import services
from dispatch.receipts.services.returns import record_return
from kitting.models import Box, Workshop
from kitting.models.catalogue import PlaceKind
from tests import factories
from tests.factories import sign

There = tuple[Box, Consignee]

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


def came_back(box: Box, *, opened: bool) -> None:
    record_return(
        box_id=box.pk,
        sets=box.size.sets,
        opened=opened,
        place_id=factories.make_place(PlaceKind.QUARANTINE).pk,
        note="Recalled",
        sign=sign(),
    )


TEXTS = {
    "en": ("A visor cracks in a face", "Send them back with our driver"),
    "de": ("Ein Visier reißt im Gesicht", "Geben Sie sie unserem Fahrer mit"),
}


def named_workshop() -> None:
    Workshop.objects.update(
        name="Harrow Lane Workshop",
        address="1 Harrow Lane\nLodebridge",
        contact="+44 1632 960123",
        night_contact="+44 1632 960199",
    )


def write(case: Case, *to: Consignee, urgent: bool = True) -> list[Letter]:
    """Letters to some consignees, made."""
    made = letters.make_letters(
        number=case.number,
        consignee_ids=[one.pk for one in to],
        texts=TEXTS,
        urgent=urgent,
        sign=sign(),
    )
    beside = ("operation", "case", "consignee__merged_into")
    rows = Letter.objects.filter(pk__in=made.letters).order_by("pk")
    return list(rows.select_related(*beside))
