"""PINs: set, tried with a badge, allowed again.

A PIN is kept like a password, by the framework's slow hash, and before that it goes
through a keyed one with the server's secret: whoever gets at the database alone, or a
backup of it, cannot try ten thousand PINs against it. That a PIN was tried is counted
before it is compared, under the lock of the badge and of the tablet, so two that come at
once count twice, and a server that starts anew knows it still. An unknown badge takes
as long as a known one, counts at the tablet as well and is answered alike.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cache

from django.contrib.auth.hashers import check_password, make_password
from django.db import transaction

from kitting.domain import pins
from kitting.domain.errors import Refused
from kitting.ledger import locking, turns
from kitting.ledger.given import secret_of
from kitting.ledger.operations import Act, Sign, perform
from kitting.models import Badge, Tablet, User


@dataclass(frozen=True)
class PinOf:
    """Somebody whose PIN was set, or may be tried again."""

    person: int
    name: str


def set_pin(*, user_id: int, pin: str, sign: Sign) -> PinOf:
    """Set somebody's PIN, or another one; it may be tried again with all their badges.

    Whoever is on by the old one is signed off with the next page they ask for.

    Args:
        user_id: The person.
        pin: 4 to 12 digits; only the hash is kept, and none of it in the journal.
        sign: Who, when and the operation key.

    Returns:
        The person.

    Raises:
        CodeError: ``pin_malformed``, ``pin_easy``.
        Missing: ``row_missing`` if there is no such person.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> PinOf:
        pins.need_good_pin(pin)
        person = locking.lock_row(User, user_id)
        person.pin = make_password(_keyed(pin, person.pk))
        person.save(update_fields=["pin"])
        return _allowed(person)

    return perform("set_pin", work, PinOf, sign, person=user_id)


def allow_pin(*, user_id: int, sign: Sign) -> PinOf:
    """Let somebody's PIN be tried again that was wrong too often.

    Args:
        user_id: The person.
        sign: Who, when and the operation key.

    Returns:
        The person.

    Raises:
        Missing: ``row_missing`` if there is no such person.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> PinOf:
        return _allowed(locking.lock_row(User, user_id))

    return perform("allow_pin", work, PinOf, sign, person=user_id)


def _allowed(person: User) -> PinOf:
    Badge.objects.filter(user=person).update(pin_tries=0, tried_at=None)
    return PinOf(person.pk, str(person))


def try_pin(*, badge_id: int, tablet_id: int, pin: str, now: datetime) -> Badge:
    """Compare a PIN with the one of the person whose badge was scanned.

    Args:
        badge_id: The badge; 0 for one that nobody has.
        tablet_id: The tablet at which it is entered.
        pin: What was entered.
        now: The moment, by the machine's clock.

    Returns:
        The badge with its person.

    Raises:
        Refused: ``pin_malformed``, which is no try; ``pin_wrong``; ``pin_wait``,
            ``pin_blocked`` or ``tablet_blocked``, and then it was not compared.
    """
    if not pins.is_pin(pin):
        raise Refused("pin_malformed", least=pins.SHORTEST, most=pins.LONGEST)
    with turns.turn(), transaction.atomic(durable=True):
        _count(_rows(badge_id, tablet_id), now)
    valid = Badge.objects.filter(pk=badge_id, revoked_at__isnull=True)
    badge = valid.select_related("user").filter(user__is_active=True).first()
    person_id, kept = 0, _nobodys()
    if badge is not None:
        person_id, kept = badge.user_id, badge.user.pin or kept
    # It is compared in any case: how long the answer takes tells nothing.
    if not check_password(_keyed(pin, person_id), kept) or badge is None:
        raise Refused("pin_wrong")
    with turns.turn(), transaction.atomic(durable=True):
        for row in _rows(badge_id, tablet_id):
            row.pin_tries, row.tried_at = 0, None
            row.save(update_fields=["pin_tries", "tried_at"])
    return badge


def _rows(badge_id: int, tablet_id: int) -> list[Badge | Tablet]:
    badges = locking.lock_found(Badge.objects.filter(pk=badge_id))
    tablets = locking.lock_found(Tablet.objects.filter(pk=tablet_id))
    return [*badges, *tablets]


def _count(rows: Sequence[Badge | Tablet], now: datetime) -> None:
    for row in rows:
        of_badge = isinstance(row, Badge)
        if row.pin_tries >= (pins.BADGE_TRIES if of_badge else pins.TABLET_TRIES):
            raise Refused("pin_blocked" if of_badge else "tablet_blocked")
        until = (row.tried_at or now) + timedelta(seconds=pins.wait_s(row.pin_tries))
        left = min(until - now, timedelta(seconds=pins.LONGEST_WAIT_S))
        if left > timedelta():
            raise Refused("pin_wait", seconds=-(-left // timedelta(seconds=1)))
    for row in rows:
        row.pin_tries, row.tried_at = row.pin_tries + 1, now
        row.save(update_fields=["pin_tries", "tried_at"])


def _keyed(pin: str, person_id: int) -> str:
    return secret_of("pins", person_id, pin)


@cache
def _nobodys() -> str:
    """What no PIN fits, hashed like anybody's."""
    return make_password("nobody's")
