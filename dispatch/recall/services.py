"""Recall cases: opened with holds and a list of boxes, widened, looked for again."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from dispatch.models import Case, CaseBox, Sought
from dispatch.recall.steps import (
    Target,
    bench_place,
    come_off,
    is_in_quarantine,
    lock_of_case,
    look,
    need_open_case,
    need_scope,
    opened,
)
from kitting.domain.errors import Refused
from kitting.domain.stages import GONE, HERE
from kitting.ledger import locking
from kitting.ledger.needs import need_reason
from kitting.ledger.operations import Act, Sign, perform
from kitting.models import Box
from kitting.models.catalogue import PlaceKind
from kitting.places.steps import place_at_the_gate, put_alone, stand_box


@dataclass(frozen=True)
class Looked:
    """What a case found when it was opened, widened, or looked again."""

    case: str
    holds: int
    """Holds that were placed."""
    boxes: int
    """Boxes that came onto its list."""
    here: int
    """Of those, in the workshop, or back in it."""
    gone: int
    """Of those, with a consignee."""


def open_case(
    *,
    scope: Sequence[Target],
    hazard: str,
    reason: str,
    sign: Sign,
    rated: str = "",
) -> Looked:
    """Open a case: hold all that it is about, and list every box that it reaches.

    Args:
        scope: What it is about: what holds can stand on, at least one.
        hazard: What it can do to whom.
        reason: Why it is opened, such as who called.
        sign: Who, when and the operation key.
        rated: The class under local law, as whoever opens it decides; may be empty.

    Returns:
        The case and what it found; a case may reach no box at all.

    Raises:
        Conflict: ``case_has_it`` where another case has one of them in its scope.
        Missing: ``row_missing`` if there is no such thing.
        Refused: ``scope_missing``, ``hazard_missing``, ``reason_missing``,
            ``entry_too_long``, ``entry_not_shown``, ``hold_target_unknown``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Looked:
        return looked(*opened(act, scope, hazard=hazard, reason=reason, rated=rated))

    return perform(
        "open_case",
        work,
        Looked,
        sign,
        scope=[list(each) for each in scope],
        hazard=hazard,
        reason=reason,
        rated=rated,
    )


def widen_case(
    *, number: str, scope: Sequence[Target], reason: str, sign: Sign
) -> Looked:
    """Bring more into the scope of a case, and look for boxes again.

    Args:
        number: The case.
        scope: What comes in, at least one.
        reason: Why.
        sign: Who, when and the operation key.

    Returns:
        What it found beyond its list.

    Raises:
        Conflict: ``case_has_it`` where this case or another has it in its scope.
        Missing: ``row_missing`` if there is no such case or thing.
        Refused: ``scope_missing``, ``reason_missing``, ``entry_too_long``,
            ``entry_not_shown``, ``hold_target_unknown``.
        WrongStage: ``case_closed``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Looked:
        locking.shut_gate()
        case = need_open_case(number)
        targets, why = need_scope(scope), need_reason(reason)
        return looked(case, *look(act, case, why, targets))

    sent = [list(each) for each in scope]
    return perform(
        "widen_case", work, Looked, sign, case=number, scope=sent, reason=reason
    )


def look_again(*, number: str, sign: Sign) -> Looked:
    """Look for boxes that a case reaches and that are not on its list.

    Args:
        number: The case.
        sign: Who, when and the operation key.

    Returns:
        What it found; that there was nothing is on record as well.

    Raises:
        Missing: If there is no such case.
        WrongStage: ``case_closed``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Looked:
        locking.shut_gate()
        case = need_open_case(number)
        return looked(case, *look(act, case, "", ()))

    return perform("look_again", work, Looked, sign, case=number)


def looked(case: Case, holds: int, boxes: Collection[CaseBox]) -> Looked:
    """Say what a look of a case found.

    Args:
        case: The case.
        holds: How many holds it placed.
        boxes: What came onto its list.

    Returns:
        The outcome of its act.
    """
    return Looked(
        case=case.number,
        holds=holds,
        boxes=len(boxes),
        here=sum(box.stage in HERE for box in boxes),
        gone=sum(box.stage in GONE for box in boxes),
    )


@dataclass(frozen=True)
class Brought:
    """A bag or box of a case that stands in quarantine."""

    case: str
    kind: str
    """Box or bag."""
    thing: str
    """Its number."""
    place: str
    """Name of the quarantine."""
    moved: bool
    """False if it stood in quarantine already."""
    at: str = ""
    """Name of the place where it was on record."""
    bench: str = ""
    """The bench at which the bag was open, or the box in work."""
    off: str = ""
    """The shipment that it came off."""
    pallet: str = ""
    """The pallet that it came off."""
    carrier: str = ""
    """The carrier that it came off."""


def bring_in(
    *,
    number: str,
    kind: str,
    thing_id: int,
    place_id: int,
    sign: Sign,
    may_unload: bool = True,
) -> Brought:
    """Bring a bag or box of a case into quarantine, off whatever it is on.

    A box comes off a shipment that is not sent and off its pallet, one in work off its
    bench, an open bag off its bench, any bag off its carrier.

    Args:
        number: The case.
        kind: Whether it is a ``box`` or a ``bag``.
        thing_id: Its id.
        place_id: The quarantine.
        sign: Who, when and the operation key.
        may_unload: Whether this person may take boxes off shipments.

    Returns:
        The thing, and where it was.

    Raises:
        Conflict: ``page_is_old`` if the place became another kind meanwhile.
        Missing: ``row_missing`` if there is no such case, thing or place.
        Refused: ``not_of_case``, ``not_of_case_any_more``; ``not_quarantine``,
            ``place_closed``; ``case_box_left``, ``bag_is_used_up``;
            ``case_box_loaded`` where this person may not take it off its shipment.
        WrongStage: ``case_closed``; ``bag_on_the_line``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Brought:
        place = place_at_the_gate(place_id)
        if place.kind != PlaceKind.QUARANTINE:
            raise Refused("not_quarantine", place=place.name)
        case = need_open_case(number)
        thing = lock_of_case(case, kind, thing_id)
        said = {"case": number, "kind": kind, "thing": str(thing)}
        if is_in_quarantine(thing):
            there = thing.place.name if thing.place else ""
            return Brought(**said, place=there, moved=False)
        at = thing.place or bench_place(thing)
        off = come_off(act, thing, may_unload=may_unload)
        _holds, moves = (
            stand_box(thing, place)
            if isinstance(thing, Box)
            else put_alone(thing, place)
        )
        act.write(*moves, Sought(case=case, at=at, into=place, **{kind: thing}))
        was = at.name if at else ""
        return Brought(**said, place=place.name, moved=True, at=was, **vars(off))

    return perform(
        "bring_in",
        work,
        Brought,
        sign,
        case=number,
        kind=kind,
        thing=thing_id,
        place=place_id,
    )


@dataclass(frozen=True)
class NotFound:
    """A bag or box of a case that somebody looked for in vain."""

    case: str
    thing: str


def note_not_found(
    *, number: str, kind: str, thing_id: int, reason: str, sign: Sign
) -> NotFound:
    """Say of a bag or box of a case that it is not where the record says.

    It stays in the list of what is to be brought in; a scan brings it in once it turns up.

    Args:
        number: The case.
        kind: Whether it is a ``box`` or a ``bag``.
        thing_id: Its id.
        reason: Where it was looked for.
        sign: Who, when and the operation key.

    Returns:
        The thing.

    Raises:
        Missing: ``row_missing`` if there is no such case or thing.
        Refused: ``not_of_case``, ``not_of_case_any_more``, ``case_box_left``;
            ``is_in_quarantine``; ``reason_missing``, ``entry_too_long``,
            ``entry_not_shown``.
        WrongStage: ``case_closed``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> NotFound:
        locking.enter_gate()
        case = need_open_case(number)
        why = need_reason(reason)
        thing = lock_of_case(case, kind, thing_id)
        if is_in_quarantine(thing):
            place = thing.place.name if thing.place else ""
            raise Refused("is_in_quarantine", thing=str(thing), place=place)
        at = thing.place or bench_place(thing)
        act.write(Sought(case=case, at=at, reason=why, **{kind: thing}))
        return NotFound(case=number, thing=str(thing))

    return perform(
        "note_not_found",
        work,
        NotFound,
        sign,
        case=number,
        kind=kind,
        thing=thing_id,
        reason=reason,
    )
