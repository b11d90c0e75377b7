"""What is asked at a tied tablet before the first box of whoever signed on there.

A shift begins where somebody signs on at a bench who was not the last to answer there, or
who answered on an earlier day. The questions wait until no box is in work: half of one
that is handed over belongs to the batch that is being packed. No other box starts before
they are answered, and all else goes on meanwhile, so that the bench can be cleared.
"""

from __future__ import annotations

from typing import Final

from django.utils import timezone

from kitting.models import Bench, BoxSize, User, Workshop

MENU: Final = "shift"
YES: Final = "Y"
NO: Final = "N"
CLEAR_OF: Final = ("bag", "box", "label")
"""What must not be left at the bench of another batch, in the order of asking."""
SCALE: Final = "scale"
"""The question behind them, where boxes are weighed at the bench."""


def is_due(bench: Bench, person: User) -> bool:
    """Tell whether somebody must answer before a box starts.

    Args:
        bench: The bench, with its tablet.
        person: Who is on there.

    Returns:
        False where no tablet is tied: there nobody signs on at a bench.
    """
    tablet = getattr(bench, "tablet", None)
    if tablet is None or tablet.token_sha256 is None:
        return False
    if tablet.shift_by_id != person.pk or tablet.shift_at is None:
        return True
    since = person.last_login or tablet.shift_at
    return timezone.localdate(tablet.shift_at) < timezone.localdate(since)


def questions_at(bench: Bench) -> tuple[str, ...]:
    """The questions at a bench, in the order of asking.

    Args:
        bench: The bench.

    Returns:
        Names of them; of the workshop's own, which come last, their words.
    """
    own = Workshop.objects.get(pk=1).shift_list
    packed = BoxSize.objects.filter(product__recipes__in_force=True, active=True)
    if bench.scale_step_mg is None or not packed.filter(weigh=True).exists():
        return (*CLEAR_OF, *own)
    return (*CLEAR_OF, SCALE, *own)


def asked_after(said: str, questions: tuple[str, ...]) -> str:
    """Give the question that comes next.

    Args:
        said: What was answered so far: ``Y`` leads on, ``N`` asks the same again.
        questions: All of them.

    Returns:
        Its name; empty behind the last.
    """
    answered = said.count(YES)
    return questions[answered] if answered < len(questions) else ""
