"""What is read of effectiveness checks: among whom they are drawn, and their results."""

from __future__ import annotations

from dataclasses import dataclass
from operator import attrgetter

from django.db.models import Prefetch

from dispatch.domain.effectiveness import Answer, Result, result_of
from dispatch.models import Case, Consignee, EffectAnswer, EffectCheck, EffectConsignee
from dispatch.notices.queries.whom import Whom, whom


def consignees_of(case: Case) -> list[Consignee]:
    """Everybody who has or had a recalled box of a case: whom its notice is for.

    Args:
        case: The case.

    Returns:
        The consignees by code; one that was merged is the one that it turned out to be.
    """
    found = [one.consignee for one in whom(case) if one.recalled]
    return sorted(found, key=attrgetter("code"))


@dataclass(frozen=True)
class Drawn:
    """A consignee of a draw."""

    row: EffectConsignee
    answers: list[EffectAnswer]
    """What it said, the newest first."""

    @property
    def whom(self) -> Whom:
        """Whom to call: the other one, where it was merged since."""
        return Whom(self.row.consignee.stays, ())

    @property
    def newest(self) -> EffectAnswer | None:
        """What counts of it."""
        return self.answers[0] if self.answers else None

    @property
    def answer(self) -> Answer | None:
        """What counts of it, for the arithmetic."""
        said = self.newest
        return Answer(said.got, said.understood, said.acted) if said else None


@dataclass(frozen=True)
class Checked:
    """A check of a case with what came of it."""

    check: EffectCheck
    everybody: list[EffectConsignee]
    """All among whom it was drawn, in the order of the draw."""
    drawn: list[Drawn]

    @property
    def result(self) -> Result:
        """How far it is."""
        return result_of([each.answer for each in self.drawn])


def checks_of(case: Case) -> list[Checked]:
    """The effectiveness checks of a case, the newest first.

    Args:
        case: The case.

    Returns:
        The checks.
    """
    answers = EffectAnswer.objects.select_related("operation").order_by("-pk")
    asked = EffectConsignee.objects.select_related("consignee__merged_into")
    asked = asked.order_by("nth").prefetch_related(Prefetch("answers", answers))
    found = EffectCheck.objects.filter(case=case).select_related("operation")
    return [
        _checked(row)
        for row in found.prefetch_related(Prefetch("consignees", asked)).order_by("-pk")
    ]


def _checked(row: EffectCheck) -> Checked:
    everybody = list(row.consignees.all())
    drawn = [Drawn(each, list(each.answers.all())) for each in everybody if each.drawn]
    return Checked(row, everybody, drawn)
