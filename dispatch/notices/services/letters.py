"""Letters about a case: made for those who got its boxes, and sent."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import date

from dispatch.consignees.queries import ship_to
from dispatch.domain.notices import LONGEST, Way
from dispatch.labels.letter_words import written_in
from dispatch.models import (
    Case,
    Consignee,
    Letter,
    LetterBack,
    LetterBox,
    LetterSent,
)
from dispatch.notices.mailing import Mailed, mail
from dispatch.notices.queries.letters import Addressee, addressees, recalling
from dispatch.notices.steps import want_by
from dispatch.recall.steps import need_open_case
from kitting.domain.errors import Conflict, Refused
from kitting.ledger import locking
from kitting.ledger.needs import need_reason, need_row, need_text
from kitting.ledger.operations import Act, Sign, outcome_of, perform

Texts = Mapping[str, tuple[str, str]]
"""By language what can happen to whom, and what is to be done with the product."""


@dataclass(frozen=True)
class Made:
    """Letters that were made."""

    case: str
    letters: list[int]
    """Their ids."""


@dataclass(frozen=True)
class Sent:
    """A letter that was sent, or could not be."""

    letter: int
    consignee: str
    way: str
    to: str
    fault: str
    """Why it did not go; empty where it went."""
    away: bool = False
    """Whether the server for e-mail could not be reached at all."""


def make_letters(
    *,
    number: str,
    consignee_ids: Collection[int],
    texts: Texts,
    urgent: bool,
    sign: Sign,
    answer_by: date | None = None,
) -> Made:
    """Make letters about a case, one for each of some consignees that got boxes of it.

    One to somebody whom an earlier one reached is an addition: it names what is new, and
    all that earlier ones named. One that has not gone, or is back, reached nobody.

    Args:
        number: The case; open.
        consignee_ids: To whom.
        texts: What is said, in the language of each.
        urgent: Whether they are marked so.
        sign: Who, when and the operation key.
        answer_by: By which day they ask for answers, which is the day of the case from
            now on; None for none.

    Returns:
        The letters.

    Raises:
        Missing: If there is no such case or consignee.
        Refused: ``letters_to_nobody``, ``letter_without_boxes`` to one without boxes
            that are in the scope, ``nobody_to_call`` where the workshop has no number for
            the day or the night, ``letter_says_nothing``, ``entry_too_long``,
            ``answer_day``.
        WrongStage: ``case_closed``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Made:
        locking.shut_gate()  # a letter says who has which box: none moves meanwhile
        case = need_open_case(number)
        if not (act.workshop.contact and act.workshop.night_contact):
            raise Refused("nobody_to_call")
        if not consignee_ids:
            raise Refused("letters_to_nobody")
        if answer_by is not None:
            want_by(act, case, answer_by)
        people = locking.lock_rows(Consignee, consignee_ids)
        known = {one.consignee.pk: one for one in addressees(case)}
        rows = []
        for one in dict.fromkeys(one.stays for one in people.values()):
            to = known.get(one.pk)
            if to is None:
                raise Refused("letter_without_boxes", case=number, consignee=one.name)
            letter = _letter(act, case, to, texts, urgent=urgent)
            letter.answer_by = answer_by
            act.write(letter)
            act.write(*_boxes(letter, to))
            rows.append(letter)
        return Made(case.number, [row.pk for row in rows])

    return perform(
        "make_letters",
        work,
        Made,
        sign,
        case=number,
        consignees=sorted(consignee_ids),
        texts={language: list(said) for language, said in texts.items()},
        urgent=urgent,
        answer_by=answer_by,
    )


def _letter(
    act: Act, case: Case, to: Addressee, texts: Texts, *, urgent: bool
) -> Letter:
    whom = to.consignee
    hazard, to_do = texts.get(written_in(whom.language), ("", ""))
    said = {"missing": "letter_says_nothing"}
    return Letter(
        case=case,
        consignee=whom,
        nth=len(to.whom.letters) + 1,
        urgent=urgent,
        hazard=need_text("hazard", hazard, LONGEST["hazard"], **said),
        to_do=need_text("what to do", to_do, LONGEST["to_do"], **said),
        language=written_in(whom.language),
        address="\n".join(ship_to(whom, act.workshop.country).all),
        contact=act.workshop.contact,
        night_contact=act.workshop.night_contact,
    )


def _boxes(letter: Letter, to: Addressee) -> list[LetterBox]:
    return [
        LetterBox(
            letter=letter,
            listed=each.box.row,
            shipment=each.box.shipment,
            lots="\n".join(each.lots),
            passed_to=each.box.passed_to,
            new=each.new,
        )
        for each in to.boxes
    ]


def send_letter(*, letter_id: int, way: str, by: str = "", sign: Sign) -> Sent:
    """Send a letter by e-mail, or say that it went on paper; either is on record.

    The e-mail goes before the act begins, so that nothing waits for its server. Whether
    it went or not is on record either way; what did not go is sent again by another act.

    Args:
        letter_id: The letter.
        way: How it goes, as ``Way`` has it.
        by: Of paper by which post, or who took it.
        sign: Who, when and the operation key.

    Returns:
        How it went.

    Raises:
        Missing: If there is no such letter.
        Refused: ``letter_not_recalled`` by e-mail, where all that it names is free again,
            ``email_not_set_up``, ``email_of_demo``, ``email_not_known`` of one without an
            address, ``letter_way_missing`` of none, or of paper without a word how it
            went, ``entry_too_long``.
        OperationKeyReused: If the key was used for another act.
    """
    if way not in {*Way}:
        raise Refused("letter_way_missing")
    beside = ("case", "operation", "consignee__merged_into")
    letter = need_row(Letter.objects.select_related(*beside).filter(pk=letter_id))
    whom, mailed = letter.consignee.stays, Mailed(by)
    if way == Way.EMAIL and outcome_of(sign) is None:
        if not recalling(letter.case, [letter]):
            raise Refused("letter_not_recalled", consignee=whom.name)
        mailed = mail(letter, whom, sign.key)

    def work(act: Act) -> Sent:
        _lock(letter)
        to = need_text("way", mailed.to, 200, missing="letter_way_missing")
        told = {"to": to, "fault": mailed.fault}
        act.write(LetterSent(letter=letter, way=Way(way), **told))
        return Sent(letter.pk, whom.name, way, **told, away=mailed.away)

    return perform(
        "send_letter", work, Sent, sign, letter=letter_id, way=str(way), by=by
    )


def _lock(letter: Letter) -> None:
    """Let nobody make or send a letter to the same one, or say that it is back."""
    whom = letter.consignee
    locking.lock_rows(Consignee, {whom.pk, whom.stays.pk})


@dataclass(frozen=True)
class Back:
    """A letter that did not arrive."""

    case: str
    consignee: str
    reason: str


def note_letter_back(*, sending_id: int, reason: str, sign: Sign) -> Back:
    """Say that a letter did not arrive: its consignee is not told by it.

    Args:
        sending_id: How it was sent.
        reason: Such as that it came back, or went to an old address.
        sign: Who, when and the operation key.

    Returns:
        The case and the consignee.

    Raises:
        Conflict: ``letter_back`` already.
        Missing: If it was not sent so.
        Refused: ``reason_missing``, ``entry_too_long``, ``letter_not_gone``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Back:
        why = need_reason(reason)
        rows = LetterSent.objects.select_related("letter__case", "letter__consignee")
        sending = need_row(rows.filter(pk=sending_id))
        whom = sending.letter.consignee
        _lock(sending.letter)
        if sending.fault:
            raise Refused("letter_not_gone")
        if LetterBack.objects.filter(sending=sending).exists():
            raise Conflict("letter_back")
        act.write(LetterBack(sending=sending, reason=why))
        return Back(sending.letter.case.number, whom.stays.name, why)

    return perform(
        "note_letter_back", work, Back, sign, sending=sending_id, reason=reason
    )
