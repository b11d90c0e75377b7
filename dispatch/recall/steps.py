"""Inner steps of a case: placing its holds, looking for boxes. They need the gate shut."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from typing import Any

from django.db.models import Q, Sum
from django.utils.text import Truncator

from dispatch.models import Case, CaseBox, CaseHold, CaseLook, ShipmentBox
from dispatch.recall.queries.cases import (
    closing_of,
    standing_holds_of,
    standing_targets,
)
from kitting.domain.errors import Conflict, Refused, WrongStage
from kitting.ledger import locking
from kitting.ledger.holds import hold_on
from kitting.ledger.needs import LONGEST_REASON, need_row
from kitting.ledger.operations import Act
from kitting.ledger.reach import Reach, held_boxes, reach_of
from kitting.ledger.standing import key_of
from kitting.models import Box, BoxLine, Hold

Target = tuple[str, int | str]
"""What a hold can stand on: one of ``TARGETS``, and its id or the name of a source."""


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
