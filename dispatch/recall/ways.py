"""Ways on the page of a case: to each of its parts, those first where there is to do."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from django.utils.functional import Promise
from django.utils.translation import gettext as _

from dispatch.recall.queries.bringing import Bringing
from dispatch.recall.queries.cases import Whole
from kitting.web.figures import amount


@dataclass(frozen=True)
class Way:
    """A way to a part of the page; a part gives its own as ``ways`` among what it shows."""

    to: str
    """The id of its heading."""
    title: str | Promise
    to_do: str = ""
    """What there is to do, begun with a verb; empty for nothing."""
    right: str = ""
    """Without which nobody is told of that; empty for everybody."""
    always: bool = False
    """Whether that is to be done in a closed case as well."""


def ways(
    found: Whole,
    left: Bringing,
    parts: Iterable[tuple[str, Mapping[str, Any]]],
    *,
    closed: bool,
) -> list[Way]:
    """Give the ways to all parts of the page of a case, in the order of what is to do.

    What would still leave comes off its shipment first; then people are told, and what is
    held here can wait for that.

    Args:
        found: The case.
        left: What of it is to be brought to quarantine.
        parts: What later rooms add to its page.
        closed: Whether it is: then hardly anything is left to do.

    Returns:
        The ways.
    """
    given = [way for _template, shown in parts for way in shown.get("ways", ())]
    if found.standing and not closed:
        given.insert(0 if found.to_take_off else 1, _to_pull(found, left))
    if closed:
        given = [way if way.always else replace(way, to_do="") for way in given]
    own = [
        Way("scope", _("What it is about")),
        Way("boxes", _("Boxes that it reached")),
    ]
    return [*given, *own]


def _to_pull(found: Whole, left: Bringing) -> Way:
    to_do = ""
    if found.to_take_off:
        to_do = _("Take %(boxes)s off shipments") % {
            "boxes": amount(len(found.to_take_off), "box")
        }
    elif left.left:
        to_do = _("Bring %(left)s to quarantine, of %(total)s that are here") % {
            "left": left.left,
            "total": left.total,
        }
    return Way("pull", _("To bring to quarantine"), to_do)
