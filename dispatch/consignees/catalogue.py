"""Inner steps of loading a catalogue: consignees, and what looks wrong in addresses."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, Final

from dispatch.consignees.queries import address_of
from dispatch.models import Consignee
from kitting.domain.errors import CodeError
from kitting.labels.postal import country_name, doubts
from kitting.ledger import listing
from kitting.ledger.sections import Found, register
from kitting.ledger.shelf import Problem, Shelf

PARTS: Final = ("street", "postcode", "city", "region")


def read_consignee(found: Found, path: str, row: Mapping[str, Any]) -> None:
    """Read one consignee, and add it or the parts of its address that are missing.

    A consignee that is on record without its address in parts gets them: nothing that
    was written is lost by it.

    Args:
        found: What is known so far.
        path: Path of the row.
        row: The row.
    """
    shelf = found.shelf
    before = len(shelf.problems)
    given = shelf.read(Consignee, path, row)
    _country(shelf, path, given)
    if given.get("country") and len(shelf.problems) == before:
        parts = {name: given.get(name, "") for name in ("country", *PARTS)}
        new = ("Consignee", given["code"]) not in shelf.seen
        old = shelf.there(Consignee(**given), ("code",))
        bare = old if new and old is not None and not old.country else None
        if bare is not None and shelf.fill(path, bare, parts):
            shelf.added["Address"] += 1
    shelf.place(path, Consignee(**given), ("code",), given)


def _country(shelf: Shelf, path: str, given: Mapping[str, Any]) -> None:
    here, country = f"{path}.country", given.get("country", "")
    if not country:
        if any(given.get(name) for name in PARTS):
            shelf.fault(here, "", "address_without_country")
        return
    try:
        country_name(country)
    except CodeError as error:
        shelf.fault(here, country, error.code, **error.params)


def doubts_in(data: object) -> Iterator[Problem]:
    """Say what looks wrong in the addresses of a catalogue that can be loaded.

    Args:
        data: What the file says, as JSON is read; no problem was found in it.

    Yields:
        What is kept and printed as it is written, but ought to be looked at.
    """
    shelf = Shelf()
    for path, row in shelf.rows(data if isinstance(data, dict) else {}, "consignees"):
        given = shelf.values(Consignee, path, row)
        if any(given.get(name) for name in PARTS):
            for each in doubts(address_of(Consignee(**given))):
                yield Problem(path, str(given["code"]), each.code, each.params)


register(consignees=read_consignee)
listing.register(consignees=lambda: listing.as_rows(Consignee.objects.order_by("pk")))
