"""The catalogue's word on the workshop itself."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from kitting.domain import gs1
from kitting.labels.postal import country_name
from kitting.ledger import listing
from kitting.ledger.clock import time_zones
from kitting.ledger.sections import Found, register_one
from kitting.ledger.shelf import obey
from kitting.models import Workshop
from kitting.people.services.workshop import (
    Particulars,
    need_idle,
    questions_of,
    reasons_of,
)

UNNAMED = "Unnamed workshop"
"""The name of a workshop that nobody has named yet."""
USUAL = {
    name: getattr(Particulars, name)
    for name in ("two_people", "idle_min", "scrap_reasons", "shift_questions")
}
"""What has a value before anybody sets another."""
WORKSHOP_FIELDS = (
    *("name", "address", "country", "time_zone", "gs1_prefix", "contact"),
    "night_contact",
    *USUAL,
)

EMPTY = (
    dict.fromkeys(WORKSHOP_FIELDS, "") | {"name": UNNAMED, "time_zone": "UTC"} | USUAL
)
"""What a workshop says of itself before anybody did."""


def _workshop(found: Found, path: str, row: Mapping[str, Any]) -> None:
    """Name a workshop that has no name yet; else the file must say the same."""
    shelf, workshop = found.shelf, found.workshop
    shelf.known(path, row, WORKSHOP_FIELDS)
    given = shelf.values(Workshop, path, {"site": 1, **row})
    given = {name: given[name] for name in WORKSHOP_FIELDS if name in given}
    new = {
        name: value
        for name, value in given.items()
        if getattr(workshop, name) == EMPTY[name] != value
    }
    shelf.same(path, workshop, {n: v for n, v in given.items() if n not in new})
    if "time_zone" in new and new["time_zone"] not in time_zones():
        shelf.fault(f"{path}.time_zone", new["time_zone"], "catalogue_time_zone")
    if new.get("gs1_prefix"):
        obey(shelf, f"{path}.gs1_prefix", lambda: gs1.sscc(new["gs1_prefix"], 1))
    if new.get("country"):
        obey(shelf, f"{path}.country", lambda: country_name(new["country"]))
    if "idle_min" in new:
        obey(shelf, f"{path}.idle_min", lambda: need_idle(new["idle_min"]))
    if "scrap_reasons" in new:
        obey(shelf, f"{path}.scrap_reasons", lambda: reasons_of(new["scrap_reasons"]))
    if "shift_questions" in new:
        said = new["shift_questions"]
        obey(shelf, f"{path}.shift_questions", lambda: questions_of(said))
    if new and not shelf.problems:
        Workshop.objects.filter(pk=1).update(**new)
        shelf.touched.setdefault(Workshop, set()).add(1)


def _said() -> listing.Row:
    workshop = Workshop.objects.get(pk=1)
    row = listing.as_row(workshop)
    return {n: row[n] for n in WORKSHOP_FIELDS if getattr(workshop, n) != EMPTY[n]}


register_one(workshop=_workshop)
listing.register(workshop=_said)
