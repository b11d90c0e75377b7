"""Inner steps of replies: what may be said of the boxes of a case, and its rows."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence

from dispatch.consignees.steps import need_consignee
from dispatch.domain.receipts import MINUTE
from dispatch.domain.replies import LONGEST, Answer, Line
from dispatch.models import (
    CaseBox,
    Consignee,
    Reply,
    ReplyBox,
    Shipment,
    ShipmentBox,
)
from dispatch.receipts.steps import pass_boxes
from dispatch.replies.queries.accounts import newest_about, out_of
from dispatch.replies.words import WAYS
from kitting.domain.errors import Conflict, Refused
from kitting.domain.stages import GONE
from kitting.ledger import locking
from kitting.ledger.clock import day_of
from kitting.ledger.needs import need_length, need_text
from kitting.ledger.operations import Act
from kitting.models import Box


def keep_reply(act: Act, reply: Reply, lines: Sequence[Line], seen: int) -> None:
    """See that what is said of boxes can be so, and write it.

    Args:
        act: The act.
        reply: Of which case, whose, how and by whom; not yet written.
        lines: What became of all sets that are out of each box.
        seen: The newest reply of the case that whoever says so knew of; 0 for none.

    Raises:
        Conflict: ``answered_since``.
        Missing: If there is no such box or consignee.
        Refused: ``answers_missing``, ``box_not_theirs``, ``sets_not_all``,
            ``said_before_box``,
            ``whom_missing``, ``entry_missing``, ``entry_too_long``; ``answer_older``
            than one on record about the same boxes; as for ``pass_boxes``.
    """
    if not lines:
        raise Refused("answers_missing")
    boxes = locking.lock_rows(Box, {line.box_id for line in lines}, "size")
    to = _lock_named(lines)
    loads = _need_theirs(reply, boxes)
    _need_newest(reply, boxes, seen)
    _need_later(reply, boxes)
    _need_all(boxes, lines)
    reply.told_by = need_text("name", reply.told_by, LONGEST["told_by"])
    reply.note = need_length("note", reply.note, LONGEST["note"])
    act.write(reply)
    act.write(*(_row(reply, line, to) for line in lines))
    _pass_on(act, reply, boxes, lines, (to, loads))


def _lock_named(lines: Iterable[Line]) -> dict[int, Consignee]:
    ids = sorted({line.consignee_id for line in lines if line.consignee_id})
    return {pk: need_consignee(pk) for pk in ids}


def _need_theirs(reply: Reply, boxes: Mapping[int, Box]) -> dict[int, ShipmentBox]:
    """How each box got to the consignee, which has all of them now."""
    listed = CaseBox.objects.filter(case=reply.case, box__in=boxes)
    on_it = dict(listed.values_list("box", "look__operation__at"))
    beside = ("shipment__consignee__merged_into", "passed__consignee__merged_into")
    live = ShipmentBox.objects.filter(live=True, box__in=boxes).select_related(*beside)
    loads = {load.box_id: load for load in live}
    for pk, box in boxes.items():
        load = loads.get(pk)
        if (
            load is None
            or pk not in on_it
            or box.stage not in GONE
            or _has(load) != (reply.consignee.stays)
        ):
            raise Refused(
                "box_not_theirs",
                box=str(box),
                name=reply.consignee.name,
                case=reply.case.number,
            )
        if reply.said_at is not None and reply.said_at + MINUTE <= on_it[pk]:
            raise Refused("said_before_box", box=str(box))
    return loads


def _has(load: ShipmentBox) -> Consignee:
    return (load.passed or load.shipment).consignee.stays


def _need_newest(reply: Reply, boxes: Mapping[int, Box], seen: int) -> None:
    newest = newest_about(boxes, reply.case, reply.consignee)
    if newest > seen:
        line = ReplyBox.objects.filter(reply=newest, box__in=boxes).earliest("box")
        raise Conflict(
            "answered_since",
            box=str(boxes[line.box_id]),
            told_by=line.reply.told_by,
            by=line.reply.operation.by_name,
        )


def _need_later(reply: Reply, boxes: Mapping[int, Box]) -> None:
    """What was said before the newest answer on record does not count instead of it."""
    newest = newest_about(boxes, reply.case, reply.consignee)
    if newest and reply.said_at is not None:
        known = Reply.objects.select_related("operation").get(pk=newest)
        if reply.said_at < known.when.replace(second=0, microsecond=0):
            raise Refused("answer_older", told_by=known.told_by)


def _need_all(boxes: Mapping[int, Box], lines: Iterable[Line]) -> None:
    said: Counter[int] = Counter()
    for line in lines:
        said[line.box_id] += line.sets
    out = out_of(boxes, {pk: box.size.sets for pk, box in boxes.items()})
    for pk, box in boxes.items():
        if said[pk] != out[pk]:
            raise Refused("sets_not_all", box=str(box), sets=said[pk], out=out[pk])


def _row(reply: Reply, line: Line, to: Mapping[int, Consignee]) -> ReplyBox:
    known = to.get(line.consignee_id or 0)
    whom = known.name if known else line.whom
    if line.answer == Answer.PASSED:
        whom = need_text("whom", whom, LONGEST["whom"], missing="whom_missing")
    return ReplyBox(
        reply=reply,
        box_id=line.box_id,
        answer=Answer(line.answer),
        sets=line.sets,
        whom=whom if line.answer == Answer.PASSED else "",
        consignee=known if line.answer == Answer.PASSED else None,
    )


def _pass_on(
    act: Act,
    reply: Reply,
    boxes: Mapping[int, Box],
    lines: Iterable[Line],
    at: tuple[Mapping[int, Consignee], Mapping[int, ShipmentBox]],
) -> None:
    """A box of which all sets went to a consignee on record is that one's from now on."""
    to, loads = at
    whole: dict[tuple[int, int], list[Box]] = defaultdict(list)
    for line in lines:
        box = boxes[line.box_id]
        if line.consignee_id in to and line.sets == box.size.sets:
            shipment = loads[box.pk].shipment_id
            whole[shipment, line.consignee_id or 0].append(box)
    locked = locking.lock_rows(Shipment, {shipment for shipment, _to in whole})
    told = {
        "told_by": reply.told_by,
        "on": day_of(act.workshop, reply.said_at or act.now),
        "note": str(WAYS[reply.way])[: LONGEST["note"]],
    }
    for (shipment, consignee), some in sorted(whole.items(), key=lambda each: each[0]):
        pass_boxes(act, locked[shipment], some, (to[consignee], ""), told)
