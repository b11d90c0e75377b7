"""Scarce boxes promised to open requests in one act, and promises released again."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import astuple, dataclass
from typing import Final

from dispatch.allotment.queries.allotments import open_of, unkept
from dispatch.allotment.queries.proposals import (
    LONGEST_WINDOW,
    Facts,
    facts_of,
    first_day,
)
from dispatch.domain.needs import MOST_SETS, RequestStage
from dispatch.domain.proposal import Chosen, Proposal, Term, moved, sets_of
from dispatch.models import (
    Allotment,
    AllotmentLine,
    AllotmentSize,
    Promise,
    PromiseRelease,
    Request,
)
from dispatch.requests.queries.promises import open_promises
from kitting.domain import numbers
from kitting.domain.errors import Conflict, Refused
from kitting.ledger import locking
from kitting.ledger.clock import day_of, start_of
from kitting.ledger.counters import take
from kitting.ledger.needs import LONGEST_REASON, need_length, need_reason, need_row
from kitting.ledger.operations import Act, Sign, perform
from kitting.ledger.reach import standing_reach
from kitting.models import Product, Workshop
from kitting.packing.queries.plan import MOST, packed_on, wanted_on
from kitting.packing.steps import fill_plan

HEAVIEST: Final = 999
"""Tenths."""


@dataclass(frozen=True)
class Allotted:
    """Boxes that are promised."""

    allotment: str
    product: str
    boxes: int
    sets: int
    to_pack: int
    """Boxes of the same sizes that benches are to pack for it today, and what is promised
    besides."""


@dataclass(frozen=True)
class Released:
    """Boxes that are promised no more."""

    allotment: str
    boxes: int
    sets: int
    reason: str


def allot(
    *,
    product_id: int,
    chosen: Chosen,
    beyond: Mapping[int, int],
    sign: Sign,
    seen: str,
    reason: str = "",
) -> Allotted:
    """Promise boxes to open requests as proposed, or as moved by hand.

    What is promised beyond the boxes that are ready is put on the day's plan.

    Args:
        product_id: The product.
        chosen: The window, what is counted in, weights and floors, and what is moved.
        beyond: Ready boxes beyond what is promised that were seen, by the id of the size;
            those that came since stay.
        sign: Who, when and the operation key.
        seen: The mark of the facts that were seen.
        reason: Why boxes are moved; needed where they are.

    Returns:
        What is promised.

    Raises:
        Conflict: ``allotted_meanwhile`` by somebody else, ``requests_changed``,
            ``boxes_gone``.
        Missing: If there is no such product.
        Refused: ``window_unknown``, ``packing_unknown``, ``term_unknown``,
            ``reason_missing``, ``entry_too_long``, ``allot_nothing``, ``size_closed``,
            ``plan_out_of_range``, ``asked_too_much``, and as for moves.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Allotted:
        locking.lock_row(Workshop, act.workshop.pk)  # one plan at a time
        product = locking.lock_row(Product, product_id)
        asked = Request.objects.filter(product=product, stage=RequestStage.OPEN)
        locking.lock_found(asked)
        today = day_of(act.workshop, act.now)
        _need_window(chosen.window)
        since = start_of(act.workshop, first_day(chosen.window, today))
        facts = facts_of(product_id, since, today, standing_reach())
        _refuse_changed(facts, beyond, seen)
        _need_known(facts, chosen)
        stock = facts.stock(beyond, chosen.packing)
        found = facts.proposal(stock, chosen.terms)
        counts = moved(found, facts.wishes, chosen.moves)
        why = _why_moved(found, counts, reason)
        boxes = sum(sum(own.values()) for own in counts.values())
        if not boxes:
            raise Refused("allot_nothing")
        row = Allotment(product=product, day=today, window=chosen.window, reason=why)
        row.number = take(act.workshop.site, numbers.Kind.ALLOTMENT)[0]
        act.write(row)
        _write(act, row, facts, beyond, stock, found, counts, chosen.terms)
        to_pack = _plan(facts, counts, act)
        sets = sum(map(sets_of, counts.values()))
        return Allotted(row.number, product.name, boxes, sets, to_pack)

    return perform(
        "allot",
        work,
        Allotted,
        sign,
        product=product_id,
        window=chosen.window,
        packing=sorted(chosen.packing.items()),
        terms=[list(astuple(term)) for term in chosen.terms],
        moves=[list(astuple(move)) for move in chosen.moves],
        beyond=sorted(beyond.items()),
        seen=seen,
        reason=reason,
    )


def _need_window(window: int) -> None:
    if not 0 <= window <= LONGEST_WINDOW:
        raise Refused("window_unknown", read=window, most=LONGEST_WINDOW)


def _refuse_changed(facts: Facts, beyond: Mapping[int, int], seen: str) -> None:
    newest, _, _rest = seen.partition(".")
    if facts.newest and newest != str(facts.newest):
        other = Allotment.objects.select_related("operation").get(pk=facts.newest)
        raise Conflict(
            "allotted_meanwhile", allotment=other.number, by=other.operation.by_name
        )
    if seen != facts.mark:
        raise Conflict("requests_changed")
    for each in facts.sizes:
        if each.beyond < beyond.get(each.size.pk, 0):
            raise Conflict("boxes_gone", sets=each.size.sets, free=each.free)


def _need_known(facts: Facts, chosen: Chosen) -> None:
    sizes = {each.size.pk for each in facts.sizes}
    for size, boxes in chosen.packing.items():
        if size not in sizes or not 0 <= boxes <= MOST:
            raise Refused("packing_unknown", read=boxes, most=MOST)
    who = {row.consignee.stays.code for row in facts.rows}
    for term in chosen.terms:
        need_term(term, who)


def need_term(term: Term, who: Collection[str]) -> None:
    """Refuse a weight or a floor that cannot be, or is not explained.

    Args:
        term: The weight, the floor and why.
        who: Codes of the consignees that are shared among.

    Raises:
        Refused: ``term_unknown``, ``term_range``, ``term_unexplained``,
            ``entry_too_long``.
    """
    if term.who not in who:
        raise Refused("term_unknown", read=term.who)
    if not (1 <= term.weight_tenths <= HEAVIEST and 0 <= term.floor <= MOST_SETS):
        raise Refused("term_range", most=MOST_SETS)
    if not need_length("reason", term.why, LONGEST_REASON):
        raise Refused("term_unexplained", read=term.who)


def _why_moved(
    found: Proposal, counts: Mapping[str, Mapping[int, int]], reason: str
) -> str:
    if counts == found.counts:
        return ""
    return need_reason(reason)


def _write(
    act: Act,
    row: Allotment,
    facts: Facts,
    beyond: Mapping[int, int],
    stock: Mapping[int, int],
    found: Proposal,
    counts: Mapping[str, Mapping[int, int]],
    terms: Sequence[Term],
) -> None:
    """Write what was decided, and the figures that it was decided by."""
    by_sets = {each.size.sets: each.size for each in facts.sizes}
    shared = []
    for sets, size in by_sets.items():
        ready = max(0, beyond.get(size.pk, 0))
        packing = stock[sets] - ready
        if ready or packing:
            there = {"ready": ready, "packing": packing}
            shared.append(AllotmentSize(allotment=row, size=size, **there))
    own = {term.who: term for term in terms}
    lines = [
        _line(row, asked, found, own.get(asked.consignee.stays.code))
        for asked in facts.rows
    ]
    act.write(*shared, *lines)
    promises = []
    for line in lines:
        number = line.request.number
        proposed, confirmed = found.counts[number], counts[number]
        promises += [
            Promise(
                line=line,
                size=by_sets[sets],
                proposed=proposed.get(sets, 0),
                boxes=confirmed.get(sets, 0),
            )
            for sets in sorted({*proposed, *confirmed}, reverse=True)
        ]
    act.write(*promises)


def _line(
    row: Allotment, asked: Request, found: Proposal, term: Term | None
) -> AllotmentLine:
    reason = found.reason[asked.number]
    return AllotmentLine(
        allotment=row,
        request=asked,
        whom=asked.consignee.stays,
        tier=asked.tier,
        lacked=asked.lacks,  # type: ignore[attr-defined]
        code=reason.code,
        asked=reason.asked,
        given=reason.given,
        received=reason.received,
        share_hundredths=int(reason.share * 100),
        weight_tenths=int(reason.weight * 10),
        floor=term.floor if term else 0,
        first=reason.first,
        why=term.why.strip() if term else "",
    )


def _plan(facts: Facts, counts: Mapping[str, Mapping[int, int]], act: Act) -> int:
    """Let benches pack what is promised and not ready: boxes of the sizes promised now."""
    today = day_of(act.workshop, act.now)
    packed, wanted = packed_on(today), wanted_on(today)
    plan, to_pack = dict(wanted), 0
    for each in facts.sizes:
        now = sum(own.get(each.size.sets, 0) for own in counts.values())
        lacking = now - each.beyond
        if now and lacking > 0:
            to_pack += lacking
            pk = each.size.pk
            plan[pk] = max(plan.get(pk, 0), packed.get(pk, 0) + lacking)
    if plan != wanted:
        fill_plan(today, plan)
    return to_pack


def release_promise(
    *, number: str, reason: str, sign: Sign, request: str = ""
) -> Released:
    """Promise boxes of an allotment no more, as far as they are not loaded.

    Args:
        number: The allotment.
        reason: Why.
        sign: Who, when and the operation key.
        request: The number of the request to which no more is promised; empty for all.

    Returns:
        What is free now.

    Raises:
        Missing: If there is no such allotment.
        Refused: ``reason_missing``, ``entry_too_long``, ``nothing_promised``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Released:
        why = need_reason(reason)
        row = need_row(Allotment.objects.filter(number=number))
        locking.lock_row(Product, row.product_id)
        left = open_of(row, open_promises([row.product_id]), request)
        if not left:
            raise Refused("nothing_promised", allotment=number)
        act.write(
            *(
                PromiseRelease(promise=each, boxes=each.remains, reason=why)
                for each in unkept(row, request)
            )
        )
        boxes = sum(each.boxes for each in left)
        sets = sum(each.boxes * each.sets for each in left)
        return Released(number, boxes, sets, why)

    return perform(
        "release_promise",
        work,
        Released,
        sign,
        number=number,
        reason=reason,
        request=request,
    )
