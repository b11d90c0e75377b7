"""Complaints: taken down, corrected by notes, decided, followed in a case."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from dispatch.complaints.queries.complaints import About, about_of
from dispatch.domain.complaints import Decision, Severity
from dispatch.models import Complaint, ComplaintNote, Consignee
from dispatch.models.complaints import LONGEST
from dispatch.recall.services import Looked, looked
from dispatch.recall.steps import Target, need_open_case, opened
from kitting.domain.errors import Refused
from kitting.domain.numbers import Kind
from kitting.ledger import locking
from kitting.ledger.clock import day_of
from kitting.ledger.counters import take
from kitting.ledger.needs import need_length, need_row, need_text
from kitting.ledger.operations import Act, Sign, perform
from kitting.models import Part


@dataclass(frozen=True)
class Taken:
    """A complaint that was taken down."""

    complaint: str


def take_complaint(
    *,
    what: str,
    severity: str,
    said_by: str,
    received_on: date,
    sign: Sign,
    happened_on: date | None = None,
    contact: str = "",
    consignee_id: int | None = None,
    point: str = "",
    about: str = "",
    part_id: int | None = None,
) -> Taken:
    """Take a complaint down.

    Args:
        what: What happened, in the words of whoever says so.
        severity: One of ``Severity``.
        said_by: Who says so.
        received_on: The day on which it was received.
        sign: Who, when and the operation key.
        happened_on: The day on which it happened; None where that is not known.
        contact: Where they can be reached; may be empty.
        consignee_id: The consignee that it comes from; None for none on record.
        point: The delivery point or ward; may be empty.
        about: The number of what it is about, typed or scanned; may be empty.
        part_id: The part that is at fault; None where that is not known.

    Returns:
        Its number.

    Raises:
        CodeError: If the number is mistyped.
        Missing: ``row_missing`` if there is no such consignee or part,
            ``nothing_has_number``.
        Refused: ``complaint_severity``, ``complaint_day``, ``complaint_about``,
            ``complaint_part``, ``entry_missing``, ``entry_too_long``,
            ``entry_not_shown``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Taken:
        if severity not in list(Severity):
            raise Refused("complaint_severity")
        today = day_of(act.workshop, act.now)
        if not (happened_on or received_on) <= received_on <= today:
            raise Refused("complaint_day")
        texts = _texts(what, said_by, contact, point)
        named = about_of(about)
        part = None if part_id is None else need_row(Part.objects.filter(pk=part_id))
        _need_inside(named, part)
        if consignee_id is not None:
            locking.lock_row(Consignee, consignee_id)
        complaint = Complaint(
            number=take(act.workshop.site, Kind.COMPLAINT)[0],
            severity=severity,
            consignee_id=consignee_id,
            happened_on=happened_on,
            received_on=received_on,
            about=named.number,
            box=named.box,
            lot=named.lot,
            part=part,
            **texts,
        )
        act.write(complaint)
        return Taken(complaint.number)

    return perform(
        "take_complaint",
        work,
        Taken,
        sign,
        what=what,
        severity=severity,
        said_by=said_by,
        received_on=received_on,
        happened_on=happened_on,
        contact=contact,
        consignee=consignee_id,
        point=point,
        about=about,
        part=part_id,
    )


def _texts(what: str, said_by: str, contact: str, point: str) -> dict[str, str]:
    return {
        "what": need_text("text", what, LONGEST["what"]),
        "said_by": need_text("name", said_by, LONGEST["said_by"]),
        "contact": need_length("contact", contact, LONGEST["contact"]),
        "point": need_length("point", point, LONGEST["point"]),
    }


def _need_inside(named: About, part: Part | None) -> None:
    """Refuse a part that is not in what the number names: one of the two is wrong."""
    if part is None:
        return
    inside = named.lot is None or named.lot.part_id == part.pk
    if named.box is not None:
        inside = named.box.lines.filter(lot__part=part).exists()
    if not inside:
        raise Refused("complaint_part", number=named.number, part=part.name)


@dataclass(frozen=True)
class Noted:
    """A complaint with a note more."""

    complaint: str


def note_complaint(*, number: str, text: str, sign: Sign) -> Noted:
    """Add to a complaint, or correct it: what was taken down stays.

    Args:
        number: The complaint.
        text: The note.
        sign: Who, when and the operation key.

    Returns:
        The complaint.

    Raises:
        Missing: ``row_missing``.
        Refused: ``entry_missing``, ``entry_too_long``, ``entry_not_shown``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Noted:
        complaint = need_row(Complaint.objects.filter(number=number))
        said = need_text("text", text, LONGEST["text"])
        act.write(ComplaintNote(complaint=complaint, text=said))
        return Noted(complaint.number)

    return perform("note_complaint", work, Noted, sign, complaint=number, text=text)


def decide_complaint(
    *,
    number: str,
    decision: str,
    text: str,
    sign: Sign,
    reply: str = "",
    case: str = "",
) -> Noted:
    """Decide what is done of a complaint; a later decision replaces it, and both stay.

    Args:
        number: The complaint.
        decision: One of ``Decision``.
        text: Why, or what was found.
        sign: Who, when and the operation key.
        reply: What was answered to whoever complained; may be empty.
        case: The number of the case that follows it, where it is followed in one.

    Returns:
        The complaint.

    Raises:
        Missing: ``row_missing`` if there is no such complaint or case.
        Refused: ``complaint_decision``, ``complaint_case``, ``entry_missing``,
            ``entry_too_long``, ``entry_not_shown``.
        WrongStage: ``case_closed``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Noted:
        complaint = need_row(Complaint.objects.filter(number=number))
        if decision not in list(Decision):
            raise Refused("complaint_decision")
        if (decision == Decision.CASE) != bool(case):
            raise Refused("complaint_case")
        locking.enter_gate()  # who closes a case shuts it
        followed = need_open_case(case) if case else None
        said = need_text("text", text, LONGEST["text"])
        answered = need_length("reply", reply, LONGEST["text"])
        act.write(
            ComplaintNote(
                complaint=complaint,
                decision=decision,
                text=said,
                reply=answered,
                case=followed,
            )
        )
        return Noted(complaint.number)

    return perform(
        "decide_complaint",
        work,
        Noted,
        sign,
        complaint=number,
        decision=decision,
        text=text,
        reply=reply,
        case=case,
    )


def open_case_for(
    *,
    number: str,
    scope: Sequence[Target],
    hazard: str,
    reason: str,
    sign: Sign,
    rated: str = "",
) -> Looked:
    """Open a case from a complaint, which is followed in it from then on.

    Args:
        number: The complaint.
        scope: As for ``open_case``.
        hazard: As for ``open_case``.
        reason: As for ``open_case``.
        sign: Who, when and the operation key.
        rated: As for ``open_case``.

    Returns:
        As ``open_case``.

    Raises:
        Conflict: As ``open_case``.
        Missing: ``row_missing`` if there is no such complaint or thing.
        Refused: As ``open_case``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Looked:
        found = opened(act, scope, hazard=hazard, reason=reason, rated=rated)
        complaint = need_row(Complaint.objects.filter(number=number))
        act.write(
            ComplaintNote(
                complaint=complaint,
                decision=Decision.CASE,
                text=reason.strip(),
                case=found[0],
            )
        )
        return looked(*found)

    return perform(
        "open_case_for",
        work,
        Looked,
        sign,
        complaint=number,
        scope=[list(each) for each in scope],
        hazard=hazard,
        reason=reason,
        rated=rated,
    )
