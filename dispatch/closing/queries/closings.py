"""What keeps a case open: boxes that nobody accounted for."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from dispatch.models import Case
from dispatch.recall.queries.cases import Listed, Whole
from dispatch.replies.queries import accounts as replies
from kitting.models import Lift


def unaccounted(found: Whole) -> list[Listed]:
    """The boxes of a case of which nobody knows the end.

    A box has an end that is in quarantine or voided, that the case holds no more, or of
    which a consignee says so for all its sets: see ``replies.queries.accounts``.

    Args:
        found: The case.

    Returns:
        The others, in the order of its list.
    """
    left = {each.box.box for each in replies.unaccounted(found.case)}
    return [box for box in found.boxes if box.box in left]


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
