"""What the set-up page shows: the workshop and its catalogue."""

from __future__ import annotations

from typing import Any

from django.db.models import Max, Prefetch

from kitting.models import (
    Bench,
    Meter,
    Part,
    Place,
    Printer,
    Product,
    Protocol,
    ProtocolLoad,
    Recipe,
    RecipeLine,
    Workshop,
)


def workshop() -> Workshop:
    """The one row of the workshop.

    Returns:
        The workshop.
    """
    return Workshop.objects.get(pk=1)


def catalogue() -> dict[str, Any]:
    """Everything that is set up, by the names that the page's template uses.

    Returns:
        Lists of parts, products, benches, places, protocols and meters.
    """
    lines = RecipeLine.objects.select_related("part", "revision", "substitute")
    recipes = Recipe.objects.order_by("-version").prefetch_related(
        Prefetch("lines", queryset=lines)
    )
    loads = ProtocolLoad.objects.select_related("part", "revision")
    return {
        "parts": list(Part.objects.prefetch_related("revisions")),
        "products": list(
            Product.objects.prefetch_related(
                "sizes", Prefetch("recipes", queryset=recipes)
            )
        ),
        "benches": list(
            Bench.objects.select_related("place").prefetch_related(
                Prefetch("printers", queryset=Printer.objects.filter(active=True))
            )
        ),
        "places": list(Place.objects.all()),
        "protocols": list(
            Protocol.objects.prefetch_related(Prefetch("loads", queryset=loads))
        ),
        "meters": list(Meter.objects.annotate(due=Max("calibrations__due"))),
    }
