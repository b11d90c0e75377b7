"""Effectiveness checks of a case: drawn, and what each consignee that is asked says."""

from __future__ import annotations

import secrets
from dataclasses import dataclass

from dispatch.domain.effectiveness import how_many, in_order, share_of
from dispatch.effectiveness.queries import consignees_of
from dispatch.models import EffectAnswer, EffectCheck, EffectConsignee
from dispatch.models.effectiveness import LONGEST_NOTE, LONGEST_SAID_BY
from dispatch.recall.steps import need_open_case
from kitting.domain.errors import Refused
from kitting.ledger import locking
from kitting.ledger.needs import need_length, need_row, need_text
from kitting.ledger.operations import Act, Sign, perform


@dataclass(frozen=True)
class Draw:
    """A check that was drawn."""

    case: str
    share: int
    """Per cent."""
    drawn: int
    """How many are to be asked."""
    consignees: int
    """Among how many they were drawn."""


def draw_check(*, number: str, level: str, share: int | None, sign: Sign) -> Draw:
    """Set the level of a check of a case, and draw whom to ask.

    To draw again is a new check: the old one stays.

    Args:
        number: The case.
        level: One of ``Level``.
        share: Per cent, for level B alone.
        sign: Who, when and the operation key.

    Returns:
        The check. Its seed is on record.

    Raises:
        Missing: ``row_missing`` if there is no such case.
        Refused: ``effect_level_unknown``, ``effect_share``, ``effect_nobody``.
        WrongStage: ``case_closed``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Draw:
        locking.shut_gate()  # no list grows and no box leaves meanwhile
        case = need_open_case(number)
        per_cent = share_of(level, share)
        known = {each.code: each for each in consignees_of(case)}
        if not known:
            raise Refused("effect_nobody", case=case.number)
        drawn = how_many(len(known), per_cent)
        seed = secrets.token_hex(16)
        check = EffectCheck(case=case, level=level, share=per_cent, seed=seed)
        act.write(check)
        rows = [
            EffectConsignee(
                check_of=check, consignee=known[code], nth=nth, drawn=nth <= drawn
            )
            for nth, code in enumerate(in_order(seed, known), start=1)
        ]
        act.write(*rows)
        return Draw(case.number, per_cent, drawn, len(known))

    return perform(
        "draw_check", work, Draw, sign, case=number, level=level, share=share
    )


@dataclass(frozen=True)
class Answered:
    """What a consignee said when it was asked."""

    case: str
    name: str


def note_answer(
    *,
    of_id: int,
    got: bool,
    understood: bool,
    acted: bool,
    said_by: str,
    note: str,
    sign: Sign,
) -> Answered:
    """Record what a consignee that was drawn said; it counts instead of what it said before.

    Args:
        of_id: The consignee's place in a check.
        got: Whether it received the notice.
        understood: Whether it understood it.
        acted: Whether it did what the notice says.
        said_by: Who said so, as written.
        note: A remark.
        sign: Who asked, when and the operation key.

    Returns:
        The case and the consignee.

    Raises:
        Missing: ``row_missing`` if there is no such place.
        Refused: ``effect_not_drawn``, ``entry_missing``, ``entry_too_long``,
            ``entry_not_shown``.
        WrongStage: ``case_closed``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Answered:
        locking.enter_gate()  # who closes a case shuts it
        beside = ("check_of__case", "consignee__merged_into")
        found = EffectConsignee.objects.filter(pk=of_id).select_related(*beside)
        row = need_row(found)
        need_open_case(row.check_of.case.number)
        name = row.consignee.stays.name
        if not row.drawn:
            raise Refused("effect_not_drawn", name=name)
        who = need_text("name", said_by, LONGEST_SAID_BY)
        said = need_length("note", note, LONGEST_NOTE)
        yes = {"got": got, "understood": understood, "acted": acted}
        act.write(EffectAnswer(of=row, **yes, said_by=who, note=said))
        return Answered(row.check_of.case.number, name)

    return perform(
        "note_answer",
        work,
        Answered,
        sign,
        of=of_id,
        got=got,
        understood=understood,
        acted=acted,
        said_by=said_by,
        note=note,
    )
