"""Which tablet a bench is tied to: where one is, nothing is done there from another.

A tablet that is tied carries a random token in a cookie, of which only the hash is
kept. It stands for the place, not for a person: who is on there says so by signing in.
That it is the right one is asked twice. The page asks, so that nothing is begun in
vain; and each act that is done at a bench asks once more when it has locked the
journal's head: on SQLite that is as soon as it began, for nobody else writes then.
Whoever unties a tablet locks that head as well, so in the order of the journal no act of
a tablet stands behind the one that untied it, and none of a badge behind the one that
revoked it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, TypeVar

from django.db.models import Exists, Model, QuerySet, Subquery

from kitting.domain.errors import Refused
from kitting.models import Badge, Bench, JournalHead, Tablet, Workshop

if TYPE_CHECKING:
    from kitting.ledger.operations import Sign


M = TypeVar("M", bound=Model)


def with_tied(rows: QuerySet[M], bench: int, *badge: int) -> QuerySet[M]:
    """Read with a row what an act at a bench asks.

    Args:
        rows: The row: the workshop, or the head of its journal.
        bench: The bench.
        *badge: The badge with which somebody signed on there, where it was by one.

    Returns:
        The same row, which says what ``need_tied`` takes.
    """
    tied = Tablet.objects.filter(bench=bench)
    added: dict[str, Any] = {"tied_token": Subquery(tied.values("token_sha256"))}
    if badge:
        valid = Badge.objects.filter(pk=badge[0], revoked_at__isnull=True)
        added["badge_valid"] = Exists(valid)
    found: QuerySet[M] = rows.annotate(**added)
    return found


def asked_of(sign: Sign) -> list[int]:
    """What ``with_tied`` is to ask of an act; nothing for one that is at no bench."""
    if sign.bench_id is None:
        return []
    return [sign.bench_id, *([] if sign.badge_id is None else [sign.badge_id])]


def need_tied(sign: Sign, read: Workshop | JournalHead) -> None:
    """Refuse an act at a bench from anything but the tablet that is tied to it.

    Args:
        sign: Where the act is done, and from which tablet.
        read: What was read ``with_tied`` when nobody could end that any more.

    Raises:
        Refused: ``bench_tied_elsewhere``; ``badge_revoked_meanwhile``, for whoever
            signed on there by a badge.
    """
    asked = asked_of(sign)
    if not asked:
        return
    if not read.badge_valid:
        raise Refused("badge_revoked_meanwhile", name=str(sign.by))
    if read.tied_token not in (None, sign.tablet):
        bench = Bench.objects.get(pk=asked[0])
        raise Refused("bench_tied_elsewhere", bench=bench.name)


def is_from(row: Tablet | None, sign: Sign) -> bool:
    """Tell whether an act comes from where the bench takes it.

    Args:
        row: The bench's row of its tablet; it may have none.
        sign: From which tablet the act comes.

    Returns:
        True as well where none is tied.
    """
    token = None if row is None else row.token_sha256
    return token is None or token == sign.tablet
