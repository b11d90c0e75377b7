"""Tablets tied to benches: a code is given, a tablet takes it up, a tie is ended.

Two secrets. The *code* has twelve digits, is read off one screen and entered on another,
and ties one tablet within ten minutes. Whoever tries two hundred codes a second for all
of them, which is more than the server answers, finds it once in eight million times; so
none are counted, and nobody on the network can make a code good for nothing. The *token*
is what the tied tablet carries from then on. Both are made by ``ledger.given``; that of
the code is kept so that it needs the server's secret to be tried.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import Final
from uuid import UUID

from kitting.domain.errors import Conflict, Refused
from kitting.ledger import locking
from kitting.ledger.given import mark_of, secret_of
from kitting.ledger.operations import Act, Sign, perform
from kitting.models import Bench, Tablet, User

CODE_MIN: Final = 10
"""Minutes for which a code can be taken up."""
CODE_DIGITS: Final = 12


@dataclass(frozen=True)
class CodeGiven:
    """A code that ties a tablet to a bench; the journal does not have it."""

    bench: str
    """Code of the bench."""
    name: str
    minutes: int


@dataclass(frozen=True)
class Tied:
    """A bench whose tablet was tied or untied."""

    bench: str
    """Code of the bench."""
    name: str


def code_of(key: UUID) -> str:
    """Give the code that was given under an operation key.

    Args:
        key: The operation key of ``give_code``.

    Returns:
        Twelve digits.
    """
    secret = secret_of("tablets.code", key)
    return str(int(secret, 16) % 10**CODE_DIGITS).zfill(CODE_DIGITS)


def token_of(key: UUID, code: str) -> str:
    """Give the token of the tablet that took up a code.

    Args:
        key: The operation key of ``tie_tablet``.
        code: The code.

    Returns:
        The token, 64 hexadecimal digits.
    """
    return secret_of("tablets.token", key, code)


def _code_mark(code: str) -> str:
    return secret_of("tablets.mark", code)


def give_code(*, bench_id: int, sign: Sign) -> CodeGiven:
    """Give the code by which a tablet is tied to a bench; see ``code_of``.

    The tablet that is tied stays so until another one takes the code up. An earlier
    code is good for nothing from now on.

    Args:
        bench_id: The bench.
        sign: Who, when and the operation key.

    Returns:
        The bench, and for how long the code is good.

    Raises:
        Missing: ``row_missing`` if there is no such bench.
        Refused: ``bench_closed``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> CodeGiven:
        bench = locking.lock_row(Bench, bench_id)
        if not bench.active:
            raise Refused("bench_closed", bench=bench.name)
        known = locking.lock_found(Tablet.objects.filter(bench=bench))
        row = known[0] if known else Tablet(bench=bench)
        row.code_mark = _code_mark(code_of(sign.key))
        row.code_until = act.now + timedelta(minutes=CODE_MIN)
        row.code_by = sign.by
        row.save()
        return CodeGiven(bench.code, bench.name, CODE_MIN)

    return perform("give_code", work, CodeGiven, sign, bench=bench_id)


def giver_of(code: str) -> User | None:
    """Find who gave a code, in whose name a tablet is tied by it.

    Args:
        code: What was entered.

    Returns:
        The person; None if nobody did.
    """
    found = Tablet.objects.filter(code_mark=_code_mark(code)).select_related("code_by")
    row = found.order_by("-code_until").first()
    return None if row is None else row.code_by


def tie_tablet(*, code: str, sign: Sign) -> Tied:
    """Tie a tablet to the bench whose code it takes up; any other is untied by that.

    Args:
        code: The code.
        sign: Who gave the code, when, and the operation key; see ``token_of``.

    Returns:
        The bench.

    Raises:
        Refused: ``tie_code_wrong`` for one that is unknown, too old or taken up
            before; ``bench_closed``.
        OperationKeyReused: If the key was used for another act.
    """
    mark = _code_mark(code)

    def work(act: Act) -> Tied:
        found = locking.lock_found(Tablet.objects.filter(code_mark=mark), "bench")
        good = [row for row in found if row.code_until and act.now <= row.code_until]
        if not good:
            raise Refused("tie_code_wrong")
        row = good[0]
        if not row.bench.active:
            raise Refused("bench_closed", bench=row.bench.name)
        row.token_sha256 = mark_of(token_of(sign.key, code))
        row.tied_at = act.now
        row.code_until = None
        row.save()
        return Tied(row.bench.code, row.bench.name)

    return perform("tie_tablet", work, Tied, sign, code=mark)


def untie_tablet(*, bench_id: int, sign: Sign) -> Tied:
    """Untie the tablet of a bench: nothing is done from it any more, from now on.

    A code that was given and not taken up is good for nothing either.

    Args:
        bench_id: The bench.
        sign: Who, when and the operation key.

    Returns:
        The bench.

    Raises:
        Conflict: ``tablet_not_tied``.
        Missing: ``row_missing`` if there is no such bench.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Tied:
        bench = locking.lock_row(Bench, bench_id)
        known = locking.lock_found(Tablet.objects.filter(bench=bench))
        if not known or (known[0].token_sha256 is None and not known[0].code_until):
            raise Conflict("tablet_not_tied", bench=bench.name)
        row = known[0]
        row.token_sha256 = row.tied_at = row.code_until = None
        row.save()
        return Tied(bench.code, bench.name)

    return perform("untie_tablet", work, Tied, sign, bench=bench_id)
