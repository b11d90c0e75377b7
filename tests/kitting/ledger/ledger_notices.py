"""Who is told of the case of the history that every check is tried on."""

from __future__ import annotations

from dispatch.domain.notices import Heard
from dispatch.models import CaseCall
from dispatch.notices.services import calls
from kitting.models import Box
from tests.factories import sign


def tell_some(case: str, sent: Box) -> None:
    """Two calls to who has a box of a case, one of them undone."""
    load = sent.shipment_boxes.get(live=True)
    whom = load.passed.consignee if load.passed else load.shipment.consignee
    told = {"number": case, "consignee_id": whom.pk}
    heard = Heard("reached", "Sister", "All stopped", stopped=True)
    for each in (Heard("no_answer"), heard):
        calls.note_call(**told, heard=each, sign=sign())
    note = CaseCall.objects.earliest("pk")
    calls.undo_call(call_id=note.pk, reason="another ward", sign=sign())
