"""Which tablet a bench is tied to: where one is, nothing is done there from another.

A tablet that is tied carries a random token in a cookie, of which only the hash is
kept. It stands for the place, not for a person: who is on there says so by signing in.
That it is the right one is asked twice. The page asks, so that nothing is begun in
vain; and each act that is done at a bench asks once more when it has locked the
journal's head. Whoever unties a tablet locks that head as well, so in the order of the
journal no act of a tablet stands behind the one that untied it, and none of a badge
behind the one that revoked it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from kitting.domain.errors import Refused
from kitting.ledger.kept import Kept
from kitting.models import Badge, Tablet

if TYPE_CHECKING:
    from kitting.ledger.operations import Sign

_TABLET = Kept(lambda bench: Tablet.objects.filter(bench=bench).select_related("bench"))

_VALID = Kept(lambda badge: Badge.objects.filter(pk=badge, revoked_at__isnull=True))


def need_tied(sign: Sign) -> None:
    """Refuse an act at a bench from anything but the tablet that is tied to it.

    Args:
        sign: Where the act is done, and from which tablet.

    Raises:
        Refused: ``bench_tied_elsewhere``; ``badge_revoked_meanwhile``, for whoever
            signed on there by a badge.
    """
    if sign.bench_id is None:
        return
    if sign.badge_id is not None and not _VALID(sign.badge_id):
        raise Refused("badge_revoked_meanwhile", name=str(sign.by))
    for row in _TABLET(sign.bench_id):
        if not is_from(row, sign):
            raise Refused("bench_tied_elsewhere", bench=row.bench.name)


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
