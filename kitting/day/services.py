"""The workshop's clock: a manager says that it is right."""

from __future__ import annotations

from dataclasses import dataclass

from kitting.ledger import clock, locking
from kitting.ledger.operations import CONFIRM_CLOCK, Act, Sign, perform
from kitting.models import Workshop


@dataclass(frozen=True)
class Confirmed:
    """What the clock showed when somebody said that it is right."""

    at: str
    """As ISO 8601, in UTC."""


def confirm_clock(*, sign: Sign) -> Confirmed:
    """Say that date and time are right; acts go on from there.

    Args:
        sign: Who, when and the operation key.

    Returns:
        What the clock showed.

    Raises:
        Refused: ``clock_set_back``: an act was dated later, and none goes before it.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Confirmed:
        workshop = locking.lock_row(Workshop, act.workshop.pk)
        here = clock.look()
        workshop.clock_said_at = here.wall
        workshop.clock_boot = here.boot
        workshop.clock_ticks_s = round(here.ticks)
        workshop.save(update_fields=["clock_said_at", "clock_boot", "clock_ticks_s"])
        act.upheld = (
            True  # No label says any of it, and every box label would be drawn.
        )
        return Confirmed(at=here.wall.isoformat(timespec="seconds"))

    return perform(CONFIRM_CLOCK, work, Confirmed, sign)
