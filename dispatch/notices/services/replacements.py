"""Boxes of a case are replaced: their consignee gets as many sets by requests."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection
from dataclasses import asdict, dataclass, replace

from dispatch.domain.needs import Asked
from dispatch.models import Case, CaseBox, Replacement
from dispatch.notices.queries.whom import replaceable, replaced
from dispatch.notices.steps import need_whom
from dispatch.requests.steps import take_down
from kitting.domain.errors import Conflict, Refused
from kitting.ledger import locking
from kitting.ledger.needs import need_row
from kitting.ledger.operations import Act, Sign, perform
from kitting.models import Box


@dataclass(frozen=True)
class Replaced:
    """Boxes that are replaced."""

    case: str
    consignee: str
    requests: list[str]
    """One for each product."""
    sets: int


def replace_boxes(
    *,
    number: str,
    consignee_id: int,
    box_ids: Collection[int],
    asked: Asked,
    sign: Sign,
) -> Replaced:
    """Take down requests for the sets of boxes that a consignee sends back or destroys.

    A box is replaced once. When it comes back unopened after that, the request that it
    served is not open again while this one stands: it is in its place.

    Args:
        number: The case.
        consignee_id: Who has the boxes, or had those that came back.
        box_ids: The boxes.
        asked: How much they are needed and how it was asked; its sets are those of the
            boxes, and its note names the case.
        sign: Who, when and the operation key.

    Returns:
        The requests.

    Raises:
        Conflict: ``box_replaced`` already, by a request that was not cancelled, or of
            which a box had left.
        Missing: If there is no such case, consignee or box.
        Refused: ``case_not_there``, ``boxes_missing``, ``box_not_replaced`` of one that
            another consignee has, or whose own request is open again since it came back
            unopened; as for a request.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Replaced:
        case = need_row(Case.objects.filter(number=number))
        if not box_ids:
            raise Refused("boxes_missing")
        boxes = locking.lock_rows(Box, box_ids, "size__product")
        whom = need_whom(case, consignee_id)
        offered = {each.box.pk: each.row for each in replaceable(whom)}
        already = replaced(case)
        of: dict[int, list[CaseBox]] = defaultdict(list)
        for pk, box in boxes.items():
            if pk in already:
                raise Conflict("box_replaced", box=str(box), request=already[pk])
            if pk not in offered:
                name = whom.consignee.name
                raise Refused("box_not_replaced", box=str(box), consignee=name)
            of[box.size.product_id].append(offered[pk])
        note = f"Replacement, case {case.number}"
        taken = []
        for product, rows in sorted(of.items()):
            sets = sum(boxes[row.box_id].size.sets for row in rows)
            said = replace(asked, sets=sets, note=note)
            request = take_down(act, whom.consignee.pk, product, said)
            act.write(*(Replacement(listed=row, request=request) for row in rows))
            taken.append(request)
        numbers = [request.number for request in taken]
        sets = sum(request.sets for request in taken)
        return Replaced(case.number, whom.consignee.name, numbers, sets)

    return perform(
        "replace_boxes",
        work,
        Replaced,
        sign,
        case=number,
        consignee=consignee_id,
        boxes=sorted(box_ids),
        **asdict(asked),
    )
