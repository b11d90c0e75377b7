"""Letters about a case: made for those who got its boxes, and sent."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass

from dispatch.consignees.queries import ship_to
from dispatch.domain.notices import LONGEST, Way
from dispatch.labels.letter_words import written_in
from dispatch.models import Case, Consignee, Letter, LetterBox, LetterSent
from dispatch.notices.mailing import Mailed, mail
from dispatch.notices.queries.letters import Addressee, addressees
from dispatch.recall.steps import need_open_case
from kitting.domain.errors import Refused
from kitting.ledger import locking
from kitting.ledger.needs import need_row, need_text
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
) -> Made:
    """Make letters about a case, one for each of some consignees that got boxes of it.

    A later one to the same consignee is an addition: it names what is new, and all that
    earlier ones named.

    Args:
        number: The case; open.
        consignee_ids: To whom.
        texts: What is said, in the language of each.
        urgent: Whether they are marked so.
        sign: Who, when and the operation key.

    Returns:
        The letters.

    Raises:
        Missing: If there is no such case or consignee.
        Refused: ``letters_to_nobody``, ``letter_without_boxes`` to one without boxes
            that are in the scope, ``nobody_to_call`` where the workshop has no number for
            the day or the night, ``letter_says_nothing``, ``entry_too_long``.
        WrongStage: ``case_closed``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Made:
        locking.enter_gate()
        case = need_open_case(number)
        if not (act.workshop.contact and act.workshop.night_contact):
            raise Refused("nobody_to_call")
        if not consignee_ids:
            raise Refused("letters_to_nobody")
        people = locking.lock_rows(Consignee, consignee_ids)
        known = {one.consignee.pk: one for one in addressees(case)}
        rows = []
        for one in dict.fromkeys(one.stays for one in people.values()):
            to = known.get(one.pk)
            if to is None:
                raise Refused("letter_without_boxes", case=number, consignee=one.name)
            letter = _letter(act, case, to, texts, urgent=urgent)
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
        Refused: ``email_not_set_up``, ``email_of_demo``, ``email_not_known`` of one
            without an address, ``letter_way_missing`` of none, or of paper without a word
            how it went, ``entry_too_long``.
        OperationKeyReused: If the key was used for another act.
    """
    if way not in {*Way}:
        raise Refused("letter_way_missing")
    beside = ("case", "operation", "consignee__merged_into")
    letter = need_row(Letter.objects.select_related(*beside).filter(pk=letter_id))
    whom, mailed = letter.consignee.stays, Mailed(by)
    if way == Way.EMAIL and outcome_of(sign) is None:
        mailed = mail(letter, whom, sign.key)

    def work(act: Act) -> Sent:
        to = need_text("way", mailed.to, 200, missing="letter_way_missing")
        told = {"to": to, "fault": mailed.fault}
        act.write(LetterSent(letter=letter, way=Way(way), **told))
        return Sent(letter.pk, whom.name, way, **told, away=mailed.away)

    return perform(
        "send_letter", work, Sent, sign, letter=letter_id, way=str(way), by=by
    )
