"""Loads the master data of ``fixtures/harrow_lane.json`` into an empty database.

The meter's calibration is long, so that a run can be opened whenever the demo is shown.
"""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import Any, Final

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
    Recipe,
    Revision,
    Workshop,
)
from kitting.products.queries.methods import mark_of
from kitting.products.services import methods as services
from lotward.catalogue import loading
from lotward.demo.clock import Clock, Days

FILE = Path(__file__).resolve().parent.parent.parent / "fixtures" / "harrow_lane.json"

_DATE: Final = re.compile(r"\d{4}-\d\d-\d\d")

Data = dict[str, Any]


@dataclass(frozen=True)
class Catalogue:
    """The master data, by code."""

    data: Data
    """As the file says it."""
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


def moved(data: Any, days: Days) -> Any:
    """Move every date of the file to the days of the demo.

    Args:
        data: What the file says, or a part of it.
        days: The days.

    Returns:
        The same with other dates.
    """
    if isinstance(data, dict):
        return {name: moved(each, days) for name, each in data.items()}
    if isinstance(data, list):
        return [moved(each, days) for each in data]
    if isinstance(data, str) and _DATE.fullmatch(data):
        return days.moved(date.fromisoformat(data)).isoformat()
    return data


def found_workshop(data: Data, ahead: timedelta) -> None:
    """Write the workshop's own row: the database is a demo from now on.

    Args:
        data: What the file says.
        ahead: How far its clock is ahead of this machine's.
    """
    fields = {
        **data["workshop"],
        "demo": True,
        "ahead_s": round(ahead.total_seconds()),
    }
    fields["address"] = "\n".join(fields["address"])
    Workshop.objects.filter(pk=1).update(**fields)


def load(data: Data, clock: Clock) -> Catalogue:
    """Load all master data, as any workshop loads its own.

    Args:
        data: What the file says.
        clock: For signing the act.

    Returns:
        The rows by code.
    """
    loading.load_catalogue(data=data, sign=clock.sign("manager"))
    starts = {
        (product["code"], each["version"]): date.fromisoformat(each["from"])
        for product in data["products"]
        for each in product["recipes"]
    }
    recipes = Recipe.objects.select_related("product")
    return Catalogue(
        data=data,
        places=_by_code(Place),
        methods=_by_code(Method),
        parts=_by_code(Part),
        revisions={
            (each.part.code, each.code): each
            for each in Revision.objects.select_related("part")
        },
        products=_by_code(Product),
        sizes={
            (each.product.code, each.sets): each
            for each in BoxSize.objects.select_related("product")
        },
        benches=list(Bench.objects.order_by("pk")),
        meters=list(Meter.objects.order_by("pk")),
        protocols=list(Protocol.objects.order_by("pk")),
        consignees=_by_code(Consignee),
        recipe_starts={
            each.pk: starts[each.product.code, each.version] for each in recipes
        },
    )


def release_methods(clock: Clock) -> None:
    """Release every method of the file, before the first lot is made with one.

    Args:
        clock: For signing the acts.
    """
    for method in Method.objects.order_by("pk"):
        services.release_method(
            code=method.code, seen=mark_of(method), sign=clock.sign("quality", 60)
        )


def try_new_settings(found: Catalogue, clock: Clock) -> None:
    """Add the settings that are on trial at the end.

    Args:
        found: The master data.
        clock: For signing the act.
    """
    services.add_method(
        machine_group=found.methods["PRINT-S8"].machine_group,
        settings_version="9",
        part_ids=[found.parts["HB"].pk],
        sign=clock.sign("checker", 60),
    )


def _by_code(model: Any) -> dict[str, Any]:
    return {each.code: each for each in model.objects.order_by("pk")}


def begin_recipes(found: Catalogue, clock: Clock, today: date) -> None:
    """Load the file's products again on the day on which a recipe begins.

    Args:
        found: The master data.
        clock: For signing the act.
        today: The day.
    """
    products = {"products": found.data["products"]}
    for product in found.products.values():
        newest = max(
            (
                row
                for row in product.recipes.all()
                if found.recipe_starts[row.pk] <= today
            ),
            key=lambda recipe: recipe.version,
        )
        if not newest.in_force:
            loading.load_catalogue(data=products, sign=clock.sign("manager"))
            return
