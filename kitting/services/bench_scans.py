"""What a scan at a bench does: bags come, boxes begin and end, labels are seen.

A scan that is sent again finds the same act: bags and labels are named by the scan
itself, and a command acts on the newest box of the bench, whatever its stage. What
has been done under its key is answered by that act with its first outcome.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, field, replace
from typing import TYPE_CHECKING, Any
from uuid import uuid5

from kitting.domain.commands import LAY_ASIDE, Command, Do, is_command, read_command
from kitting.domain.errors import CodeError, Refused, WrongStage
from kitting.domain.shown import shown
from kitting.domain.stages import BoxStage
from kitting.models import Box, BoxSize, OpenBag, Operation, Print
from kitting.operations import Sign
from kitting.queries import scans
from kitting.services import packing, printing, voiding

if TYPE_CHECKING:
    from _typeshed import DataclassInstance


@dataclass(frozen=True)
class Answer:
    """What a scan did, or what it asks for before it can do anything."""

    did: str = ""
    """Name of the act in the journal; empty if nothing was written."""

    menu: str = ""
    """The choice to show: call_off, print, take_back or lay_aside."""

    outcome: dict[str, Any] = field(default_factory=dict)
    """What the act gave, by name; as it stands in the journal."""


def _did(name: str, outcome: DataclassInstance) -> Answer:
    return Answer(did=name, outcome=asdict(outcome))


def take_scan(*, bench_id: int, text: str, purpose: str, sign: Sign) -> Answer:
    """Take one scan at a bench and do what it asks for.

    Args:
        bench_id: The bench, which is there.
        text: Any text, as it was scanned, typed or sent by a button.
        purpose: ``lay_aside`` if a bag was asked for to be laid aside, or empty.
        sign: Who, when, at this bench, and the operation key of this scan.

    Returns:
        What was done, or what is asked.

    Raises:
        CodeError: If it is no command and no number.
        Conflict: If the bench, box or key is not as the act needs it.
        Missing: If nothing has the number.
        NotFit: If the label of a closed box does not fit its stock.
        OnHold: If what was scanned is held.
        Refused: If a rule forbids the act or the number is of another thing.
    """
    if is_command(text):
        command = read_command(text)
        if command is None:
            raise CodeError("command_unknown", read=shown(text))
        return _obey(bench_id, command, sign)
    found = scans.read(text)
    if isinstance(found.row, Box):
        return _see_label(bench_id, found.row, found.text, sign)
    if found.kind != "bag" or found.row is None:
        what = "shipment" if found.kind == "number" else found.kind
        raise Refused("not_for_the_bench", read=found.text, what=what)
    act = packing.lay_aside if purpose == LAY_ASIDE else packing.bring_bag
    return _did(act.__name__, act(bench_id=bench_id, bag_id=found.row.pk, sign=sign))


def _obey(bench_id: int, command: Command, sign: Sign) -> Answer:
    match command.do:
        case Do.SIZE:
            return _start(bench_id, command, sign)
        case Do.CLOSE:
            return _close(bench_id, sign)
        case Do.PRINT:
            return _print(bench_id, command.reason, sign)
        case Do.CALL_OFF:
            return _call_off(bench_id, command.reason, sign)
        case Do.LAY_ASIDE:
            _need_open_bag(bench_id)
            return Answer(menu=LAY_ASIDE)
        case Do.TAKE_BACK:
            return Answer(menu="take_back")
        case _:  # Do.GO_ON
            return Answer()


def _done_before(sign: Sign) -> bool:
    return Operation.objects.filter(key=sign.key.bytes).exists()


def _newest_box(bench_id: int) -> Box | None:
    return Box.objects.filter(bench=bench_id).order_by("-pk").first()


def _box_in_work(bench_id: int, sign: Sign) -> Box:
    """The newest box of the bench; it is in work unless this act is a repeated one."""
    box = _newest_box(bench_id)
    if box is None:
        raise Refused("bench_has_no_box")
    if box.stage not in packing.UNLABELLED and not _done_before(sign):
        raise Refused("bench_has_no_box")
    return box


def _need_open_bag(bench_id: int) -> None:
    if not OpenBag.objects.filter(bench=bench_id).exists():
        raise Refused("no_open_bag")


def _start(bench_id: int, command: Command, sign: Sign) -> Answer:
    sizes = BoxSize.objects.filter(
        sets=command.sets, product__recipes__in_force=True
    ).select_related("product")
    if command.product:
        sizes = sizes.filter(product__code=command.product)
    found = list(sizes[:2])
    if not found:
        raise Refused("size_not_packed", sets=command.sets)
    if len(found) > 1:
        raise Refused("size_of_two_products", sets=command.sets)
    started = packing.start_box(bench_id=bench_id, size_id=found[0].pk, sign=sign)
    return _did("start_box", started)


def _close(bench_id: int, sign: Sign) -> Answer:
    box = _box_in_work(bench_id, sign)
    if box.stage == BoxStage.CLOSED and not _done_before(sign):
        raise WrongStage("box_waits_for_label", box=str(box))
    closed = packing.close_box(box_id=box.pk, sign=sign)
    # An act of its own: a label that cannot be printed must not open the box again.
    after = replace(sign, key=uuid5(sign.key, "print"))
    printing.print_box_label(box_id=box.pk, reason="", sign=after)
    return _did("close_box", closed)


def _print(bench_id: int, reason: str, sign: Sign) -> Answer:
    box = _newest_box(bench_id)
    if box is None or box.stage not in printing.PRINTABLE:
        raise Refused("bench_has_no_closed_box")
    printed = Print.objects.filter(box=box).exists()
    if printed and not reason and not _done_before(sign):
        return Answer(menu="print")
    copy = printing.print_box_label(box_id=box.pk, reason=reason, sign=sign)
    return _did("print_box_label", copy)


def _call_off(bench_id: int, reason: str, sign: Sign) -> Answer:
    box = _box_in_work(bench_id, sign)
    if box.stage == BoxStage.CLOSED:
        raise WrongStage("closed_box_not_called_off", box=str(box))
    if not reason:
        return Answer(menu="call_off")
    gone = voiding.call_off_box(box_id=box.pk, reason=reason, sign=sign)
    return _did("call_off_box", gone)


def _see_label(bench_id: int, scanned: Box, read: str, sign: Sign) -> Answer:
    waiting = Box.objects.filter(bench=bench_id, stage=BoxStage.CLOSED).first()
    box = waiting
    if waiting is None or waiting.pk != scanned.pk:
        if _done_before(sign):
            box = scanned
        elif waiting is None and scanned.label_seen_at is not None:
            raise Refused("label_was_seen", box=str(scanned))
    if box is None:
        raise Refused("no_label_awaited", read=read)
    return _did("see_label", packing.see_label(box_id=box.pk, read=read, sign=sign))
