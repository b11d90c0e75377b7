"""Inner steps of a case: placing its holds, looking for boxes, bringing things in."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Q, Sum
from django.utils.text import Truncator

from dispatch.domain.receipts import MINUTE
from dispatch.models import Case, CaseBox, CaseHold, CaseLook, Pallet, ShipmentBox
from dispatch.models.cases import LONGEST_CLASS, LONGEST_HAZARD
from dispatch.pallets.labels import prints_of
from dispatch.pallets.steps import pallet_of, unstack
from dispatch.recall.queries.cases import (
    closing_of,
    standing_holds_of,
    standing_targets,
)
from dispatch.shipments.steps import lock_open_shipment, take_off
from kitting.domain.errors import Conflict, Refused, WrongStage
from kitting.domain.numbers import Kind
from kitting.domain.stages import GONE, BoxStage
from kitting.ledger import locking
from kitting.ledger.counters import take
from kitting.ledger.holds import hold_on
from kitting.ledger.needs import (
    LONGEST_REASON,
    need_length,
    need_reason,
    need_row,
    need_text,
)
from kitting.ledger.operations import Act
from kitting.ledger.reach import Reach, held_boxes, reach_of
from kitting.ledger.standing import key_of
from kitting.models import Bag, Box, BoxLine, Hold, OpenBag, Place
from kitting.models.catalogue import PlaceKind
from kitting.printing.steps import stop_jobs

Target = tuple[str, int | str]
"""What a hold can stand on: one of ``TARGETS``, and its id or the name of a source."""


def opened(
    act: Act, scope: Iterable[Target], *, hazard: str, reason: str, rated: str
) -> tuple[Case, int, list[CaseBox]]:
    """Open a case and let it look; it shuts the gate.

    Args:
        act: The act.
        scope: What it is about.
        hazard: What it can do to whom.
        reason: Why it is opened.
        rated: The class under local law; may be empty.

    Returns:
        The case, how many holds were placed, and the boxes that it reaches.

    Raises:
        Conflict: ``case_has_it``.
        Missing: ``row_missing``.
        Refused: As ``open_case``.
    """
    locking.shut_gate()
    targets = need_scope(scope)
    what = need_text("hazard", hazard, LONGEST_HAZARD, missing="hazard_missing")
    why = need_reason(reason)
    level = need_length("class", rated, LONGEST_CLASS)
    # Early, since its holds name it; nobody else takes one while the gate is shut.
    number = take(act.workshop.site, Kind.CASE)[0]
    case = Case(number=number, hazard=what, rated=level)
    act.write(case)
    return case, *look(act, case, why, targets)


def look(
    act: Act, case: Case, reason: str, scope: Collection[Target]
) -> tuple[int, list[CaseBox]]:
    """Let a case look for boxes, with holds on what comes into its scope.

    Args:
        act: The act.
        case: The case, written.
        reason: Why it is opened or widened; empty where it only looks again.
        scope: What comes in.

    Returns:
        How many holds were placed, and the boxes that were not on its list.

    Raises:
        Conflict: ``case_has_it``.
        Missing: ``row_missing``.
        Refused: ``hold_target_unknown``.
    """
    row = CaseLook(case=case, nth=case.looks.count() + 1, reason=reason)
    act.write(row)
    holds = _hold(act, row, case, scope)
    found = found_now(case)
    boxes = [CaseBox(case=case, look=row, **values) for values in found]
    act.write(*boxes)
    return len(holds), boxes


def need_open_case(number: str) -> Case:
    """Need a case that is open; needs the gate entered or shut, so that it stays so.

    Args:
        number: The case.

    Returns:
        The case.

    Raises:
        Missing: ``row_missing`` if there is no such case.
        WrongStage: ``case_closed``.
    """
    case = need_row(Case.objects.filter(number=number))
    if closing := closing_of(case):
        raise WrongStage("case_closed", case=number, by=closing.operation.by_name)
    return case


def need_when(act: Act, case: Case, when: datetime | None) -> datetime | None:
    """Need that something about a case was said in its time.

    Args:
        act: The act by which it is noted.
        case: The case.
        when: When it was said, to the minute; None for now.

    Returns:
        The same.

    Raises:
        Refused: ``said_before_case``, ``said_later``.
    """
    if when is None:
        return None
    if when > act.now:
        raise Refused("said_later")
    if when + MINUTE <= case.operation.at:
        raise Refused("said_before_case", case=case.number)
    return when


def refuse_in_another(holds: Iterable[Hold]) -> None:
    """Refuse holds on what is in the scope of an open case.

    Args:
        holds: Holds of a case that is not open, or about to be written.

    Raises:
        Conflict: ``case_has_it``; the first is named.
    """
    known = standing_targets()
    for hold in holds:
        if other := known.get(key_of(hold)):
            raise Conflict("case_has_it", on=other.on, case=other.case, by=other.by)


def need_scope(scope: Iterable[Target]) -> list[Target]:
    """Need at least one target; one that comes twice counts once.

    Args:
        scope: The targets.

    Returns:
        Each once.

    Raises:
        Refused: ``scope_missing``.
    """
    once = list(dict.fromkeys(scope))
    if not once:
        raise Refused("scope_missing")
    return once


def _hold(
    act: Act, row: CaseLook, case: Case, scope: Collection[Target]
) -> Sequence[Hold]:
    """Place a hold on each; whoever meets it reads the case and the hazard."""
    said = f"Case {case.number}: {case.hazard}"
    reason = Truncator(" ".join(said.split())).chars(LONGEST_REASON)
    holds = [hold_on(target, value, reason) for target, value in scope]
    refuse_in_another(holds)
    act.write(*holds)
    act.write(*(CaseHold(look=row, hold=hold) for hold in holds))
    return holds


def found_now(case: Case) -> list[dict[str, Any]]:
    """Find the boxes within reach of a case that are not on its list, and lock them.

    Args:
        case: The case.

    Returns:
        What is to be listed of each, as it is now.
    """
    reach = reach_of(standing_holds_of(case))
    listed = CaseBox.objects.filter(case=case).values("box")
    there = Box.objects.filter(pk__in=held_boxes(reach)).exclude(pk__in=listed)
    boxes = locking.lock_found(there)
    pieces, loads = _pieces(reach), _loads(reach)
    return [
        {
            "box": box,
            "stage": box.stage,
            "pieces": pieces[box.pk],
            "shipment_id": loads[box.pk][0],
            "consignee_id": loads[box.pk][1],
        }
        for box in boxes
        # What was in it may have come out while it was waited for.
        if pieces[box.pk] or box.pk in reach.boxes
    ]


def _pieces(reach: Reach) -> Mapping[int, int]:
    held = Q(lot__in=reach.lots) | Q(bag__in=reach.bags) | Q(run__in=reach.runs)
    lines = BoxLine.objects.filter(held | Q(box__in=reach.boxes)).order_by()
    sums = lines.values_list("box").annotate(pieces=Sum("pieces"))
    return defaultdict(int, sums)


def _loads(reach: Reach) -> Mapping[int, tuple[int | None, int | None]]:
    """Of each box the shipment that it is or was on, and who has it or is to get it."""
    live = ShipmentBox.objects.filter(live=True, box__in=held_boxes(reach))
    who = ("shipment__consignee_id", "passed__consignee_id")
    found = live.order_by().values_list("box_id", "shipment_id", *who)
    loads: dict[int, tuple[int | None, int | None]] = defaultdict(lambda: (None, None))
    loads |= {box: (shipment, to or whom) for box, shipment, whom, to in found}
    return loads


def lock_of_case(case: Case, kind: str, thing_id: int) -> Box | Bag:
    """Lock a bag or box that a case holds and that is here.

    Args:
        case: The case.
        kind: Whether it is a ``box`` or a ``bag``.
        thing_id: Its id.

    Returns:
        The thing, with its place.

    Raises:
        Missing: ``row_missing``.
        Refused: ``not_of_case``; ``not_of_case_any_more`` of a box on its list that it
            holds no more; ``case_box_left``.
    """
    reach = reach_of(standing_holds_of(case))
    thing: Box | Bag
    if kind == "bag":
        thing = locking.lock_row(Bag, thing_id, "place", "carrier")
        held = reach.bag(thing)
    else:
        thing = locking.lock_row(Box, thing_id, "place", "bench__place")
        held = reach.why_box(thing, thing.lines.all()) is not None
    if not held:
        was = isinstance(thing, Box) and case.boxes.filter(box=thing).exists()
        code = "not_of_case_any_more" if was else "not_of_case"
        raise Refused(code, thing=str(thing), case=case.number)
    if isinstance(thing, Box) and thing.stage in GONE:
        raise Refused("case_box_left", box=str(thing), stage=thing.stage)
    return thing


def is_in_quarantine(thing: Box | Bag) -> bool:
    """Whether a thing stands in quarantine, and on no shipment.

    Args:
        thing: The thing, with its place.
    """
    there = thing.place is not None and thing.place.kind == PlaceKind.QUARANTINE
    return there and thing.stage != BoxStage.LOADED


def bench_place(thing: Box | Bag) -> Place | None:
    """The place of the bench at which a box is in work; None for what is elsewhere."""
    if isinstance(thing, Box) and thing.in_work and thing.bench is not None:
        return thing.bench.place
    return None


@dataclass(frozen=True)
class Off:
    """What a thing came off on its way to quarantine."""

    bench: str = ""
    off: str = ""
    pallet: str = ""
    carrier: str = ""


def come_off(act: Act, thing: Box | Bag, *, may_unload: bool) -> Off:
    """See what a locked thing of a case is on, and take a box off its shipment and pallet.

    Args:
        act: The act; what happens is written.
        thing: The thing. A bag comes off carrier and bench as it is put away.
        may_unload: Whether this person may take boxes off shipments.

    Returns:
        What it came off, or is about to.

    Raises:
        Refused: ``case_box_loaded``.
    """
    if isinstance(thing, Bag):
        opened = OpenBag.objects.filter(bag=thing).select_related("bench").first()
        carrier = thing.carrier.number if thing.carrier else ""
        return Off(bench=str(opened.bench) if opened else "", carrier=carrier)
    bench = str(thing.bench) if thing.in_work else ""
    stands = pallet_of(thing)
    pallet = None if stands is None else locking.lock_row(Pallet, stands.pk)
    named = pallet.number if pallet else ""
    if thing.stage == BoxStage.LOADED:
        load = ShipmentBox.objects.select_related("shipment").get(box=thing, live=True)
        if not may_unload:
            on = load.shipment.number
            raise Refused("case_box_loaded", box=str(thing), shipment=on)
        shipment = lock_open_shipment(load.shipment_id)
        take_off(shipment, thing, act, pallet)
        return Off(bench, shipment.number, named)
    if pallet is not None:
        act.write(*unstack(pallet, [thing]))
        stop_jobs(prints_of([pallet.pk]), act.now)
    return Off(bench, pallet=named)
