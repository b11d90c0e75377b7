"""Reads the master data of ``fixtures/harrow_lane.json`` into an empty database.

Everything is named by its code, so that the file can be read and changed by hand. The
meter's calibration is long, so that a run can be opened whenever the demo is shown.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from dispatch.models import Consignee
from kitting.models import (
    Bench,
    BoxSize,
    Meter,
    Method,
    Part,
    Place,
    Product,
    Protocol,
    ProtocolLoad,
    Recipe,
    RecipeLine,
    Revision,
    Workshop,
    Yield,
)
from kitting.services import runs

if TYPE_CHECKING:
    from dispatch.demo.clock import Clock

FILE = Path(__file__).resolve().parent.parent.parent / "fixtures" / "harrow_lane.json"

Data = dict[str, Any]


@dataclass(frozen=True)
class Catalogue:
    """The master data, by code."""

    places: dict[str, Place]
    methods: dict[str, Method]
    parts: dict[str, Part]
    revisions: dict[tuple[str, str], Revision]
    products: dict[str, Product]
    sizes: dict[tuple[str, int], BoxSize]
    benches: list[Bench]
    meters: list[Meter]
    protocols: list[Protocol]
    consignees: dict[str, Consignee]
    recipe_starts: dict[int, date]
    """From which day a recipe, by its id, is in force."""


def read(path: Path = FILE) -> Data:
    """Read the file.

    Args:
        path: The file.

    Returns:
        What it says.
    """
    data: Data = json.loads(path.read_text("utf-8"))
    return data


def found_workshop(data: Data) -> None:
    """Write the workshop's own row: the database is a demo from now on.

    Args:
        data: What the file says.
    """
    fields = {**data["workshop"], "demo": True}
    fields["address"] = "\n".join(fields["address"])
    Workshop.objects.filter(pk=1).update(**fields)


def load(data: Data, clock: Clock) -> Catalogue:
    """Write all master data.

    Args:
        data: What the file says.
        clock: For signing the calibrations.

    Returns:
        The rows by code.
    """
    places = {each["code"]: Place.objects.create(**each) for each in data["places"]}
    parts, revisions = _parts(data["parts"])
    for each in data["yields"]:
        made, material = parts[each["part"]], parts[each["material"]]
        Yield.objects.create(**{**each, "part": made, "material": material})
    products = {each["code"]: _product(each) for each in data["products"]}
    sizes = {
        (product["code"], size["sets"]): BoxSize.objects.create(
            product=products[product["code"]], **size
        )
        for product in data["products"]
        for size in product["sizes"]
    }
    starts = {
        recipe.pk: date.fromisoformat(each["from"])
        for product in data["products"]
        for each in product["recipes"]
        for recipe in [_recipe(products[product["code"]], each, revisions)]
    }
    return Catalogue(
        places=places,
        methods={
            each["code"]: Method.objects.create(**each) for each in data["methods"]
        },
        parts=parts,
        revisions=revisions,
        products=products,
        sizes=sizes,
        benches=[
            Bench.objects.create(**{**each, "place": places[each["place"]]})
            for each in data["benches"]
        ],
        meters=[_meter(each, clock) for each in data["meters"]],
        protocols=[_protocol(each, revisions) for each in data["protocols"]],
        consignees={each["code"]: _consignee(each) for each in data["consignees"]},
        recipe_starts=starts,
    )


def _parts(
    data: list[Data],
) -> tuple[dict[str, Part], dict[tuple[str, str], Revision]]:
    parts: dict[str, Part] = {}
    revisions: dict[tuple[str, str], Revision] = {}
    for each in data:
        fields = {**each}
        codes = fields.pop("revisions")
        part = Part.objects.create(**fields)
        parts[part.code] = part
        for code in codes:
            revisions[part.code, code] = Revision.objects.create(part=part, code=code)
    return parts, revisions


def _product(data: Data) -> Product:
    fields = {name: data[name] for name in ("code", "name", "language", "profile")}
    return Product.objects.create(**fields, cautions="\n".join(data["cautions"]))


def _recipe(
    product: Product, data: Data, revisions: dict[tuple[str, str], Revision]
) -> Recipe:
    recipe = Recipe.objects.create(
        product=product, version=data["version"], in_force=False
    )
    for line in data["lines"]:
        revision = revisions[line["part"], line["revision"]]
        other = line.get("substitute")
        RecipeLine.objects.create(
            recipe=recipe,
            part=revision.part,
            revision=revision,
            substitute=revisions[line["part"], other] if other else None,
            pieces=line["pieces"],
            per=line["per"],
        )
    return recipe


def _meter(data: Data, clock: Clock) -> Meter:
    meter = Meter.objects.create(serial=data["serial"], name=data["name"])
    runs.record_calibration(
        meter_id=meter.pk,
        on=date.fromisoformat(data["calibrated"]),
        due=date.fromisoformat(data["due"]),
        rel_u_ppm=data["rel_u_ppm"],
        sign=clock.sign("quality"),
    )
    return meter


def _protocol(data: Data, revisions: dict[tuple[str, str], Revision]) -> Protocol:
    fields = {**data}
    loads = fields.pop("loads")
    protocol = Protocol.objects.create(**fields)
    for load in loads:
        revision = revisions[load.pop("part"), load.pop("revision")]
        ProtocolLoad.objects.create(
            protocol=protocol, part=revision.part, revision=revision, **load
        )
    return protocol


def _consignee(data: Data) -> Consignee:
    fields = {**data, "address": "\n".join(data["address"])}
    return Consignee.objects.create(**fields)


def put_recipes_in_force(catalogue: Catalogue, today: date) -> None:
    """Let each product's newest recipe that has begun be the one in force.

    Args:
        catalogue: The master data.
        today: The day.
    """
    for product in catalogue.products.values():
        begun = [
            recipe
            for recipe in product.recipes.order_by("version")
            if catalogue.recipe_starts[recipe.pk] <= today
        ]
        newest = begun[-1]
        if not newest.in_force:
            product.recipes.filter(in_force=True).update(in_force=False)
            product.recipes.filter(pk=newest.pk).update(in_force=True)
