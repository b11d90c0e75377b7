"""The log of a run by heat or liquid: times and values."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from kitting.disinfection.steps.lines import by_light
from kitting.disinfection.steps.stays import lock_open_run
from kitting.domain.errors import Refused
from kitting.ledger.operations import Act, Sign, perform
from kitting.models import RunValue
from kitting.models.runs import Process

MOST_VALUES = 5_000
"""Values that one run keeps."""
HOTTEST_MC = 300_000
"""300 °C in thousandths: no part of a face shield is disinfected above it."""
MOST_PPM = 1_000_000
"""All of it: a liquid is no stronger."""

Samples = Sequence[tuple[datetime | None, int]]
"""Moment (None is the moment of the act) and value: thousandths of °C for heat, ppm for
a liquid."""


@dataclass(frozen=True)
class Logged:
    """Values on record."""

    run: str
    values: int


def log_values(*, run_id: int, values: Samples, sign: Sign) -> Logged:
    """Write values of a run by heat or liquid down, one or a whole column.

    Args:
        run_id: The open run.
        values: Moments, none after now and none before the run, and values.
        sign: Who, when and the operation key.

    Returns:
        How many were written.

    Raises:
        Missing: If there is no such run.
        Refused: ``values_by_light``, ``values_missing``, ``values_too_many``,
            ``value_twice``, ``value_before_run``, ``value_in_future``,
            ``heat_out_of_range``, ``strength_out_of_range``.
        WrongStage: ``run_closed``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Logged:
        run = lock_open_run(run_id)
        if by_light(run.protocol):
            raise Refused("values_by_light", protocol=str(run.protocol))
        if not values:
            raise Refused("values_missing")
        taken = [(act.now if at is None else at, value) for at, value in values]
        there = set(run.values.values_list("at", flat=True))
        if len(there) + len(taken) > MOST_VALUES:
            raise Refused("values_too_many", most=MOST_VALUES)
        for at, value in taken:
            if at in there:
                raise Refused("value_twice", at=at.isoformat(sep=" "))
            there.add(at)
            _refuse_moment(at, run.opened_at, act.now)
            _refuse_value(value, run.protocol.process)
        act.write(*(RunValue(run=run, at=at, value=value) for at, value in taken))
        return Logged(run=run.number, values=len(values))

    return perform(
        "log_values",
        work,
        Logged,
        sign,
        run=run_id,
        values=[[at and at.isoformat(), value] for at, value in values],
    )


def _refuse_moment(at: datetime, opened: datetime, now: datetime) -> None:
    # A log shows whole minutes: the minute in which the run was opened is in it.
    if at < opened.replace(second=0, microsecond=0):
        raise Refused("value_before_run", at=at.isoformat(sep=" "))
    if at > now:
        raise Refused("value_in_future", at=at.isoformat(sep=" "))


def _refuse_value(value: int, process: str) -> None:
    if process == Process.HEAT:
        if not 0 <= value <= HOTTEST_MC:
            raise Refused("heat_out_of_range", value=value / 1000, most=300)
    elif not 0 <= value <= MOST_PPM:
        raise Refused("strength_out_of_range", value=value, most=MOST_PPM)
