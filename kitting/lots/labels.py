"""Labels of bags, and blank ones for numbers that are given out ahead."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from django.utils.translation import gettext_lazy as _

from kitting.domain import numbers
from kitting.domain.errors import Refused
from kitting.domain.stages import BagStage
from kitting.labels import kinds
from kitting.labels.bag import BagContent, BagLabel
from kitting.ledger.gaps import need_given_out
from kitting.models import Bag, Workshop
from kitting.printing.queries.labels import (
    Labelled,
    Subject,
    each_once,
    mark_of,
    register,
)

UNITS: Final = {"piece": "", "gram": " g", "mm": " mm"}


def _bags(wanted: Sequence[str]) -> tuple[Subject, ...]:
    mark = mark_of()
    rows = Bag.objects.filter(number__in=wanted).select_related(
        "lot__part", "lot__revision"
    )
    found = {bag.number: bag for bag in rows}
    return tuple(
        Subject(one, (_bag_label(found[one], mark),), bag_id=found[one].pk)
        for one in each_once(wanted, found, "bag")
    )


def _bag_label(bag: Bag, mark: str | None) -> BagLabel:
    lot = bag.lot
    content = BagContent(
        part=lot.part.name,
        revision=lot.revision.code,
        lot=lot.number,
        pieces=f"{bag.pieces}{UNITS[lot.part.unit]}",
        made_on=lot.made_on,
    )
    return BagLabel(bag.number, content, mark=mark)


def _bag_numbers(wanted: Sequence[str]) -> tuple[Subject, ...]:
    """Blank labels for numbers that were given out and are on no bag yet."""
    workshop = Workshop.objects.get(pk=1)
    need_given_out(workshop.site, numbers.Kind.BAG, wanted)
    alive = Bag.objects.filter(number__in=wanted).values_list("number", flat=True)
    for number in alive[:1]:
        raise Refused("blank_in_use", read=number)
    return tuple(
        Subject(one, (BagLabel(one, mark=mark_of(workshop)),))
        for one in each_once(wanted, wanted, "bag")
    )


def bags_of_lot(number: str) -> list[str]:
    """Bags of a lot that are still there, in order.

    Args:
        number: The lot.

    Returns:
        Their numbers.
    """
    bags = Bag.objects.filter(lot__number=number).exclude(stage=BagStage.USED_UP)
    return list(bags.order_by("number").values_list("number", flat=True))


register(
    Labelled(
        "bag",
        kinds.BAG,
        _bags,
        words=(_("bag label"), _("bag labels")),
        page="kitting:bag-detail",
        within={"lot": bags_of_lot},
    ),
    Labelled(
        "bag_number",
        kinds.BAG,
        _bag_numbers,
        words=(_("blank bag number"), _("blank bag numbers")),
    ),
)
