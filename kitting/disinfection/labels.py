"""Labels for what a run cleared: bags, and carriers whose bags one run cleared."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Any, Final
from zoneinfo import ZoneInfo

from django.utils.translation import gettext_lazy as _

from kitting.domain import numbers
from kitting.domain.errors import Refused, WrongStage
from kitting.domain.stages import BagStage
from kitting.labels import kinds
from kitting.labels.cleared import ClearedLabel
from kitting.ledger.reach import refuse_held_bag, standing_reach
from kitting.ledger.upheld import Rows
from kitting.models import Bag, Carrier, Protocol, Run, Workshop
from kitting.printing import fitting
from kitting.printing.fitting import LAST_COPY, LAST_DAY, LONGEST_NUMBER
from kitting.printing.queries.labels import (
    Labelled,
    Subject,
    each_once,
    mark_of,
    register,
)

NOT_STERILE: Final = "Disinfection is not sterilisation."


def _cleared(wanted: Sequence[str]) -> tuple[Subject, ...]:
    """Labels for bags, and for carriers whose bags one run cleared."""
    workshop = Workshop.objects.get(pk=1)
    bags = _by_number(
        Bag.objects.filter(number__in=wanted).select_related(
            "cleared_run__protocol", "lot"
        )
    )
    carriers = _by_number(Carrier.objects.filter(number__in=wanted))
    each_once(wanted, {**bags, **carriers}, "bag")
    reach = standing_reach()
    subjects = []
    for number in wanted:
        loaded = [bags[number]] if number in bags else _on(carriers[number])
        for bag in loaded:
            refuse_held_bag(bag, reach)
        run = _one_run(number, loaded)
        what = "Bag" if number in bags else "Carrier"
        label = _cleared_label(number, what, run, workshop)
        subjects.append(Subject(number, (label,)))
    return tuple(subjects)


def _by_number(rows: Iterable[Any]) -> dict[str, Any]:
    return {row.number: row for row in rows}


def _on(carrier: Carrier) -> list[Bag]:
    rows = Bag.objects.filter(carrier=carrier).exclude(stage=BagStage.USED_UP)
    return list(rows.select_related("cleared_run__protocol", "lot").order_by("number"))


def _one_run(number: str, bags: Sequence[Bag]) -> Run:
    """The run that cleared a bag, or all bags of a carrier."""
    for bag in bags:
        if bag.stage != BagStage.CLEARED or bag.cleared_run is None:
            raise WrongStage("bag_not_cleared_by_a_run", bag=bag.number)
    runs = {bag.cleared_run for bag in bags if bag.cleared_run is not None}
    if not runs:
        raise Refused("carrier_is_empty", carrier=number)
    if len(runs) > 1:
        raise Refused("carrier_of_several_runs", carrier=number)
    return runs.pop()


def _cleared_label(
    number: str, what: str, run: Run, workshop: Workshop
) -> ClearedLabel:
    assert run.closed_at is not None  # noqa: S101
    there = run.closed_at.astimezone(ZoneInfo(workshop.time_zone))
    return ClearedLabel(
        number=number,
        what=what,
        run=run.number,
        protocol=(run.protocol.code, str(run.protocol.version)),
        released_at=f"{there:%Y-%m-%d %H:%M}",
        cautions=(NOT_STERILE,),
        mark=mark_of(workshop),
    )


def bags_cleared_by(run: str) -> list[str]:
    """Bags that a run cleared and that are cleared still, in order.

    Args:
        run: Number of the run.

    Returns:
        Their numbers.
    """
    bags = Bag.objects.filter(cleared_run__number=run, stage=BagStage.CLEARED)
    return list(bags.order_by("number").values_list("number", flat=True))


def _page(number: str) -> str:
    carrier = number.startswith(numbers.Kind.CARRIER)
    return "kitting:carrier-detail" if carrier else "kitting:bag-detail"


def _longest(touched: Rows) -> Iterator[tuple[str, ClearedLabel]]:
    mark = mark_of()
    for protocol in fitting.those(Protocol.objects.all(), touched):
        label = ClearedLabel(
            number=LONGEST_NUMBER.replace("K", "C"),
            what="Carrier",
            run=LONGEST_NUMBER.replace("K", "R"),
            protocol=(protocol.code, str(protocol.version)),
            released_at=f"{LAST_DAY} 23:59",
            cautions=(NOT_STERILE,),
            mark=mark,
            copy=LAST_COPY,
        )
        yield str(protocol), label


fitting.register(
    fitting.Longest(
        "cleared",
        kinds.CLEARED,
        _("cleared label"),
        _longest,
        (Protocol,),
        "kitting:protocols",
    )
)
register(
    Labelled(
        "cleared",
        kinds.CLEARED,
        _cleared,
        words=(_("cleared label"), _("cleared labels")),
        page=_page,
        within={"run": bags_cleared_by},
    )
)
