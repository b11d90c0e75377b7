"""One scan at a bench, and what it is answered with."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Any

from kitting.domain.commands import NOTHING, Asked
from kitting.domain.errors import Conflict, OperationKeyReused, Refused
from kitting.ledger.operations import Earlier, Sign, outcome_of
from kitting.models import Box
from kitting.packing.queries.at_hand import AtHand
from kitting.packing.queries.bench_rows import Left, newest_box
from kitting.packing.queries.boxes import box_of_number
from kitting.packing.queries.undo import Past

if TYPE_CHECKING:
    from _typeshed import DataclassInstance


@dataclass(frozen=True)
class Answer:
    """What a scan did, or what it asks for before it can do anything."""

    did: str = ""
    """Name of the act in the journal; empty if nothing was written."""

    asked: Asked = NOTHING
    """The choice to show, by its menu: one of ``bench_next.MENUS``."""

    about: str = ""
    """What it is asked about, in words, where it is of some pieces only."""

    bag: AtHand | None = None
    """The bag that it is asked about, where it is of one."""

    past: Past | None = None
    """The last act at the bench, where it is asked what to undo."""

    outcome: dict[str, Any] = field(default_factory=dict)
    """What the act gave, by name; as it stands in the journal."""

    left: Left | None = field(default=None, compare=False, repr=False)
    """What it left at the bench, where it says so."""

    @property
    def menu(self) -> str:
        """Which choice is shown."""
        return self.asked.menu


@dataclass(frozen=True)
class Scan:
    """One scan at a bench."""

    bench_id: int
    box: str
    """Number of the box that the screen showed as the newest; empty if none."""

    sign: Sign
    asked: Asked
    """What the screen asked."""
    waited: bool = False
    """Whether it waited for the network."""
    goes_on: bool = True
    """Whether the next box may start by itself."""
    shift_due: bool = False
    """Whether it must be answered first what is asked at the start of a shift."""
    read: Box | None = None
    """The bench's newest box, where it was just read."""

    @cached_property
    def newest(self) -> Box | None:
        """The bench's newest box as the scan began; acts read it again under a lock."""
        return self.read or newest_box(self.bench_id)

    @property
    def before(self) -> Earlier | None:
        """What was done under its key; looked up after the box, for a race is one too."""
        return outcome_of(self.sign)

    def need_same_box(self) -> None:
        """Refuse what was meant for another box than the bench has now."""
        number = self.newest.number if self.newest else ""
        if self.box != number and self.before is None:
            raise Conflict("bench_has_another_box")

    def target(self) -> Box | None:
        """The box of the first outcome where there is one, else the bench's newest."""
        before = self.before
        if before is None:
            return self.newest
        if "box_id" in before.outcome:
            return Box.objects.get(pk=before.outcome["box_id"])
        gave = before.outcome
        box = box_of_number(gave.get("box") or gave.get("thing", ""))
        if box is None:
            raise OperationKeyReused("operation_key_reused", act=before.name)
        return box

    def box_in_work(self) -> Box:
        """The newest box of the bench; in work unless this act is a repeated one."""
        box = self.newest
        if box is not None and box.in_work and box.number == self.box:
            return box  # that was meant, also by whoever sends this again
        box = self.target()
        if box is None:
            raise Refused("bench_has_no_box")
        if not box.in_work and self.before is None:
            raise Refused("bench_has_no_box")
        return box


def did(name: str, outcome: DataclassInstance) -> Answer:
    """Say what an act gave.

    Args:
        name: Its name in the journal.
        outcome: What it gave.

    Returns:
        The answer.
    """
    return Answer(did=name, outcome=asdict(outcome))
