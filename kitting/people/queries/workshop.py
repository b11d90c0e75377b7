"""What the set-up page shows: the workshop and its catalogue."""

from __future__ import annotations

from typing import Any

from django.db.models import Max, Prefetch, prefetch_related_objects

from kitting.models import (
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
    places = list(Place.objects.select_related("bench"))
    benches = [place.bench for place in places if hasattr(place, "bench")]
    printers = Prefetch("printers", queryset=Printer.objects.filter(active=True))
    prefetch_related_objects(benches, printers)
    return {
        "parts": list(Part.objects.prefetch_related("revisions")),
        "products": list(
            Product.objects.prefetch_related(
                "sizes", Prefetch("recipes", queryset=recipes)
            )
        ),
        "benches": sorted(benches, key=lambda bench: bench.code),
        "places": places,
        "protocols": list(
            Protocol.objects.prefetch_related(Prefetch("loads", queryset=loads))
        ),
        "meters": list(Meter.objects.annotate(due=Max("calibrations__due"))),
    }
