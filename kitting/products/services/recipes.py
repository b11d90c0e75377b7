"""Recipes: a change is a new version, and one version is in force."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass

from django.db.models import Max

from kitting.domain import batch
from kitting.domain.errors import Conflict, WrongStage
from kitting.ledger import locking
from kitting.ledger.clock import day_of
from kitting.ledger.coded import named
from kitting.ledger.needs import need_row
from kitting.ledger.operations import Act, Sign, perform
from kitting.models import Product, Recipe, RecipeLine, RecipePair, Revision, Workshop
from kitting.products.steps.recipes import LineFacts, NewLine, PairFacts, need_recipe


@dataclass(frozen=True)
class KeptRecipe:
    """A version of a recipe."""

    product: str
    """Code of the product."""
    name: str
    """Name of the product."""
    version: int


def add_recipe(
    *,
    product: str,
    lines: Sequence[LineFacts],
    pairs: Sequence[PairFacts] = (),
    sign: Sign,
) -> KeptRecipe:
    """Add the next version of a product's recipe; it is not in force yet.

    Args:
        product: Code of the product.
        lines: What one set and one box need: each part once, and something per set.
        pairs: What goes only with what; everything else goes together.
        sign: Who, when and the operation key.

    Returns:
        The version.

    Raises:
        CodeError: If the product code and this version fit no kit batch.
        Missing: If there is no such product or revision.
        Refused: What ``need_recipe`` refuses.
        OperationKeyReused: If the key was used for another act.
    """
    said = {
        "lines": [asdict(line) for line in lines],
        "pairs": [asdict(pair) for pair in pairs],
    }

    def work(act: Act) -> KeptRecipe:
        locking.lock_row(Workshop, act.workshop.pk)
        of = named(Product, product)
        ids = {
            one for line in lines for one in (line.revision_id, *line.substitute_ids)
        }
        ids |= {one for pair in pairs for one in (pair.revision_id, pair.other_id)}
        revisions = locking.lock_rows(Revision, ids, "part") if ids else {}
        new = [_line(line, revisions) for line in lines]
        apart = [
            RecipePair(
                revision=revisions[each.revision_id], other=revisions[each.other_id]
            )
            for each in pairs
        ]
        need_recipe(new, apart, of.sizes.values_list("sets", flat=True))
        last = of.recipes.aggregate(last=Max("version"))["last"] or 0
        today = day_of(act.workshop, act.now)
        batch.kit_batch(act.workshop.site, of.code, today, last + 1)
        recipe = Recipe.objects.create(product=of, version=last + 1, in_force=False)
        for line in new:
            line.row.recipe = recipe
            for row in (line.row, *line.substitutes):
                row.save(force_insert=True)
        for pair in apart:
            pair.recipe = recipe
            pair.save(force_insert=True)
        return KeptRecipe(of.code, of.name, recipe.version)

    return perform("add_recipe", work, KeptRecipe, sign, product=product, **said)


def _line(line: LineFacts, revisions: dict[int, Revision]) -> NewLine:
    revision = revisions[line.revision_id]
    row = RecipeLine(
        part=revision.part,
        revision=revision,
        pieces=line.pieces,
        per=line.per,
        sets=line.sets,
    )
    return NewLine(row, [revisions[each] for each in line.substitute_ids])


def put_in_force(
    *, product: str, version: int, seen: int | None, sign: Sign
) -> KeptRecipe:
    """Put a version of a recipe in force: boxes that are started are packed by it.

    Boxes that are open keep theirs. An earlier version can be put in force again.

    Args:
        product: Code of the product.
        version: The version.
        seen: The version that was in force as somebody looked; None for none.
        sign: Who, when and the operation key.

    Returns:
        The version.

    Raises:
        Conflict: ``page_is_old`` if another one is in force by now.
        Missing: If there is no such version.
        WrongStage: ``recipe_is_in_force``.
        OperationKeyReused: If the key was used for another act.
    """

    def work(act: Act) -> KeptRecipe:
        locking.lock_row(Workshop, act.workshop.pk)
        versions = Recipe.objects.filter(product__code=product)
        row = need_row(versions.filter(version=version).select_related("product"))
        if row.in_force:
            name = row.product.name
            raise WrongStage("recipe_is_in_force", product=name, version=version)
        now = versions.filter(in_force=True).first()
        if (now.version if now else None) != seen:
            raise Conflict("page_is_old")
        if now is not None:
            now.in_force = False
            now.save(update_fields=["in_force"])
        row.in_force = True
        row.save(update_fields=["in_force"])
        return KeptRecipe(product, row.product.name, version)

    return perform(
        "put_in_force",
        work,
        KeptRecipe,
        sign,
        product=product,
        version=version,
        seen=seen,
    )
