"""A recall case of the history that every check is tried on."""

from __future__ import annotations

from itertools import count

from dispatch.closing.queries.closings import mark_of_scope
from dispatch.closing.services import close_case, reopen_case
from dispatch.complaints import services as complaints
from dispatch.domain.effectiveness import in_order
from dispatch.drills import services as drills
from dispatch.drills.queries import consignees_of, lots_sent
from dispatch.effectiveness import services as effectiveness
from dispatch.models import Case, Consignee, Drill, EffectConsignee
from dispatch.recall import services
from kitting.ledger import holds
from kitting.models import Box, Hold, Lot
from kitting.models.catalogue import PlaceKind
from kitting.places.services.places import put_bag
from tests import factories
from tests.factories import sign, sign_by_another
from tests.kitting.ledger import ledger_notices, ledger_replies


def recall_some(sent: Box, voided: Box, lot: Lot) -> None:
    """A case on a box, widened by another, looked for again; one of a lot in no box."""
    opened = services.open_case(
        scope=[("box", sent.pk)],
        hazard="A visor cracks",
        rated="as decided",
        reason="a ward called",
        sign=sign(),
    )
    services.widen_case(
        number=opened.case,
        scope=[("box", voided.pk)],
        reason="the same bench",
        sign=sign(),
    )
    services.look_again(number=opened.case, sign=sign())
    ledger_notices.tell_some(opened.case, sent)
    ledger_replies.answer(opened.case, sent)
    ask_some(opened.case)
    drill_some()
    complain_some(sent, factories.make_lot(lot.revision))
    other = services.open_case(
        scope=[("lot", lot.pk)], hazard="Sharp", reason="seen here", sign=sign()
    )
    hold = Hold.objects.get(lot=lot, of_case__isnull=False)
    holds.lift_hold(hold_id=hold.pk, reason="it is not", sign=sign_by_another())
    bring_some(opened.case, voided)
    close(other.case)
    reopen_case(number=other.case, reason="a second ward", sign=sign())
    close(opened.case, (sent.pk, "the ward is closed, and its store was emptied"))


def complain_some(sent: Box, lot: Lot) -> None:
    """Complaints about a box, a lot and nothing: noted, decided, followed in a case."""
    today = factories.NOW.date()
    said = {"said_by": "Sister on Ward 3", "received_on": today}
    of_box = complaints.take_complaint(
        **said,
        what="A visor fogs",
        severity="fault",
        happened_on=today,
        contact="extension 204",
        consignee_id=Consignee.objects.earliest("pk").pk,
        point="Ward 3",
        about=str(sent.serial),
        part_id=sent.lines.earliest("pk").lot.part_id,
        sign=sign(),
    ).complaint
    complaints.note_complaint(number=of_box, text="It was Ward 4", sign=sign())
    why = {"text": "Rubbed dry", "reply": "Told how"}
    complaints.decide_complaint(number=of_box, decision="none", **why, sign=sign())
    of_lot = complaints.take_complaint(
        **said, what="Sharp", severity="could", about=lot.number, sign=sign()
    ).complaint
    complaints.open_case_for(
        number=of_lot,
        scope=[("lot", lot.pk)],
        hazard="Sharp",
        reason="seen on a ward",
        sign=sign(),
    )
    complaints.take_complaint(**said, what="Bigger", severity="wish", sign=sign())


def drill_some() -> None:
    """A drill without a list, then one in which a consignee is called twice."""
    first = drills.begin_drill(calling=False, sign=sign())
    drills.end_drill(drill_id=first.drill_id, remarks="A fire alarm", sign=sign())
    sent = lots_sent().in_bulk(field_name="number")
    there = {number for number, lot in sent.items() if consignees_of(lot)}
    # By chance it may be a lot of which every box came back: then nobody is called.
    seed = next(s for s in map(str, count()) if in_order(s, sent)[0] in there)
    drill = drills.begin_drill(calling=True, seed=seed, sign=sign()).drill_id
    drills.list_drill(drill_id=drill, sign=sign())
    [whom, *_] = consignees_of(Drill.objects.get(pk=drill).lot)
    said = {"drill_id": drill, "code": whom.code}
    drills.note_drill_call(**said, answered=False, said_by="", sign=sign())
    drills.note_drill_call(**said, answered=True, said_by="Porter", sign=sign())
    drills.end_drill(drill_id=drill, remarks="Call at night as well", sign=sign())


def ask_some(case: str) -> None:
    """An effectiveness check of nobody, then one of all: who is asked says two things."""
    effectiveness.draw_check(number=case, level="E", share=None, sign=sign())
    effectiveness.draw_check(number=case, level="B", share=40, sign=sign())
    row = EffectConsignee.objects.get(drawn=True)
    said = {"of_id": row.pk, "got": True, "understood": True, "said_by": "Ward 3"}
    for acted in (False, True):
        effectiveness.note_answer(**said, acted=acted, note="sent back", sign=sign())


def bring_some(case: str, voided: Box) -> None:
    """A voided box is not found, then it is; a bag is brought as well."""
    thing = {"number": case, "kind": "box", "thing_id": voided.pk}
    services.note_not_found(**thing, reason="all of the cage", sign=sign())
    place = factories.make_place(PlaceKind.QUARANTINE)
    services.bring_in(**thing, place_id=place.pk, sign=sign())
    bag, shelf = factories.make_bag(), factories.make_place()
    put_bag(bag_id=bag.pk, place_id=shelf.pk, sign=sign())
    services.widen_case(
        number=case, scope=[("bag", bag.pk)], reason="the same shelf", sign=sign()
    )
    thing = {"number": case, "kind": "bag", "thing_id": bag.pk}
    services.bring_in(**thing, place_id=place.pk, sign=sign())


def close(case: str, *without: tuple[int, str]) -> None:
    """Close a case, for all but some boxes accounted for."""
    close_case(
        number=case,
        cause="The oven was too hot",
        done="All who had it were called",
        prevention="The oven is read twice a day",
        seen=mark_of_scope(Case.objects.get(number=case)),
        reasons=without,
        sign=sign_by_another(),
    )
