"""What keeps a case open: boxes that nobody accounted for, by who has them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from dispatch.models import Case, Closing
from dispatch.recall.queries.cases import closing_of
from dispatch.replies.queries.accounts import Account
from kitting.models import Lift


@dataclass(frozen=True)
class Group:
    """Boxes that one reason may be given for: all that somebody has."""

    key: str
    name: str
    """The consignee that has them; empty for those that are here."""
    boxes: list[Account]

    @property
    def sets(self) -> int:
        """Sets of them that are not accounted for."""
        return sum(each.unaccounted for each in self.boxes)


def grouped(boxes: Iterable[Account]) -> list[Group]:
    """Group boxes by who has them.

    Args:
        boxes: Boxes of a case.

    Returns:
        The groups, those that are here first.
    """
    found: dict[int, Group] = {}
    for each in boxes:
        key = each.box.whom or 0 if each.box.has_it else 0
        group = found.setdefault(key, Group(str(key), each.box.has_it, []))
        group.boxes.append(each)
    return sorted(found.values(), key=lambda group: (group.key != "0", group.name))


def mark_of_scope(case: Case) -> str:
    """Name how a case stands, so that a closing meets what its person read.

    Args:
        case: The case.

    Returns:
        Its looks, and how many of its holds are lifted.
    """
    lifted = Lift.objects.filter(hold__of_case__look__case=case).count()
    return f"{case.looks.count()}-{lifted}"


@dataclass(frozen=True)
class Ended:
    """How often a case was closed, and whether it is."""

    standing: Closing | None
    closings: list[Closing]
    """Each with its act, its boxes and what reopened it, the newest first."""


def ended(case: Case) -> Ended:
    """Read the closings of a case.

    Args:
        case: The case.
    """
    found = Closing.objects.filter(case=case).order_by("-nth")
    found = found.select_related("operation", "reopening__operation")
    return Ended(closing_of(case), list(found.prefetch_related("boxes__box")))
