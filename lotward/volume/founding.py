"""What a workshop has before its first lot: people, catalogue, hospitals, a protocol."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from random import Random
from typing import Any, Final
from uuid import UUID

from dispatch.models import Consignee
from kitting.disinfection.queries.protocols import mark_of, terms_of
from kitting.disinfection.services import evidence, protocols
from kitting.ledger.operations import Sign
from kitting.ledger.pinned import Pinned, pinned_by
from kitting.models import (
    Bench,
    BoxSize,
    Meter,
    Place,
    Protocol,
    Recipe,
    Revision,
    User,
    Workshop,
)
from lotward.catalogue.loading import load_catalogue
from lotward.demo import masterdata
from lotward.demo.evidence import MEANING, REPORTS
from lotward.demo.people import make_people

CONSIGNEES: Final = 500
PRODUCT: Final = "FS1EN"
MOST_ON: Final = 1_000
"""Pieces of a bag that may go on the belt at once."""

BY_SIGHT: Final = ("HB", "CH", "VI")
"""Parts of which every piece is looked at."""
ON_THE_BELT: Final = ("HB", "VI")
PARTS: Final = (*BY_SIGHT, "EL", "MA")

KINDS: Final = ("General", "Infirmary", "Children's", "Community Hospital", "Care Home")


@dataclass(frozen=True)
class Founded:
    """What the acts of a history name."""

    gs1_prefix: str
    people: dict[str, User]
    places: dict[str, Place]
    benches: list[Bench]
    meter: Meter
    protocol: Protocol
    recipe: Recipe
    pinned: Pinned
    revisions: dict[str, Revision]
    sizes: list[BoxSize]
    consignees: list[Consignee]


def found(begin: datetime, luck: Random, ahead: timedelta) -> Founded:
    """Found a workshop in an empty database, by the services.

    Args:
        begin: The moment of the first act.
        luck: For the keys of the acts.
        ahead: How far its clock is ahead of this machine's.

    Returns:
        What its acts name.
    """
    masterdata.found_workshop(masterdata.read(), ahead)
    people = make_people(begin)
    signs = _signs(people, begin, luck)
    load_catalogue(data=catalogue(begin.date()), sign=next(signs)["manager"])
    _sign_protocol(begin.date(), signs)
    recipe = Recipe.objects.select_related("product").get(product__code=PRODUCT)
    revisions = Revision.objects.select_related("part").order_by("pk")
    return Founded(
        gs1_prefix=Workshop.objects.get().gs1_prefix,
        people=people,
        places={place.code: place for place in Place.objects.all()},
        benches=list(Bench.objects.order_by("pk")),
        meter=Meter.objects.get(),
        protocol=Protocol.objects.get(),
        recipe=recipe,
        pinned=pinned_by(recipe.pk),
        revisions={each.part.code: each for each in revisions},
        sizes=list(BoxSize.objects.filter(product=recipe.product).order_by("sets")),
        consignees=list(Consignee.objects.order_by("pk")),
    )


def _signs(
    people: dict[str, User], begin: datetime, luck: Random
) -> Iterator[dict[str, Sign]]:
    """The signatures of everybody, a minute after the other; one of each is used."""
    now = begin
    while True:
        key = UUID(bytes=luck.randbytes(16))
        yield {name: Sign(by=by, key=key, now=now) for name, by in people.items()}
        now += timedelta(minutes=1)


def catalogue(begin: date) -> dict[str, Any]:
    """The demo's catalogue, of one product, and many hospitals of its own.

    Args:
        begin: The first day.

    Returns:
        What a catalogue's file says.
    """
    data = masterdata.read()
    data.pop("workshop")
    parts = [part for part in data["parts"] if part["code"] in PARTS]
    for part in parts:
        code = part["code"]
        part |= {"sampled": False, "revisions": part["revisions"][:1]}
        part |= {"needs_check": code in BY_SIGHT, "needs_clearing": code in ON_THE_BELT}
    (product,) = (each for each in data["products"] if each["code"] == PRODUCT)
    product["sizes"] = [
        {name: value for name, value in size.items() if name != "carton"}
        for size in product["sizes"]
    ]
    product["recipes"] = [{**product["recipes"][0], "from": str(begin)}]
    meter = {**data["meters"][0], "calibrated": str(begin - timedelta(days=30))}
    meter["due"] = str(begin + timedelta(days=3_000))
    (belt,) = (p for p in data["protocols"] if (p["code"], p["version"]) == ("BELT", 2))
    loads = [
        {**load, "container": "tote", "max_pieces": MOST_ON}
        for load in belt["loads"]
        if load["part"] in ON_THE_BELT and load["revision"] in {"A", "C"}
    ]
    protocol = {**belt, "version": 1, "in_force_from": str(begin), "loads": loads}
    return {
        **{name: data[name] for name in ("places", "benches", "stocks")},
        "methods": [row for row in data["methods"] if set(row["parts"]) <= set(PARTS)],
        "parts": parts,
        "products": [product],
        "meters": [meter],
        "protocols": [protocol],
        "consignees": list(_hospitals(data["consignees"])),
    }


def _hospitals(known: list[dict[str, Any]]) -> Iterator[dict[str, Any]]:
    """Invented ones, each in a town of the demo's."""
    for nth in range(1, CONSIGNEES + 1):
        town = known[nth % len(known)]
        yield {
            "code": f"H{nth:04}",
            "name": f"{town['city']} {KINDS[nth % len(KINDS)]} {nth}",
            "street": [f"{nth} Infirmary Road"],
            **{name: town[name] for name in ("city", "postcode", "country")},
        }


def _sign_protocol(begin: date, signs: Iterator[dict[str, Sign]]) -> None:
    report = replace(REPORTS[0], on=begin - timedelta(days=20))
    recorded = evidence.record_evidence(report=report, sign=next(signs)["quality"])
    draft = Protocol.objects.get()
    terms = replace(terms_of(draft), evidence=(recorded.code,))
    protocols.edit_draft(protocol_id=draft.pk, terms=terms, sign=next(signs)["deputy"])
    draft.refresh_from_db()
    protocols.sign_protocol(
        protocol_id=draft.pk,
        meaning=MEANING,
        mark=mark_of(draft, until=draft.in_force_until).hex(),
        sign=next(signs)["quality"],
    )
