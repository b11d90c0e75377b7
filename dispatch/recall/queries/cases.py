"""What is read of cases: what they are about, the boxes they reached, what is to do."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import Any

from django.db.models import Count, Exists, FilteredRelation, OuterRef, Q, QuerySet
from django.utils import timezone

from dispatch.models import Case, CaseBox, CaseHold, CaseLook, Closing, ReplyTerm
from dispatch.trace.queries import place_of
from kitting.domain.stages import GONE, HERE, BoxStage
from kitting.ledger.reach import Reach, held_boxes, reach_of
from kitting.ledger.standing import Standing, key_of, shown, told_holds
from kitting.models import Bag, Box, Hold, Lift, Operation
from kitting.models.catalogue import PlaceKind
from kitting.models.holds import TARGETS


def standing_holds_of(case: Case) -> list[Hold]:
    """The holds of a case that nobody has lifted, oldest first.

    Args:
        case: The case.

    Returns:
        The holds: what they stand on is its scope.
    """
    return list(told_holds().filter(of_case__look__case=case))


def closing_of(case: Case) -> Closing | None:
    """The closing by which a case is closed.

    Args:
        case: The case.

    Returns:
        The closing with its act; None while the case is open.
    """
    standing = Closing.objects.filter(case=case, reopening__isnull=True)
    return standing.select_related("operation").first()


def due_on(case: Case) -> date | None:
    """Read by which day a case wants answers.

    Args:
        case: The case.

    Returns:
        The last day for them, in the zone in force; None where nobody set one.
    """
    rows = ReplyTerm.objects.filter(case=case).select_related("operation")
    term = rows.order_by("-pk").first()
    if term is None:
        return None
    return timezone.localdate(term.operation.at) + timedelta(days=term.days)


def is_closed(case: str) -> Exists:
    """Whether a row's case is closed.

    Args:
        case: The row's path to its case.

    Returns:
        The condition.
    """
    of = Closing.objects.filter(case=OuterRef(case), reopening__isnull=True)
    return Exists(of)


def standing_targets() -> dict[tuple[str, int | str], Standing]:
    """What the open cases have in their scope.

    Returns:
        Each thing as ``key_of`` names it, with its hold and the case that has it.
    """
    found = told_with_cases().filter(of_case__isnull=False)
    holds = list(found.exclude(is_closed("of_case__look__case")))
    return dict(zip(map(key_of, holds), shown_with_cases(holds), strict=True))


def told_with_cases() -> QuerySet[Hold]:
    """As ``told_holds``, each with the case that it belongs to, if it belongs to one.

    Returns:
        The holds.
    """
    return told_holds().select_related("of_case__look__case")


def shown_with_cases(holds: Iterable[Hold]) -> list[Standing]:
    """Holds as a page shows them, oldest first, each with its case.

    Args:
        holds: Some of ``told_with_cases``.

    Returns:
        The same holds.
    """
    holds = sorted(holds, key=lambda hold: hold.pk)
    return [
        replace(told, case=_case_of(hold))
        for told, hold in zip(shown(holds), holds, strict=True)
    ]


def _case_of(hold: Hold) -> str:
    belongs: CaseHold | None = getattr(hold, "of_case", None)
    return "" if belongs is None else belongs.look.case.number


def every_case(*, holding: bool = False) -> list[Case]:
    """Every case, the newest first, with its act and how many boxes it reached.

    Args:
        holding: Whether only open ones are asked for that hold something now.

    Returns:
        The cases, each with whether it ``is_over`` and anything ``stands`` in its scope.
    """
    holds = CaseHold.objects.filter(look__case=OuterRef("pk"), hold__lift__isnull=True)
    found = Case.objects.select_related("operation").order_by("-pk")
    found = found.annotate(reached=Count("boxes"), stands=Exists(holds))
    found = found.annotate(is_over=is_closed("pk"))
    return list(found.filter(stands=True, is_over=False) if holding else found)


@dataclass(frozen=True)
class Scoped:
    """Something that a case is about, or was."""

    hold: Standing
    number: str
    """What a recall lookup finds it by; empty for what has no number of its own."""
    why: str
    """Why it came into the scope."""
    lifted: Operation | None
    """The act that took it out; None while it is in."""
    reason: str
    """Why it was taken out."""


@dataclass(frozen=True)
class Listed:
    """A box on the list of a case: as it was found, and as it is now."""

    box: int
    serial: str
    sets: int
    stage: str
    pieces: int
    shipment: str
    consignee: str
    listed: datetime
    nth: int
    """The look that found it; beyond the first it is an addition."""
    now: str
    """Its stage now."""
    place: str
    """Where it stands, where it is here."""
    in_quarantine: bool
    on: str
    """The shipment that it is on and has not left with."""
    goes_to: str
    """The consignee of that shipment."""
    pallet: str
    has_it: str
    """Who has it now; empty where nobody does."""
    whom: int | None
    """The consignee that has it, with whom it was merged counted as one."""
    held: bool
    """Whether it is still within the scope."""

    @property
    def here(self) -> bool:
        """Whether it is in the workshop, or came back to it."""
        return self.now in HERE

    @property
    def is_stopped(self) -> bool:
        """Whether it is here and the case stops it."""
        return self.held and self.here

    @property
    def is_free(self) -> bool:
        """Whether nothing of the scope holds it any more."""
        return not self.held and self.now != BoxStage.VOIDED

    @property
    def to_take_off(self) -> bool:
        """Whether it is on a shipment that is not sent, and must not go."""
        return self.held and self.now == BoxStage.LOADED

    @property
    def to_bring(self) -> bool:
        """Whether it is here, on no shipment, and not in quarantine yet."""
        loose = self.here and self.now != BoxStage.LOADED
        return self.held and loose and not self.in_quarantine


@dataclass(frozen=True)
class Whole:
    """All that the page of a case says."""

    case: Case
    looks: list[CaseLook]
    scope: list[Scoped]
    boxes: list[Listed]
    bags: list[Bag]
    """In its scope, with something in them."""

    @property
    def standing(self) -> list[Scoped]:
        """What is in its scope now."""
        return [each for each in self.scope if each.lifted is None]

    @property
    def consignees(self) -> int:
        """How many consignees have boxes now that it still recalls."""
        return len({box.whom for box in self.gone if box.whom})

    @property
    def gone(self) -> list[Listed]:
        """Boxes that consignees have now and that it still recalls."""
        return [box for box in self.boxes if box.held and box.now in GONE]

    @property
    def here(self) -> list[Listed]:
        """Boxes that are here now and that it still recalls."""
        return [box for box in self.boxes if box.is_stopped]

    @property
    def voided(self) -> list[Listed]:
        """Boxes of which all pieces were scrapped, or that were cancelled."""
        return [box for box in self.boxes if box.now == BoxStage.VOIDED]

    @property
    def free(self) -> list[Listed]:
        """Boxes that nothing of its scope holds any more."""
        return [box for box in self.boxes if box.is_free]

    @property
    def quarantined(self) -> list[Listed]:
        """Those of them that are in quarantine."""
        return [box for box in self.here if box.in_quarantine]

    @property
    def to_take_off(self) -> list[Listed]:
        """Boxes that must come off their shipment."""
        return [box for box in self.boxes if box.to_take_off]


def is_quarantine(bag: Bag) -> bool:
    """Whether a bag stands in quarantine.

    Args:
        bag: The bag with its place.
    """
    return bag.place is not None and bag.place.kind == PlaceKind.QUARANTINE


def whole(case: Case) -> Whole:
    """Read all that the page of a case says, in a number of queries that never grows.

    Args:
        case: The case.
    """
    scope = _scope(case)
    standing = standing_holds_of(case)
    reach = reach_of(standing)
    bags = Bag.objects.filter(reach.of_bags, pieces__gt=0).order_by("pk")
    looks = case.looks.select_related("operation").order_by("nth")
    return Whole(
        case=case,
        looks=list(looks.annotate(found=Count("boxes"))),
        scope=scope,
        boxes=boxes_of(case, reach),
        bags=list(bags.select_related("lot__part", "place")) if standing else [],
    )


def _scope(case: Case) -> list[Scoped]:
    names = [f"hold__{name}" for name in TARGETS if name != "source"]
    rows = CaseHold.objects.filter(look__case=case).order_by("pk")
    rows = rows.select_related(
        "look", "hold__operation", "hold__lift__operation", *names
    )
    found = []
    for row in rows:
        lift: Lift | None = getattr(row.hold, "lift", None)
        [hold] = shown([row.hold])
        its = row.hold.lot or row.hold.bag or row.hold.run or row.hold.box
        done = (lift.operation, lift.reason) if lift else (None, "")
        found.append(Scoped(hold, str(its or ""), row.look.reason, *done))
    return found


def boxes_of(case: Case, reach: Reach) -> list[Listed]:
    """Read the list of a case, each box as it was found and as it is now.

    Args:
        case: The case.
        reach: What its standing holds reach.

    Returns:
        The boxes, in the order in which they came onto it.
    """
    live = Q(box__shipment_boxes__live=True)
    to = ("consignee_id", "consignee__merged_into_id", "consignee__name")
    rows = list(
        CaseBox.objects.filter(case=case)
        .annotate(load=FilteredRelation("box__shipment_boxes", condition=live))
        .order_by("look__nth", "pk")
        .values(
            *("box_id", "stage", "pieces", "operation__at", "look__nth"),
            *("shipment__number", "consignee__name"),
            *("box__number", "box__serial", "box__stage", "box__size__sets"),
            *("box__place__name", "box__place__kind", "box__bench__place__name"),
            *("load__shipment__number", "load__pallet__number"),
            *(f"load__shipment__{name}" for name in to),
            *(f"load__passed__{name}" for name in to),
        )
    )
    held = Box.objects.filter(
        pk__in=CaseBox.objects.filter(case=case).values("box")
    ).filter(pk__in=held_boxes(reach))
    within = set(held.values_list("pk", flat=True)) if reach else set()
    return [_box(row, held=row["box_id"] in within) for row in rows]


def _box(row: Mapping[str, Any], *, held: bool) -> Listed:
    now = row["box__stage"]
    has = "passed" if row["load__passed__consignee_id"] else "shipment"
    merged = row[f"load__{has}__consignee__merged_into_id"]
    in_quarantine = row["box__place__kind"] == PlaceKind.QUARANTINE
    loaded = now == BoxStage.LOADED
    return Listed(
        box=row["box_id"],
        serial=row["box__serial"] or row["box__number"],
        sets=row["box__size__sets"],
        stage=row["stage"],
        pieces=row["pieces"],
        shipment=row["shipment__number"] or "",
        consignee=row["consignee__name"] or "",
        listed=row["operation__at"],
        nth=row["look__nth"],
        now=now,
        place=place_of(row),
        in_quarantine=now in HERE and in_quarantine,
        on=row["load__shipment__number"] if loaded else "",
        goes_to=row["load__shipment__consignee__name"] if loaded else "",
        pallet=(row["load__pallet__number"] or "") if loaded else "",
        has_it=(row[f"load__{has}__consignee__name"] or "") if now in GONE else "",
        whom=merged or row[f"load__{has}__consignee_id"],
        held=held,
    )
