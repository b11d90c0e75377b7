"""Products with their sizes and recipes, and what a product still lacks."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import Count, Q, QuerySet

from kitting.ledger.pinned import WITH_PINNED
from kitting.models import Box, BoxSize, Product, Recipe, RecipeLine


@dataclass(frozen=True)
class ProductPage:
    """A product with all that hangs on it."""

    product: Product
    sizes: list[BoxSize]
    """With ``packed``, how many boxes of it are closed."""
    recipes: list[Recipe]
    """With their lines, the newest first."""

    @property
    def in_force(self) -> Recipe | None:
        """The version by which boxes are packed."""
        return next((each for each in self.recipes if each.in_force), None)

    @property
    def newest(self) -> Recipe | None:
        """The newest version."""
        return self.recipes[0] if self.recipes else None

    @property
    def other_cartons(self) -> list[tuple[BoxSize, RecipeLine]]:
        """Sizes with the line in force that counts something else than their carton."""
        lines = [] if self.in_force is None else self.in_force.lines.all()
        found = []
        for size in self.sizes:
            needed = [line for line in lines if line.needed(size.sets)]
            own = [line for line in needed if line.sets]
            if size.active and own and size.carton_id not in (None, *parts_of(needed)):
                found.append((size, own[0]))
        return found

    @property
    def lacks(self) -> list[str]:
        """What it cannot be packed without."""
        missing = {
            "size": not any(size.active for size in self.sizes),
            "recipe": not self.recipes,
            "in force": bool(self.recipes) and self.in_force is None,
        }
        return [name for name, lacking in missing.items() if lacking]


def parts_of(lines: Iterable[RecipeLine]) -> set[int]:
    """Give the parts that lines of a recipe take.

    Args:
        lines: The lines, with their substitutes.

    Returns:
        Ids of their own parts, and of what is taken in place of them.
    """
    return {
        part
        for line in lines
        for part in (
            line.part_id,
            *(each.revision.part_id for each in line.substitutes.all()),
        )
    }


def all_products() -> QuerySet[Product]:
    """Every product with its sizes and recipes, by code.

    Returns:
        The products.
    """
    return Product.objects.prefetch_related("sizes", "recipes").order_by("code")


def version_in_force(product: Product) -> int | None:
    """Give the version by which boxes of a product are packed.

    Args:
        product: With its recipes.

    Returns:
        The version; None where none is in force.
    """
    found = (each.version for each in product.recipes.all() if each.in_force)
    return next(found, None)


def product_page(product: Product) -> ProductPage:
    """Give a product with all that hangs on it.

    Args:
        product: The product.

    Returns:
        All of it.
    """
    packed = Count("boxes", filter=Q(boxes__serial__isnull=False))
    sizes = product.sizes.select_related("carton").annotate(packed=packed)
    return ProductPage(
        product=product,
        sizes=list(sizes.order_by("sets")),
        recipes=list(recipes_of(product)),
    )


def recipes_of(product: Product) -> QuerySet[Recipe]:
    """Versions of a product's recipe with their lines, newest first.

    Args:
        product: The product.

    Returns:
        The versions.
    """
    return product.recipes.prefetch_related(*WITH_PINNED).order_by("-version")


def is_packed(product: Product) -> bool:
    """Whether a box of a product was ever closed.

    Args:
        product: The product.

    Returns:
        True where its labels rest on what it is.
    """
    return Box.objects.filter(size__product=product, serial__isnull=False).exists()
