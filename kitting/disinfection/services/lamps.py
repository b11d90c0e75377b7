"""Lamps of a line: fitted, their hours read, changed."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from kitting.domain.errors import Conflict, Missing, Refused, WrongStage
from kitting.ledger import locking
from kitting.ledger.clock import day_of
from kitting.ledger.needs import need_text
from kitting.ledger.operations import Act, Sign, perform
from kitting.models import Lamp, LampHours, Place
from kitting.models.catalogue import PlaceKind

LONGEST_NAME = 60
MOST_HOURS = 200_000
"""More than 20 years without a pause: a slip of the pen."""


@dataclass(frozen=True)
class Fitted:
    """A lamp that burns on a line now."""

    lamp: str
    line: str


@dataclass(frozen=True)
class HoursRead:
    """What a lamp's hours were read as."""

    lamp: str
    hours: int


def fit_lamp(
    *, line_id: int, name: str, on: date, rated_hours: int | None, sign: Sign
) -> Fitted:
    """Record that a new lamp was fitted to a line.

    Args:
        line_id: The line.
        name: Which lamp of the line it is; no other one there now has the name.
        on: The day, not in the future.
        rated_hours: For how many hours its maker rates it; None where not stated.
        sign: Who, when and the operation key.

    Returns:
        The lamp.

    Raises:
        Conflict: ``lamp_is_there``.
        Missing: If there is no such line.
        Refused: ``lamp_name_missing``, ``entry_too_long``, ``lamp_in_future``,
            ``lamp_hours_out_of_range``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Fitted:
        lines = Place.objects.filter(pk=line_id, kind=PlaceKind.LINE, active=True)
        line = next(iter(locking.lock_found(lines)), None)
        if line is None:
            raise Missing("row_missing", what="line")
        words = need_text("name", name, LONGEST_NAME, missing="lamp_name_missing")
        _refuse_future(act, on)
        if Lamp.objects.filter(
            line=line, name=words, taken_out_on__isnull=True
        ).exists():
            raise Conflict("lamp_is_there", lamp=words, line=line.name)
        return _fit(line, words, on, rated_hours)

    return perform(
        "fit_lamp",
        work,
        Fitted,
        sign,
        line=line_id,
        name=name,
        on=on,
        rated_hours=rated_hours,
    )


def _refuse_future(act: Act, on: date) -> None:
    today = day_of(act.workshop, act.now)
    if on > today:
        raise Refused("lamp_in_future", on=on, today=today)


def _fit(line: Place, name: str, on: date, rated_hours: int | None) -> Fitted:
    if rated_hours is not None and not 1 <= rated_hours <= MOST_HOURS:
        raise Refused("lamp_hours_out_of_range", hours=rated_hours, most=MOST_HOURS)
    Lamp.objects.create(line=line, name=name, fitted_on=on, rated_hours=rated_hours)
    return Fitted(lamp=name, line=line.name)


def read_hours(*, lamp_id: int, on: date, hours: int, sign: Sign) -> HoursRead:
    """Record how many hours a lamp has burnt.

    Args:
        lamp_id: A lamp that burns on a line.
        on: The day it was read, not in the future, not before the last reading.
        hours: The hours, not fewer than were read before.
        sign: Who, when and the operation key.

    Returns:
        The lamp and its hours.

    Raises:
        Missing: If there is no such lamp.
        Refused: ``lamp_in_future``, ``lamp_before_fitting``, ``lamp_read_earlier``,
            ``lamp_hours_out_of_range``, ``lamp_hours_fall``.
        WrongStage: ``lamp_taken_out``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> HoursRead:
        lamp = _burning(lamp_id)
        _refuse_future(act, on)
        if on < lamp.fitted_on:
            raise Refused(
                "lamp_before_fitting", lamp=lamp.name, on=on, fitted=lamp.fitted_on
            )
        if not 0 <= hours <= MOST_HOURS:
            raise Refused("lamp_hours_out_of_range", hours=hours, most=MOST_HOURS)
        last = lamp.hours.order_by("on", "pk").last()
        if last is not None:
            if on < last.on:
                raise Refused("lamp_read_earlier", on=on, last=last.on)
            if hours < last.hours:
                raise Refused("lamp_hours_fall", hours=hours, before=last.hours)
        act.write(LampHours(lamp=lamp, on=on, hours=hours))
        return HoursRead(lamp=lamp.name, hours=hours)

    return perform(
        "read_hours", work, HoursRead, sign, lamp=lamp_id, on=on, hours=hours
    )


def _burning(lamp_id: int) -> Lamp:
    lamp = locking.lock_row(Lamp, lamp_id, "line")
    if lamp.taken_out_on is not None:
        raise WrongStage("lamp_taken_out", lamp=lamp.name, on=lamp.taken_out_on)
    return lamp


def change_lamp(
    *, lamp_id: int, on: date, rated_hours: int | None, sign: Sign
) -> Fitted:
    """Record that a lamp was taken out and a new one fitted in its place.

    Args:
        lamp_id: The lamp that is taken out.
        on: The day of the change, not in the future, not before it was fitted.
        rated_hours: For how many hours the new one is rated; None where not stated.
        sign: Who, when and the operation key.

    Returns:
        The new lamp; it has the old one's name and no hours yet.

    Raises:
        Missing: If there is no such lamp.
        Refused: ``lamp_in_future``, ``lamp_before_fitting``,
            ``lamp_hours_out_of_range``.
        WrongStage: ``lamp_taken_out``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Fitted:
        lamp = _burning(lamp_id)
        _refuse_future(act, on)
        if on < lamp.fitted_on:
            raise Refused(
                "lamp_before_fitting", lamp=lamp.name, on=on, fitted=lamp.fitted_on
            )
        lamp.taken_out_on = on
        lamp.save(update_fields=["taken_out_on"])
        return _fit(lamp.line, lamp.name, on, rated_hours)

    return perform(
        "change_lamp", work, Fitted, sign, lamp=lamp_id, on=on, rated_hours=rated_hours
    )
