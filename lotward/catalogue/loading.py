"""The catalogue of a workshop, loaded from a file: places to consignees, by code.

Loading adds what is missing and never changes what is there: boxes, labels and dates
hang on it. What the file says otherwise than the record is a problem with its path,
and with one problem nothing is written. ``fixtures/harrow_lane.json`` shows the form.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.db import transaction

from dispatch.consignees.catalogue import doubts_in
from kitting.domain.errors import Refused
from kitting.ledger import upheld
from kitting.ledger.operations import Act, Sign, perform
from kitting.ledger.sections import Found, read_all
from kitting.ledger.shelf import Problem


class CatalogueRefused(Refused):
    """A catalogue with problems; nothing of it was written."""

    def __init__(self, problems: tuple[Problem, ...]) -> None:
        super().__init__("catalogue_has_problems", count=len(problems))
        self.problems = problems


@dataclass(frozen=True)
class Loaded:
    """How many rows a catalogue added; what was there already is not counted."""

    places: int
    benches: int
    parts: int
    revisions: int
    yields: int
    defects: int
    """Kinds of defect that are looked for."""
    methods: int
    products: int
    sizes: int
    recipes: int
    in_force: int
    """Recipes that came into force."""
    meters: int
    calibrations: int
    protocols: int
    consignees: int
    stocks: int
    """Of labels."""
    printers: int
    addresses: int
    """Consignees on record that got their address in parts."""


def load_catalogue(*, data: object, sign: Sign) -> Loaded:
    """Load a catalogue: all of it or nothing.

    Args:
        data: What the file says, as JSON is read.
        sign: Who, when and the operation key.

    Returns:
        How many rows were added.

    Raises:
        CatalogueRefused: With every problem that was found.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> Loaded:
        found = _read(data, act.now)
        if found.shelf.problems:
            raise CatalogueRefused(tuple(found.shelf.problems))
        act.write(*found.events)
        act.upheld = True
        return _loaded(found)

    return perform("load_catalogue", work, Loaded, sign, catalogue=data)


def try_catalogue(*, data: object, now: datetime) -> Loaded:
    """Say what loading a catalogue would add; nothing is written.

    Args:
        data: What the file says, as JSON is read.
        now: The moment.

    Returns:
        How many rows would be added.

    Raises:
        CatalogueRefused: With every problem that was found.
    """
    with transaction.atomic(durable=True):
        found = _read(data, now)
        transaction.set_rollback(True)
    if found.shelf.problems:
        raise CatalogueRefused(tuple(found.shelf.problems))
    return _loaded(found)


def doubts_about(data: object) -> tuple[Problem, ...]:
    """Say what looks wrong in a catalogue that was loaded or could be.

    Args:
        data: What the file says, as JSON is read.

    Returns:
        What was kept as it is written, but ought to be looked at: addresses.
    """
    return tuple(doubts_in(data))


def _read(data: object, now: datetime) -> Found:
    """Read a catalogue, and ask the rules of what it wrote where nothing is wrong."""
    found = read_all(data, now)
    shelf = found.shelf
    for error in () if shelf.problems else upheld.faults(shelf.touched):
        shelf.fault("", error.params.get("of", ""), error.code, **error.params)
    return found


def _loaded(found: Found) -> Loaded:
    added = found.shelf.added
    return Loaded(
        places=added["Place"],
        benches=added["Bench"],
        parts=added["Part"],
        revisions=added["Revision"],
        yields=added["Yield"],
        defects=added["DefectKind"],
        methods=added["Method"],
        products=added["Product"],
        sizes=added["BoxSize"],
        recipes=added["Recipe"],
        in_force=added["in force"],
        meters=added["Meter"],
        calibrations=len(found.events),
        protocols=added["Protocol"],
        consignees=added["Consignee"],
        stocks=added["Stock"],
        printers=added["Printer"],
        addresses=added["Address"],
    )
