"""Lots are checked by their plans; rejected ones sorted, sent back or accepted."""

from __future__ import annotations

from typing import Final

from kitting.checking.queries.checks import kinds_for, plan_of
from kitting.checking.services import checks, rejected
from kitting.domain.stages import BagStage
from kitting.models import DefectKind, Lot
from kitting.models.lots import LotStage, Verdict
from lotward.demo import plan
from lotward.demo.making import Floor

SORTED_BAD: Final = 19
"""Pieces that were bad in the bag that was sorted."""


def check_lots(floor: Floor) -> None:
    """Give every closed lot that waits for it the verdict of its plan.

    Args:
        floor: The workshop.
    """
    bad = {floor.lot_number(a.part, a.on): a for a in plan.ARRIVALS if a.reject}
    waiting = Lot.objects.filter(
        stage=LotStage.CLOSED, verdict=Verdict.NONE, part__needs_check=True
    ).order_by("pk")
    for lot in waiting.select_related("part"):
        _check(floor, lot, bad.get(lot.number))


def _check(floor: Floor, lot: Lot, arrival: plan.Arrival | None) -> None:
    followed = plan_of(lot)
    assert followed is not None  # noqa: S101 -- no lot of the plan is empty
    of_major = followed.plans["major"]
    defects: list[tuple[int, int]] = []
    if arrival is not None:
        kind = _kind(lot, arrival.defect)
        defects = [(kind.pk, of_major.reject + floor.luck.randint(0, 3))]
    elif followed.sampled:
        minor = next(kind for kind in kinds_for(lot.part) if kind.grade == "minor")
        most = followed.plans["minor"].accept
        defects = [
            (_kind(lot, "").pk, floor.luck.randint(0, of_major.accept)),
            (minor.pk, floor.luck.randint(0, most)),
        ]
    checks.give_verdict(
        lot_id=lot.pk,
        accept=arrival is None,
        defects=defects,
        reason=arrival.reject if arrival else "",
        looked=True,
        sign=floor.clock.sign("checker", 420),
    )


def _kind(lot: Lot, code: str) -> DefectKind:
    """A kind of major defect: the one named, or the first that is looked for."""
    majors = [kind for kind in kinds_for(lot.part) if kind.grade == "major"]
    return next((kind for kind in majors if kind.code == code), majors[0])


def settle_rejected(floor: Floor) -> None:
    """Decide about the rejected lots whose day has come.

    Args:
        floor: The workshop.
    """
    for fate in plan.FATES:
        if fate.day == floor.today:
            lot = Lot.objects.get(number=floor.lot_number(fate.part, fate.made))
            _ACTS[fate.what](floor, lot, fate.reason)


def _accept(floor: Floor, lot: Lot, reason: str) -> None:
    sign = floor.clock.sign("quality", 300)
    rejected.accept_under_concession(lot_id=lot.pk, reason=reason, sign=sign)


def _send_back(floor: Floor, lot: Lot, reason: str) -> None:
    sign = floor.clock.sign("checker", 300)
    rejected.send_back(lot_id=lot.pk, reason=reason, sign=sign)


def _sort(floor: Floor, lot: Lot, reason: str) -> None:
    bag = lot.bags.filter(stage=BagStage.REJECTED).order_by("pk")[0]
    rejected.sort_bag(
        bag_id=bag.pk,
        good=bag.pieces - SORTED_BAD,
        defects=[(_kind(lot, "SCRATCH").pk, SORTED_BAD)],
        reason=reason,
        sign=floor.clock.sign("checker", 900),
    )


_ACTS: Final = {"accept": _accept, "send back": _send_back, "sort": _sort}
