"""What must be met before reduced inspection may begin: figures and a person's word.

Two of the standard's four conditions are facts on record, two are somebody's judgement:
that production is steady, and that reduced inspection is wanted.

The printed limit numbers (Table VIII) are not here, because no copy of them could be
checked. ANSI/ASQ Z1.4, 8.5, lets their condition be dropped where the responsible
authority agrees. Instead of nothing, the workshop's own rule stands in their place: the
samples must not have been worse than the AQL. It asks for less than the table did, so
the officer sees the figures and answers for them.

References:
    MIL-STD-105E, 4.7.3 a to d; ANSI/ASQ Z1.4, 8.3.3 and 8.5.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

from kitting.domain.errors import Refused
from kitting.domain.exact import Number, exact
from kitting.domain.sampling.switching import ACCEPTED_TO_REDUCE, State


class Sampled(NamedTuple):
    """The sample of one class that was taken from one lot."""

    found: int
    """Bad pieces of the class."""
    size: int
    """Pieces looked at."""
    passed: bool
    """The lot was accepted, whatever class decided it."""


@dataclass(frozen=True, slots=True)
class Standing:
    """What the lots of one class have shown since normal inspection began."""

    on_normal: bool
    """Inspection is normal now, and not stopped."""
    lots: int
    """Lots accepted in a row on normal inspection."""
    needed: int
    """Lots that must have been."""
    found: int
    """Bad pieces in the samples of the last of those lots, ``needed`` at most."""
    looked_at: int
    """Pieces in these samples."""
    most: int
    """Bad pieces in as many at the AQL, rounded down."""

    @property
    def enough_lots(self) -> bool:
        """Whether so many lots were accepted in a row."""
        return self.on_normal and self.lots >= self.needed

    @property
    def good_enough(self) -> bool:
        """Whether the samples were no worse than the AQL."""
        return self.found <= self.most

    @property
    def met(self) -> bool:
        """Whether everything is met that figures can tell."""
        return self.enough_lots and self.good_enough


def standing_of(state: State, samples: Sequence[Sampled], aql: Number) -> Standing:
    """Set what lots have shown beside what reduced inspection asks for.

    Args:
        state: How the class is inspected now.
        samples: Of all lots of the class so far, oldest first.
        aql: Acceptable quality level in percent defective.

    Returns:
        The figures.

    Raises:
        CodeError: ``figure_unreadable`` if the AQL is no figure.
    """
    on_normal = state.severity == "normal" and not state.stopped
    lots = 0
    if on_normal:
        since = samples[len(samples) - state.accepted_in_a_row :]
        failed = [at for at, sample in enumerate(since, 1) if not sample.passed]
        lots = len(since) - max(failed, default=0)
    last = samples[len(samples) - min(lots, ACCEPTED_TO_REDUCE) :]
    looked_at = sum(sample.size for sample in last)
    return Standing(
        on_normal=on_normal,
        lots=lots,
        needed=ACCEPTED_TO_REDUCE,
        found=sum(sample.found for sample in last),
        looked_at=looked_at,
        most=math.floor(exact(aql) * looked_at / 100),
    )


def need_reducible(standing: Standing, *, steady: bool) -> None:
    """Refuse reduced inspection where anything of it is not met.

    Args:
        standing: What the lots of the class have shown.
        steady: Somebody says that production is at a steady rate.

    Raises:
        Refused: ``reduced_from_normal_only``, ``reduced_needs_lots``,
            ``reduced_too_many_bad`` or ``production_not_steady``.
    """
    if not standing.on_normal:
        raise Refused("reduced_from_normal_only")
    if not standing.enough_lots:
        raise Refused("reduced_needs_lots", lots=standing.lots, needed=standing.needed)
    if not standing.good_enough:
        raise Refused(
            "reduced_too_many_bad",
            found=standing.found,
            pieces=standing.looked_at,
            most=standing.most,
        )
    if not steady:
        raise Refused("production_not_steady")
