"""The catalogue's parts with their revisions, products with sizes and recipes, methods."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from typing import Any

from django.db.models import Prefetch, QuerySet

from kitting.domain import batch
from kitting.domain.errors import LotwardError, Refused
from kitting.ledger import listing, upheld, weighed
from kitting.ledger.pinned import WITH_PINNED
from kitting.ledger.sections import Found, register, same_lines
from kitting.ledger.shelf import obey, read_day
from kitting.ledger.upheld import Rows
from kitting.models import (
    BoxSize,
    Method,
    MethodPart,
    Part,
    Product,
    Recipe,
    RecipeLine,
    RecipePair,
    RecipeSubstitute,
    Revision,
)
from kitting.products.queries.products import recipes_of
from kitting.products.steps.methods import need_new_settings
from kitting.products.steps.parts import need_figures, need_revision_code
from kitting.products.steps.products import need_gtin, need_size, need_texts
from kitting.products.steps.recipes import NewLine, need_recipe


def _part(found: Found, path: str, row: Mapping[str, Any]) -> None:
    shelf = found.shelf
    given = shelf.read(Part, path, row, "revisions")
    part = shelf.place(path, Part(**given), ("code",), given, need_figures)
    if part is None:
        shelf.unread.add(("part", str(row.get("code"))))
        return
    found.parts[part.code] = part
    _revisions(found, path, row, part)


def _revisions(found: Found, path: str, row: Mapping[str, Any], part: Part) -> None:
    """A part's revisions; one of which nothing is said may be its code alone."""
    by_code = found.revisions.setdefault(part.code, {})
    listed = row.get("revisions", [])
    if isinstance(listed, list):
        listed = [{"code": r} if isinstance(r, str) else r for r in listed]
    for here, each in found.shelf.rows({"revisions": listed}, "revisions", path):
        given = found.shelf.read(Revision, here, each)
        new = Revision(part=part, **given)
        revision = found.shelf.place(
            here, new, ("part", "code"), given, lambda row: need_revision_code(row.code)
        )
        if revision is not None:
            by_code[revision.code] = revision


def _product(found: Found, path: str, row: Mapping[str, Any]) -> None:
    shelf = found.shelf
    given = shelf.read(Product, path, row, "sizes", "recipes")
    if "code" in given:
        code = given["code"]
        obey(shelf, f"{path}.code", lambda: batch.kit_batch(1, code, found.today, 1))
    product = shelf.place(path, Product(**given), ("code",), given, need_texts)
    if product is None:
        return
    said = []  # a size that is at fault is one all the same, and named once
    for here, size in shelf.rows(row, "sizes", path):
        _size(found, here, size, product)
        said.append(size.get("sets"))
    sizes = [*said, *product.sizes.values_list("sets", flat=True)]
    _recipes(found, path, row, product, sizes)


def _size(found: Found, path: str, row: Mapping[str, Any], product: Product) -> None:
    shelf = found.shelf
    given = shelf.read(BoxSize, path, row, "carton")
    if row.get("carton") is not None:
        given["carton"] = shelf.one_of(path, row, "carton", found.parts)
    new = BoxSize(product=product, **given)
    size = shelf.place(path, new, ("product", "sets"), given, need_size)
    if size is not None:
        obey(shelf, f"{path}.gtin", lambda: need_gtin(size))


def _recipes(
    found: Found,
    path: str,
    row: Mapping[str, Any],
    product: Product,
    sizes: Collection[Any],
) -> None:
    """A product's recipes. In force is what says so, else the newest that has begun."""
    begun: list[Recipe] = []
    said: list[Recipe] = []
    for here, each in found.shelf.rows(row, "recipes", path):
        recipe = _recipe(found, here, each, product, sizes)
        if _begins(found, here, each) and recipe is not None:
            (said if "in_force" in each else begun).append(recipe)
    now = product.recipes.filter(in_force=True).first()
    if said:
        if now is not None and now.pk != said[-1].pk:
            known = str(now.version)
            here = f"{path}.recipes"
            found.shelf.fault(here, said[-1].version, "catalogue_differs", known=known)
            return
        _put_in_force(found, product, said[-1])
        return
    newest = max(begun, key=lambda recipe: recipe.version, default=None)
    if newest is not None and (now is None or now.version < newest.version):
        _put_in_force(found, product, newest)


def _begins(found: Found, path: str, row: Mapping[str, Any]) -> bool:
    """Whether a row says that its version is in force, or from a day that has come."""
    found.shelf.known(path, row, {"version", "from", "in_force", "lines", "together"})
    if "in_force" in row:
        if not isinstance(row["in_force"], bool):
            here, said = f"{path}.in_force", row["in_force"]
            found.shelf.fault(here, said, "catalogue_kind", wanted="true or false")
        return row["in_force"] is True
    since = read_day(row.get("from"))
    if since is None:
        here, wanted = f"{path}.from", "a day as 2026-03-01"
        found.shelf.fault(here, row.get("from"), "catalogue_kind", wanted=wanted)
    return since is not None and since <= found.today


def _put_in_force(found: Found, product: Product, recipe: Recipe) -> None:
    if recipe.in_force:
        return
    product.recipes.filter(in_force=True).update(in_force=False)
    product.recipes.filter(pk=recipe.pk).update(in_force=True)
    found.shelf.added["in force"] += 1


def _recipe(
    found: Found,
    path: str,
    row: Mapping[str, Any],
    product: Product,
    sizes: Collection[Any],
) -> Recipe | None:
    shelf = found.shelf
    before = len(shelf.problems)
    given = shelf.values(Recipe, path, row)
    lines = [_line(found, here, line) for here, line in shelf.rows(row, "lines", path)]
    pairs = [pair for each in _pairs(found, path, row) for pair in each]
    if not lines:
        shelf.fault(f"{path}.lines", "", "catalogue_missing")
    if len(shelf.problems) > before:
        return None
    wanted = [line for line in lines if line is not None]
    mine = {"version": given["version"]}
    new, key = Recipe(product=product, in_force=False, **mine), ("product", "version")
    known = shelf.there(new, key)
    recipe = shelf.place(path, new, key, mine)
    if recipe is None:
        return None
    if known is not None:
        there = [
            NewLine(line, [each.revision for each in line.substitutes.all()])
            for line in known.lines.prefetch_related("substitutes__revision")
        ]
        same_lines(shelf, f"{path}.lines", there, wanted, ("plain",))
        names = ("revision_id", "other_id")
        same_lines(shelf, f"{path}.together", known.pairs.all(), pairs, names)
        return recipe
    _insert(found, path, recipe, wanted, pairs)
    if len(shelf.problems) == before:
        obey(shelf, f"{path}.lines", lambda: need_recipe(wanted, pairs, sizes))
    return recipe


def _insert(
    found: Found,
    path: str,
    recipe: Recipe,
    lines: list[NewLine],
    pairs: list[RecipePair],
) -> None:
    place = found.shelf.place
    for nth, line in enumerate(lines, start=1):
        here = f"{path}.lines[{nth}]"
        line.row.recipe = recipe
        if place(here, line.row, ("recipe", "part"), {}) is None:
            continue
        for row in line.substitutes:
            there = f"{here}.substitutes[{row.nth}]"
            place(there, row, ("line", "revision"), {})
    for pair in pairs:
        pair.recipe = recipe
        place(f"{path}.together", pair, ("recipe", "revision", "other"), {})


def _line(found: Found, path: str, row: Mapping[str, Any]) -> NewLine | None:
    shelf = found.shelf
    given = shelf.read(RecipeLine, path, row, "part", "revision", "substitutes")
    revision = _revision(found, path, row)
    instead = [
        _only_revision(found, here, each)
        for here, each in shelf.rows(row, "substitutes", path)
    ]
    if revision is None:
        return None
    line = RecipeLine(part=revision.part, revision=revision, **given)
    return NewLine(line, [each for each in instead if each is not None])


def _pairs(
    found: Found, path: str, row: Mapping[str, Any]
) -> Iterator[list[RecipePair]]:
    """What goes only with what: of one revision, all others that it goes with."""
    shelf = found.shelf
    for here, each in shelf.rows(row, "together", path):
        shelf.known(here, each, {"part", "revision", "only_with"})
        one = _revision(found, here, each)
        others = [
            _only_revision(found, there, other)
            for there, other in shelf.rows(each, "only_with", here)
        ]
        if not others:
            shelf.fault(f"{here}.only_with", "", "catalogue_missing")
        yield [
            RecipePair(revision=one, other=other) for other in others if one and other
        ]


def _only_revision(found: Found, path: str, row: Mapping[str, Any]) -> Revision | None:
    """A row that names a revision and nothing else."""
    found.shelf.known(path, row, {"part", "revision"})
    return _revision(found, path, row)


def _revision(found: Found, path: str, row: Mapping[str, Any]) -> Revision | None:
    part = found.shelf.one_of(path, row, "part", found.parts)
    if part is None:
        return None
    return found.shelf.one_of(path, row, "revision", found.revisions.get(part.code, {}))


def _method(found: Found, path: str, row: Mapping[str, Any]) -> None:
    """A method is on trial, as one of the page: a file releases nothing."""
    shelf = found.shelf
    before = len(shelf.problems)
    given = shelf.read(Method, path, row, "parts")
    codes = shelf.texts(row, "parts", path)
    for nth, code in enumerate(codes, start=1):
        if code not in found.parts and ("part", code) not in shelf.unread:
            here = f"{path}.parts[{nth}]"
            shelf.fault(here, code, "catalogue_no_such", what="part")
    makes = {found.parts[code].pk for code in codes if code in found.parts}
    if len(shelf.problems) > before or len(makes) < len(set(codes)):
        return
    new, key = Method(**given), ("code",)
    there = shelf.there(new, key)

    def rule(made: Method) -> None:
        if made.active:
            need_new_settings(made, makes)

    method = shelf.place(path, new, key, given, rule)
    if method is None:
        return
    if there is not None:
        known = {each.part_id for each in there.made_with_it.all()}
        if "parts" in row and makes != known:
            on_record = ", ".join(sorted(each.part.code for each in _made(there)))
            shelf.fault(
                f"{path}.parts", ", ".join(codes), "catalogue_differs", known=on_record
            )
        return
    for pk in sorted(makes):
        MethodPart.objects.create(method=method, part_id=pk)


def _made(method: Method) -> QuerySet[MethodPart]:
    return method.made_with_it.select_related("part")


def _parts() -> list[listing.Row]:
    revisions = Prefetch("revisions", Revision.objects.order_by("pk"))
    found = []
    for part in Part.objects.prefetch_related(revisions).order_by("pk"):
        rows = [listing.as_row(each) for each in part.revisions.all()]
        said = [row["code"] if len(row) == 1 else row for row in rows]
        found.append(listing.as_row(part, revisions=said))
    return found


def _methods() -> list[listing.Row]:
    """Every method with its parts; a file releases none."""
    parts = MethodPart.objects.select_related("part").order_by("pk")
    every = Method.objects.prefetch_related(Prefetch("made_with_it", parts))
    found = []
    for method in every.order_by("pk"):
        makes = [each.part.code for each in method.made_with_it.all()]
        found.append(listing.as_row(method, parts=makes or None))
    return found


def _products() -> list[listing.Row]:
    found = []
    for product in Product.objects.order_by("pk"):
        sizes = [
            listing.as_row(size, carton=size.carton.code if size.carton else None)
            for size in product.sizes.select_related("carton").order_by("pk")
        ]
        recipes = [
            listing.as_row(
                recipe,
                in_force=recipe.in_force,
                lines=[_line_as_row(line) for line in recipe.lines.all()],
                together=_pairs_as_rows(recipe) or None,
            )
            for recipe in reversed(recipes_of(product))
        ]
        found.append(listing.as_row(product, sizes=sizes, recipes=recipes))
    return found


def _line_as_row(line: RecipeLine) -> listing.Row:
    instead = [_named(each.revision) for each in line.substitutes.all()]
    return listing.as_row(line, **_named(line.revision), substitutes=instead or None)


def _pairs_as_rows(recipe: Recipe) -> list[listing.Row]:
    rows: dict[int, listing.Row] = {}
    for pair in recipe.pairs.all():
        new = {**_named(pair.revision), "only_with": []}
        row = rows.setdefault(pair.revision_id, new)
        row["only_with"].append(_named(pair.other))
    return list(rows.values())


def _named(revision: Revision) -> listing.Row:
    return {"part": revision.part.code, "revision": revision.code}


def _unweighed(_touched: Rows) -> Iterator[LotwardError]:
    """A size that is weighed has a carton, and a mass of every part that may be in it."""
    for size in BoxSize.objects.filter(weigh=True).select_related("carton", "product"):
        named = {"product": size.product.name, "sets": size.sets}
        if size.carton is None:
            yield Refused("weighed_without_carton", **named)
        recipes = size.product.recipes.filter(in_force=True)
        recipe = recipes.prefetch_related(*WITH_PINNED).first()
        if parts := [part.name for part in weighed.lacking(size, recipe)]:
            yield Refused("weighed_without_mass", **named, parts=", ".join(parts))


upheld.register(_unweighed, BoxSize, Part, Recipe, RecipeLine, RecipeSubstitute)
listing.register(parts=_parts, products=_products, methods=_methods)
register(parts=_part, products=_product, methods=_method)
