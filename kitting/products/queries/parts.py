"""Parts with their revisions, and what each revision still lacks."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from django.db.models import Count, Q, QuerySet

from kitting.domain.errors import LotwardError
from kitting.ledger.covering import (
    covered_revisions,
    protocols_in_force,
    told_covers,
)
from kitting.ledger.pinned import WITH_PINNED, pinned
from kitting.models import (
    Cover,
    Lot,
    Method,
    Part,
    Product,
    Protocol,
    Recipe,
    RecipeLine,
    RecipeSubstitute,
    Revision,
)
from kitting.printing.fitting import faults_of
from kitting.products.queries.methods import for_part


@dataclass(frozen=True)
class RevisionLine:
    """A revision in the table of its part."""

    revision: Revision
    lots: int


@dataclass(frozen=True)
class PartPage:
    """A part with all that hangs on it."""

    part: Part
    revisions: list[RevisionLine]
    """Newest first."""
    methods: list[Method]
    """In use."""
    recipes: list[RecipeLine]
    """Lines of recipes in force."""

    @property
    def lots(self) -> int:
        """Lots of it on record."""
        return sum(line.lots for line in self.revisions)


@dataclass(frozen=True)
class RevisionPage:
    """A revision, where it is used, and what it still lacks."""

    revision: Revision
    lots: list[Lot]
    """The newest."""
    lot_count: int
    recipes: list[RecipeLine]
    """Lines of recipes in force that take it."""
    protocols: list[Protocol]
    """In force, and naming it."""
    covers: list[Cover]
    """Every signature by which it is covered like another one, the oldest first."""
    is_covered: bool
    """Whether a protocol in force covers it, by name or by a signature."""
    old_manuals: list[Recipe]
    """In force, taking it with no manual that was revised after it."""

    @property
    def lacks(self) -> list[str]:
        """What it cannot do without, but for labels that fit: see ``misfits``."""
        part = self.revision.part
        missing = {
            "recipe": part.unit == "piece" and not self.recipes,
            "protocol": part.needs_clearing and not self.is_covered,
            "mass": part.unit == "piece" and part.mass_mg is None,
            "manual": bool(self.old_manuals),
        }
        return [name for name, lacking in missing.items() if lacking]


def rests_on(revision: Revision) -> bool:
    """Whether something rests on what is said of a revision: lots, or a signature.

    Args:
        revision: The revision.

    Returns:
        True where what was said of it stays.
    """
    return revision.lots.exists() or revision.covers.exists()


def all_parts() -> QuerySet[Part]:
    """Every part with its revisions and ``lot_count``, by code.

    Returns:
        The parts.
    """
    found = Part.objects.prefetch_related("revisions")
    return found.annotate(lot_count=Count("lots")).order_by("code")


def part_page(part: Part) -> PartPage:
    """Give a part with all that hangs on it.

    Args:
        part: The part.

    Returns:
        All of it.
    """
    revisions = part.revisions.annotate(lot_count=Count("lots")).order_by("-pk")
    methods = Method.objects.filter(for_part(part), active=True)
    return PartPage(
        part=part,
        revisions=[RevisionLine(each, each.lot_count) for each in revisions],
        methods=list(methods.select_related("release").order_by("-pk")),
        recipes=list(_in_force(Q(revision__part=part))),
    )


def _in_force(taking: Q) -> QuerySet[RecipeLine]:
    """Lines of recipes in force that take something, by itself or as a substitute."""
    instead = RecipeSubstitute.objects.filter(taking).values("line")
    lines = RecipeLine.objects.filter(taking | Q(pk__in=instead))
    return (
        lines.filter(recipe__in_force=True)
        .select_related("recipe__product", "part", "revision")
        .prefetch_related("substitutes__revision__part")
        .order_by("recipe__product__code")
    )


def revision_page(revision: Revision, today: date) -> RevisionPage:
    """Give a revision, where it is used, and what it still lacks.

    Args:
        revision: The revision, with its part.
        today: The workshop's day.

    Returns:
        All of it.
    """
    lots = Lot.objects.filter(revision=revision).select_related("part", "revision")
    naming = protocols_in_force(today).filter(loads__revision=revision)
    recipes = list(_in_force(Q(revision=revision)))
    products = {line.recipe.product_id for line in recipes}
    return RevisionPage(
        revision=revision,
        lots=list(lots.order_by("-pk")[:20]),
        lot_count=lots.count(),
        recipes=recipes,
        protocols=list(naming.distinct()),
        covers=list(told_covers().filter(revision=revision)),
        is_covered=revision.pk in covered_revisions(today),
        old_manuals=_old_manuals(revision, products),
    )


def misfits(page: RevisionPage) -> list[LotwardError]:
    """Draw the longest labels of a revision, and of products that take it.

    Args:
        page: The revision, with its recipes.

    Returns:
        What has no room on some head in use, and why.
    """
    products = {line.recipe.product_id for line in page.recipes}
    return faults_of({Product: products, Revision: {page.revision.pk}})


def _old_manuals(revision: Revision, products: set[int]) -> list[Recipe]:
    """Recipes by which a box may have no manual that says what is new in a revision."""
    if not revision.manual_changes:
        return []
    found = Recipe.objects.filter(in_force=True, product__in=products)
    found = found.select_related("product").prefetch_related(*WITH_PINNED)
    return [recipe for recipe in found if not _is_told(revision, recipe)]


def _is_told(revision: Revision, recipe: Recipe) -> bool:
    """Whether every manual that goes with a revision is revised after it."""
    lines = list(recipe.lines.all())
    instead = (each for line in lines for each in line.substitutes.all())
    what = pinned(lines, instead, recipe.pairs.all())
    goes = what.together.goes
    beside = (
        [each for each in what.takes[line.pk] if goes(revision.pk, each.pk)]
        for line in lines
        if line.part.manual
    )
    return any(
        texts and all(each.pk > revision.pk for each in texts) for texts in beside
    )
