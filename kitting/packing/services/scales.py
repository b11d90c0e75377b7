"""Scales that send what they show: a token lets one in, its newest reading is kept.

A reading is no act: nothing rests on it until a packer closes a box by it, and
that act keeps it.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from datetime import datetime, timedelta
from threading import Lock
from typing import Final
from uuid import UUID

from kitting.domain.errors import Conflict, Refused
from kitting.domain.figures import written
from kitting.ledger import locking, turns
from kitting.ledger.given import mark_of, secret_of
from kitting.ledger.operations import Act, Sign, perform
from kitting.models import Bench, Scale
from kitting.packing.queries.weighing import empty_mg

REFRESH: Final = timedelta(seconds=3)
"""A reading that says the same again is not written sooner."""
MOST_AT_ONCE: Final = 10
WITHIN: Final = timedelta(seconds=2)
"""More readings of one scale than that are not taken within so long."""
RECENT: Final[dict[int, deque[datetime]]] = {}
"""When the newest readings of each scale came to this process, by its id."""
_guard: Final = Lock()


@dataclass(frozen=True)
class TokenGiven:
    """A bench whose scale got a token, or lost it; the journal does not have it."""

    bench: str
    """Code of the bench."""
    name: str


class TooOften(Refused):
    """Readings come faster than anybody could look at them."""


def token_of(key: UUID) -> str:
    """Give the token that was made under an operation key.

    Args:
        key: The operation key of ``give_token``.

    Returns:
        64 hexadecimal digits.
    """
    return secret_of("scales.token", key)


def give_token(*, bench_id: int, sign: Sign) -> TokenGiven:
    """Give the token behind which the scale of a bench sends readings; ``token_of``.

    An earlier one is good for nothing from now on.

    Args:
        bench_id: The bench; its scale is on record.
        sign: Who, when and the operation key.

    Returns:
        The bench.

    Raises:
        Missing: ``row_missing`` if there is no such bench.
        Refused: ``scale_not_on_record``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> TokenGiven:
        bench = locking.lock_row(Bench, bench_id)
        if bench.scale_step_mg is None:
            raise Refused("scale_not_on_record", bench=bench.name)
        known = locking.lock_found(Scale.objects.filter(bench=bench))
        row = known[0] if known else Scale(bench=bench)
        row.token_sha256 = mark_of(token_of(act.sign.key))
        row.mass_mg = row.read_at = row.loaded_at = None
        row.save()
        return TokenGiven(bench.code, bench.name)

    return perform("give_token", work, TokenGiven, sign, bench=bench_id)


def end_token(*, bench_id: int, sign: Sign) -> TokenGiven:
    """Take no more readings for a bench, from now on.

    Args:
        bench_id: The bench.
        sign: Who, when and the operation key.

    Returns:
        The bench.

    Raises:
        Conflict: ``scale_sends_nothing``.
        Missing: ``row_missing`` if there is no such bench.
        OperationKeyReused: If the key was used for another act.
    """

    def work(_act: Act) -> TokenGiven:
        bench = locking.lock_row(Bench, bench_id)
        known = locking.lock_found(Scale.objects.filter(bench=bench))
        if not known or known[0].token_sha256 is None:
            raise Conflict("scale_sends_nothing", bench=bench.name)
        row = known[0]
        row.token_sha256 = None
        row.mass_mg = row.read_at = row.loaded_at = None
        row.save()
        return TokenGiven(bench.code, bench.name)

    return perform("end_token", work, TokenGiven, sign, bench=bench_id)


def scale_behind(token: str, bench: str) -> Scale | None:
    """Find the scale that a token lets in.

    Args:
        token: What was sent as the token.
        bench: Code of the bench to which it was sent.

    Returns:
        The scale with its bench; None where the token is no token of it.
    """
    found = Scale.objects.filter(
        token_sha256=mark_of(token), bench__code=bench, bench__active=True
    )
    return found.select_related("bench").first()


def take_reading(
    *, scale: Scale, mass_mg: int | None, stable: bool, now: datetime
) -> None:
    """Keep what a scale shows as its newest reading.

    One that cannot be gone by takes away the one before: that is not shown any more.

    Args:
        scale: The scale, with its bench, as it was read just now.
        mass_mg: What it shows, also below 0; None for what is no figure.
        stable: Whether it lies still.
        now: The moment.

    Raises:
        Refused: ``reading_unreadable``, ``reading_negative``, ``scale_overloaded``.
        TooOften: ``reading_too_often``.
    """
    _need_room(scale, now)
    most, empty = scale.bench.scale_most_mg or 0, empty_mg(scale.bench)
    wrong: Refused | None = None
    if mass_mg is None:
        wrong = Refused("reading_unreadable")
    elif mass_mg < -empty:
        wrong = Refused("reading_negative", read=written(-mass_mg, 1000))
    elif mass_mg > most:
        grams = written(mass_mg, 1000)
        wrong = Refused("scale_overloaded", read=grams, most=written(most, 1000))
    kept, loaded = None, scale.loaded_at
    if wrong is None and mass_mg is not None and stable:
        loaded = None if mass_mg <= empty else loaded or now
        kept = None if mass_mg <= empty else mass_mg
    _keep(scale, kept, loaded, now)
    if wrong is not None:
        raise wrong


def _need_room(scale: Scale, now: datetime) -> None:
    with _guard:
        times = RECENT.setdefault(scale.pk, deque(maxlen=MOST_AT_ONCE))
        full = len(times) == MOST_AT_ONCE
        if full and timedelta() <= now - times[0] < WITHIN:
            raise TooOften("reading_too_often")
        times.append(now)


def _keep(
    scale: Scale, kept: int | None, loaded: datetime | None, now: datetime
) -> None:
    same = (kept, loaded) == (scale.mass_mg, scale.loaded_at)
    since = None if scale.read_at is None else abs(now - scale.read_at)
    if same and since is not None and (kept is None or since < REFRESH):
        return  # an empty scale stays empty, however often it says so
    with turns.turn():
        Scale.objects.filter(pk=scale.pk, token_sha256=scale.token_sha256).update(
            mass_mg=kept, loaded_at=loaded, read_at=now
        )
