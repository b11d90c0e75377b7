"""Labels of bags, and blank ones for numbers that are given out ahead."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

from django.utils.translation import gettext_lazy as _

from kitting.domain import numbers
from kitting.domain.errors import Refused
from kitting.domain.stages import BagStage
from kitting.labels import kinds
from kitting.labels.bag import BagContent, BagLabel
from kitting.ledger.gaps import need_given_out
from kitting.ledger.upheld import Rows
from kitting.models import Bag, Part, Revision, Workshop
from kitting.printing import fitting
from kitting.printing.fitting import LAST_COPY, LAST_DAY, LONGEST_NUMBER, those
from kitting.printing.queries.labels import (
    Labelled,
    Subject,
    each_once,
    mark_of,
    register,
)

MOST_PIECES: Final = 999_999
"""In a bag whose label is tried."""

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
        unit=lot.part.unit,
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


def _longest(touched: Rows) -> Iterator[tuple[str, BagLabel]]:
    """A bag of each part, with its revision of the longest code."""
    mark = mark_of()
    parts = Part.objects.all()
    if touched:
        ids = those(Revision.objects.all(), touched).values_list("part", flat=True)
        parts = parts.filter(pk__in={*touched[Part], *ids})
    for part in parts.prefetch_related("revisions"):
        codes = [revision.code for revision in part.revisions.all()]
        content = BagContent(
            part=part.name,
            revision=max(codes, key=len, default=""),
            lot=LONGEST_NUMBER.replace("K", "L"),
            pieces=f"{MOST_PIECES}{UNITS[part.unit]}",
            made_on=LAST_DAY,
            unit=part.unit,
        )
        number = LONGEST_NUMBER.replace("K", "B")
        yield part.name, BagLabel(number, content, mark=mark, copy=LAST_COPY)


def _longest_blank(touched: Rows) -> Iterator[tuple[str, BagLabel]]:
    number = LONGEST_NUMBER.replace("K", "B")
    yield number, BagLabel(number, mark=mark_of(), copy=LAST_COPY)


fitting.register(
    fitting.Longest(
        "bag", kinds.BAG, _("bag label"), _longest, (Part, Revision), "kitting:parts"
    ),
    fitting.Longest(
        "bag_number",
        kinds.BAG,
        _("blank bag number"),
        _longest_blank,
        (),
        "kitting:stocks",
    ),
)
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
