"""Who is told of the case of the history that every check is tried on."""

from __future__ import annotations

from dataclasses import fields
from datetime import timedelta

from dispatch.domain.needs import Asked
from dispatch.domain.notices import Heard
from dispatch.models import CaseCall, LetterSent
from dispatch.notices.services import calls, letters
from dispatch.notices.services.replacements import replace_boxes
from kitting.models import Box, Workshop
from kitting.people.services.workshop import Particulars, change_workshop
from tests.factories import NOW, TODAY, sign


def tell_some(case: str, sent: Box) -> None:
    """Two calls to who has a box of a case, one of them undone, and two letters."""
    load = sent.shipment_boxes.get(live=True)
    whom = load.passed.consignee if load.passed else load.shipment.consignee
    told = {"number": case, "consignee_id": whom.pk}
    heard = Heard("reached", "Sister", "All stopped", stopped=True)
    for each in (Heard("no_answer"), heard):
        calls.note_call(**told, heard=each, when=NOW, sign=sign())
    names = [each.name for each in fields(Particulars)]
    named = {name: getattr(Workshop.objects.get(), name) for name in names}
    numbers = {"contact": "+44 1632 960123", "night_contact": "+44 1632 960199"}
    change_workshop(to=Particulars(**named | numbers), sign=sign())
    texts = {"en": ("It cracks", "Send it back")}
    said = {"texts": texts, "urgent": True, "answer_by": TODAY + timedelta(days=2)}
    for _ in range(2):
        to = {"number": case, "consignee_ids": [whom.pk]}
        made = letters.make_letters(**to, **said, sign=sign())
        gone = {"letter_id": made.letters[0], "way": "paper", "by": "Driver 2"}
        letters.send_letter(**gone, sign=sign())
    row = LetterSent.objects.earliest("pk")
    letters.note_letter_back(sending_id=row.pk, reason="an old address", sign=sign())
    asked = Asked(sets=0, tier=1, way="telephone")
    to = {"number": case, "consignee_id": whom.pk, "box_ids": [sent.pk]}
    replace_boxes(**to, asked=asked, sign=sign())
    note = CaseCall.objects.earliest("pk")
    calls.undo_call(call_id=note.pk, reason="another ward", sign=sign())
