"""What keeps a case open: boxes that nobody accounted for."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from dispatch.models import Case
from dispatch.recall.queries.cases import Listed, Whole
from kitting.domain.stages import BoxStage
from kitting.models import Lift


def unaccounted(found: Whole) -> list[Listed]:
    """The boxes of a case of which nobody knows the end.

    A box has an end that is in quarantine or voided, or that the case holds no more.

    Args:
        found: The case.

    Returns:
        The others, in the order of its list.
    """
    return [box for box in found.boxes if not _has_its_end(box)]


def _has_its_end(box: Listed) -> bool:
    return not box.held or box.in_quarantine or box.now == BoxStage.VOIDED


@dataclass(frozen=True)
class Group:
    """Boxes that one reason may be given for: all that somebody has."""

    key: str
    name: str
    """The consignee that has them; empty for those that are here."""
    boxes: list[Listed]


def grouped(boxes: Iterable[Listed]) -> list[Group]:
    """Group boxes by who has them.

    Args:
        boxes: Boxes of a case.

    Returns:
        The groups, those that are here first.
    """
    found: dict[int, Group] = {}
    for box in boxes:
        key = 0 if box.here else box.whom or 0
        name = "" if box.here else box.has_it
        found.setdefault(key, Group(str(key), name, [])).boxes.append(box)
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
