"""A shift that begins at a bench: what was asked, and how it was answered."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from kitting.domain.commands import Asked, Command, Do
from kitting.domain.errors import Refused
from kitting.ledger import locking
from kitting.ledger.operations import Act, Sign, perform
from kitting.models import Bench, Tablet
from kitting.packing.queries.shift import MENU, NO, YES, asked_after, questions_at
from kitting.packing.services.scanned import Answer, Scan, did

ANSWERS: Final = {YES: "yes", f"{NO}{YES}": "no, then yes"}
"""How the journal keeps the answer to one question."""


@dataclass(frozen=True)
class Begun:
    """A shift that began at a bench."""

    bench: str
    """Code of the bench."""
    answers: dict[str, str]
    """By what was asked, in its order."""


def answer(scan: Scan, command: Command) -> Answer:
    """Take yes or no for the question on the screen; the last yes begins the shift.

    Args:
        scan: The scan, with what was answered before.
        command: Yes or no.

    Returns:
        The next question, or what was done.

    Raises:
        Refused: ``nothing_asked`` for answers that fit no questions.
    """
    said = scan.asked.end
    if command.do is Do.YES:
        said += YES
    elif not said.endswith(NO):
        said += NO
    bench = Bench.objects.get(pk=scan.bench_id)
    if scan.before is None and asked_after(said, questions_at(bench)):
        return Answer(asked=Asked(MENU, end=said))
    begun = begin_shift(bench_id=scan.bench_id, said=said, sign=scan.sign)
    return did("begin_shift", begun)


def begin_shift(*, bench_id: int, said: str, sign: Sign) -> Begun:
    """Begin a shift at the tied tablet of a bench, once all that is asked is answered.

    Args:
        bench_id: The bench.
        said: The answers in their order, a ``Y`` for each question, with an ``N`` before
            it where it was no at first.
        sign: Who, when, at this bench, and the operation key.

    Returns:
        The bench and the answers.

    Raises:
        Missing: ``row_missing`` if there is no such bench.
        Refused: ``nothing_asked`` where no tablet is tied, or the answers do not fit.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Begun:
        bench = locking.lock_row(Bench, bench_id)
        tied = Tablet.objects.filter(bench=bench, token_sha256__isnull=False)
        rows = locking.lock_found(tied)
        answers = _answers(said, questions_at(bench))
        if not rows:
            raise Refused("nothing_asked")
        rows[0].shift_by, rows[0].shift_at = sign.by, act.now
        rows[0].save(update_fields=["shift_by", "shift_at"])
        return Begun(bench.code, answers)

    return perform("begin_shift", work, Begun, sign, bench=bench_id, said=said)


def _answers(said: str, questions: tuple[str, ...]) -> dict[str, str]:
    given = [f"{one}{YES}" for one in said.split(YES)]
    end = given.pop()
    fits = end == YES and len(given) == len(questions)
    if not fits or not all(one in ANSWERS for one in given):
        raise Refused("nothing_asked")
    return {of: ANSWERS[one] for of, one in zip(questions, given, strict=True)}
