"""Whom a case reaches: each consignee with its boxes, and who has them now."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import date
from operator import attrgetter
from typing import Any

from django.db.models import Prefetch, QuerySet
from django.utils import timezone

from dispatch.consignees.queries import ship_to
from dispatch.domain.needs import RequestStage
from dispatch.domain.notices import Outcome, Piece, telephones
from dispatch.models import (
    Case,
    CaseBox,
    CaseCall,
    Consignee,
    Letter,
    LetterSent,
    PassedOn,
    Replacement,
    Shipment,
    ShipmentBox,
)
from dispatch.recall.queries.cases import standing_holds_of
from kitting.domain.stages import GONE
from kitting.ledger.reach import held_boxes, reach_of
from kitting.models import Box, Operation, Workshop


@dataclass(frozen=True)
class Reached:
    """A box of a case, as one consignee has it or had it."""

    row: CaseBox
    """On the list of the case, with the box, its size and product, its look."""
    box: Box
    shipment: Shipment
    """The one that it left with."""
    asked_again: bool
    """Whether it came back unopened, so that the request that it served is open again."""
    replaced: str
    """Number of the request by which its consignee gets others; empty for none."""
    is_free: bool
    """Whether nothing of the scope holds it any more."""
    point: str = ""
    """The delivery point or ward at which it was left, or to which it came."""
    passed_to: Consignee | None = None
    """Whom this consignee passed it on to; None where it passed it on to nobody."""
    passed_by: Consignee | None = None
    """Who passed it on to this one; None where it came from the workshop."""
    came: Operation | None = None
    """By which act it was first said to be passed on to it; None where it came from there."""

    @property
    def sent_on(self) -> date | None:
        """On which day it left, in the zone in force."""
        at = self.shipment.sent_at
        return timezone.localdate(at) if at else None

    @property
    def is_back(self) -> bool:
        """Whether it came back to the workshop."""
        return self.box.stage not in GONE

    def was_told(self, call: CaseCall) -> bool:
        """Whether a call to its consignee was after it was listed, and known to be there."""
        acts = filter(None, (self.row.look.operation, self.came))
        return not any(call.was_before(act) for act in acts)

    @property
    def way_is_told(self) -> bool:
        """Whether anything is told of its way beside its serial."""
        return bool(self.passed_to or self.is_back or self.passed_by)

    @property
    def is_told(self) -> bool:
        """Whether that is, or that it is free again."""
        return self.way_is_told or self.is_free

    @property
    def is_there(self) -> bool:
        """Whether this consignee has it now, as far as anybody said."""
        return self.passed_to is None and not self.is_back


@dataclass(frozen=True)
class Whom:
    """A consignee that a case reaches."""

    consignee: Consignee
    boxes: tuple[Reached, ...]
    calls: tuple[CaseCall, ...] = ()
    """The newest first; what was undone is among them."""
    letters: tuple[Letter, ...] = ()
    """In the order in which they were made."""
    moved: frozenset[int] = frozenset()
    """Ids of those not sent yet that bear another address than it has now."""

    @property
    def by_day(self) -> list[Piece]:
        """Whom to call by day, with the numbers in it."""
        return telephones(self.consignee.contact)

    @property
    def at_night(self) -> list[Piece]:
        """Whom to call at night, with the numbers in it."""
        return telephones(self.consignee.night_contact)

    @property
    def there(self) -> list[Reached]:
        """The boxes that it has now."""
        return [box for box in self.boxes if box.is_there]

    @property
    def recalled(self) -> list[Reached]:
        """Its boxes that are not free again."""
        return [box for box in self.boxes if not box.is_free]

    @property
    def good_calls(self) -> list[CaseCall]:
        """Its calls that nobody undid, the newest first."""
        return [call for call in self.calls if not hasattr(call, "undone")]

    @property
    def last(self) -> CaseCall | None:
        """The newest of these."""
        return next(iter(self.good_calls), None)

    @property
    def written(self) -> bool:
        """Whether a letter was sent to it that did not come back."""
        return any(letter.sent for letter in self.letters)

    @property
    def reached(self) -> CaseCall | None:
        """The newest by which somebody was reached."""
        good = (call for call in self.good_calls if call.outcome == Outcome.REACHED)
        return next(good, None)

    @property
    def since(self) -> list[Reached]:
        """The boxes that were listed, or passed on to it, after somebody was reached."""
        if (call := self.reached) is None:
            return []
        return [box for box in self.recalled if not box.was_told(call)]

    @property
    def knows(self) -> bool:
        """Whether somebody was reached since the newest of its boxes was listed, or came."""
        return self.reached is not None and not self.since

    @property
    def is_to_call(self) -> bool:
        """Whether it has or had recalled boxes that nobody there was told of."""
        return bool(self.recalled) and not self.knows


def whom(case: Case) -> list[Whom]:
    """Give all whom a case reaches, in a number of queries that never grows.

    That is whoever has a box of its list, had it when a look found it, or passed it on;
    and whoever was called about it.

    Args:
        case: The case.

    Returns:
        Those of whom nobody was reached first: the ones that were never called, then
        those whose last call is longest ago. One that was merged is told as the other.
    """
    boxes: dict[int, dict[int, Reached]] = defaultdict(dict)
    people: dict[int, Consignee] = {}
    for consignee, reached in ways(case):
        stays = consignee.stays
        people[stays.pk] = stays
        # Where it came back to it: as it is now, and told since it was there at first.
        first = boxes[stays.pk].get(reached.box.pk, reached)
        boxes[stays.pk][reached.box.pk] = replace(reached, came=first.came)
    calls = defaultdict(list)
    for call in calls_of(case):
        stays = call.consignee.stays
        people[stays.pk] = stays
        calls[stays.pk].append(call)
    letters, every = defaultdict(list), list(letters_of(case))
    for letter in every:
        letters[letter.consignee.stays.pk].append(letter)
    away = moved(letter for letter in every if not letter.sent)
    found = [
        Whom(one, tuple(boxes[pk].values()), tuple(calls[pk]), tuple(letters[pk]), away)
        for pk, one in people.items()
    ]
    return sorted(found, key=_turn)


def _turn(one: Whom) -> tuple[bool, float, int, str, str]:
    last = (one.last.when.timestamp(), one.last.pk) if one.last else (0.0, 0)
    return not one.is_to_call, *last, one.consignee.name, one.consignee.code


def one_of(case: Case, consignee: Consignee) -> Whom | None:
    """Give one whom a case reaches.

    Args:
        case: The case.
        consignee: The consignee, or one that was merged with it.

    Returns:
        It, with its boxes; None where the case does not reach it.
    """
    those = (one for one in whom(case) if one.consignee == consignee.stays)
    return next(those, None)


def calls_of(case: Case) -> list[CaseCall]:
    """Give every call about a case, the newest first.

    Args:
        case: The case.

    Returns:
        The calls, each with its act, its consignee and what undid it.
    """
    beside = ("operation", "consignee__merged_into", "undone__operation")
    rows = case.calls.select_related(*beside)
    return sorted(rows, key=lambda call: (call.when, call.pk), reverse=True)


def letters_of(case: Case) -> QuerySet[Letter]:
    """Give the letters about a case.

    Args:
        case: The case.

    Returns:
        The letters in the order in which they were made, with how they went.
    """
    rows = Letter.objects.filter(case=case).order_by("pk")
    beside = ("operation", "case", "consignee__merged_into")
    sendings = LetterSent.objects.select_related("operation", "back__operation")
    return rows.select_related(*beside).prefetch_related(Prefetch("sendings", sendings))


def moved(letters: Iterable[Letter]) -> frozenset[int]:
    """Say whose consignee has another address by now than the letter bears.

    Args:
        letters: Letters with their consignees.

    Returns:
        Their ids.
    """
    rows = list(letters)
    home = Workshop.objects.values_list("country", flat=True).first() if rows else ""
    return frozenset(
        row.pk
        for row in rows
        if "\n".join(ship_to(row.consignee.stays, home or "").all) != row.address
    )


def told(case: Case) -> list[Consignee]:
    """Give the consignees that were told of a case.

    Args:
        case: The case.

    Returns:
        Those of whom somebody was reached by a call, or to whom a letter was sent, by
        name.
    """
    found = [one.consignee for one in whom(case) if one.reached or one.written]
    return sorted(found, key=attrgetter("name", "code"))


def replaced(case: Case) -> dict[int, str]:
    """Give the boxes of a case that are replaced.

    Args:
        case: The case.

    Returns:
        By id the number of the request; one that was cancelled replaces nothing.
    """
    rows = Replacement.standing().filter(listed__box__cases__case=case)
    return dict(rows.order_by("pk").values_list("listed__box", "request__number"))


def replaceable(whom: Whom) -> list[Reached]:
    """Give the boxes of a consignee for whose sets it can get others.

    Args:
        whom: The consignee, with its boxes of the case.

    Returns:
        Those that it did not pass on, that no request replaces, and of which none is
        open again by itself.
    """
    return [
        box
        for box in whom.recalled
        if not (box.passed_to or box.asked_again or box.replaced)
    ]


def ways(case: Case) -> Iterator[tuple[Consignee, Reached]]:
    """Give each box of a case with each consignee that it was with, in that order.

    Args:
        case: The case.

    Yields:
        The consignee, as it was called then, and the box.
    """
    already, held = replaced(case), _held(case)
    for row, load, way in _walks(case):
        more = {
            "replaced": already.get(row.box_id, ""),
            "is_free": row.box_id not in held,
        }
        yield from _along(row, load, way, more)


def ever_had(case: Case) -> set[int]:
    """Give the ids of the consignees that a box of a case was with."""
    more = {"replaced": "", "is_free": False}
    return {
        one.pk for walk in _walks(case) for one, _reached in _along(*walk, more=more)
    }


def _walks(case: Case) -> Iterator[tuple[CaseBox, ShipmentBox, list[PassedOn]]]:
    """Give each box that was with a consignee, how it left, and how it was passed on."""
    listed = CaseBox.objects.filter(case=case).order_by("pk")
    rows = list(listed.select_related("box__size__product", "look__operation"))
    ids = listed.order_by().values("box")
    to = ("shipment__consignee__merged_into", "request")
    live = ShipmentBox.objects.filter(box__in=ids, live=True).select_related(*to)
    loads = {load.box_id: load for load in live}
    passings: dict[tuple[int, int], list[PassedOn]] = defaultdict(list)
    given = ("operation", "giver__merged_into", "consignee__merged_into")
    for passed in (
        PassedOn.objects.filter(box__in=ids).select_related(*given).order_by("pk")
    ):
        passings[passed.box_id, passed.shipment_id].append(passed)
    for row in rows:
        load = loads.get(row.box_id)
        if load is not None and _had(row, load):
            yield row, load, passings[row.box_id, load.shipment_id]


def _held(case: Case) -> set[int]:
    """Ids of the boxes on its list that something of its scope holds."""
    reach = reach_of(standing_holds_of(case))
    boxes = CaseBox.objects.filter(case=case).order_by().values("box")
    found = Box.objects.filter(pk__in=boxes).filter(pk__in=held_boxes(reach))
    return set(found.order_by().values_list("pk", flat=True)) if reach else set()


def _had(row: CaseBox, load: ShipmentBox) -> bool:
    """Whether a box was with a consignee when it was found, or ever since."""
    sent = load.shipment.sent_at
    since = sent is not None and sent > row.look.operation.at
    return since or row.stage in GONE or row.box.stage in GONE


def _along(
    row: CaseBox, load: ShipmentBox, way: Iterable[PassedOn], more: dict[str, Any]
) -> Iterator[tuple[Consignee, Reached]]:
    has, point = load.shipment.consignee, load.shipment.point
    by: dict[str, Any] = {}
    told: dict[str, Any] = {
        "row": row,
        "box": row.box,
        "shipment": load.shipment,
        "asked_again": load.back
        and load.request is not None
        and load.request.stage != RequestStage.CANCELLED,
        **more,
    }
    for passed in way:
        to = passed.consignee
        if to.stays != has.stays:  # else from one ward of it to another
            yield has, Reached(**told, **by, point=point, passed_to=to)
            has, by = to, {"passed_by": has, "came": passed.operation}
        point = passed.point
    yield has, Reached(**told, **by, point=point)
