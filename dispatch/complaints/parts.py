"""What the room adds to the pages of a case, of a revision, and of the day."""

from __future__ import annotations

from typing import Any

from dispatch.complaints.queries import complaints as queries
from dispatch.complaints.queries.trend import of_revision
from dispatch.complaints.words import SEVERITIES
from dispatch.models import Case, Complaint
from kitting.models import Revision
from kitting.web.parts import register

NEWEST = 20
"""So many complaints about a revision are shown."""


def _shown(rows: list[Complaint]) -> list[tuple[Complaint, object]]:
    return [(row, SEVERITIES[row.severity]) for row in rows]


def _of_case(case: Case) -> dict[str, Any] | None:
    found = Complaint.objects.filter(notes__case=case).distinct().order_by("pk")
    rows = list(found)
    return {"complaints": _shown(rows)} if rows else None


def _of_revision(revision: Revision) -> dict[str, Any] | None:
    found = queries.told().filter(queries.about_revision(revision.pk))
    many = found.count()
    if not many:
        return None
    rate = of_revision(revision.pk, many)
    return {"rate": rate, "complaints": _shown(list(found[:NEWEST]))}


def _of_day(_nothing: object) -> dict[str, Any] | None:
    many = queries.waiting()
    return {"waiting": many} if many else None


register("dispatch:case", "dispatch/complaints/_of_case.html", _of_case)
register("revision", "dispatch/complaints/_of_revision.html", _of_revision)
register("day", "dispatch/complaints/_day.html", _of_day)
