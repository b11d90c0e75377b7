"""The catalogue's parts with their revisions, products with sizes and recipes, methods."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.db.models import QuerySet

from kitting.domain import batch, gs1
from kitting.domain.errors import LotwardError
from kitting.ledger.shelf import (
    Found,
    Shelf,
    obey,
    read_day,
    register,
    same_lines,
)
from kitting.models import (
    BoxSize,
    Method,
    MethodPart,
    Part,
    Product,
    Recipe,
    RecipeLine,
    Revision,
)
from kitting.products.steps.methods import need_new_settings
from kitting.products.steps.parts import need_figures

_LINE = ("part_id", "revision_id", "substitute_id", "pieces", "per")


def _part(found: Found, path: str, row: Mapping[str, Any]) -> None:
    shelf = found.shelf
    given = shelf.read(Part, path, row, "revisions")
    known = shelf.added["Part"]
    part = shelf.place(path, Part(**given), ("code",), given)
    if part is None:
        shelf.unread.add(("part", str(row.get("code"))))
        return
    if shelf.added["Part"] > known:
        try:
            need_figures(part)
        except LotwardError as error:
            shelf.fault(path, part.code, error.code, **error.params)
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
        revision = found.shelf.place(here, new, ("part", "code"), given)
        if revision is not None:
            by_code[revision.code] = revision


def _product(found: Found, path: str, row: Mapping[str, Any]) -> None:
    shelf = found.shelf
    given = shelf.read(Product, path, row, "sizes", "recipes")
    if "code" in given:
        code = given["code"]
        obey(shelf, f"{path}.code", lambda: batch.kit_batch(1, code, found.today, 1))
    product = shelf.place(path, Product(**given), ("code",), given)
    if product is None:
        return
    for here, size in shelf.rows(row, "sizes", path):
        _size(shelf, here, size, product)
    _recipes(found, path, row, product)


def _size(shelf: Shelf, path: str, row: Mapping[str, Any], product: Product) -> None:
    given = shelf.read(BoxSize, path, row)
    gtin = given.get("gtin")
    if gtin is not None and not gs1.gtin14_ok(gtin):
        shelf.fault(f"{path}.gtin", gtin, "catalogue_gtin")
    shelf.place(path, BoxSize(product=product, **given), ("product", "sets"), given)


def _recipes(found: Found, path: str, row: Mapping[str, Any], product: Product) -> None:
    """A product's recipes; the newest that has begun is in force."""
    begun: list[Recipe] = []
    for here, each in found.shelf.rows(row, "recipes", path):
        found.shelf.known(here, each, {"version", "from", "lines"})
        since = read_day(each.get("from"))
        if since is None:
            found.shelf.fault(
                f"{here}.from",
                each.get("from"),
                "catalogue_kind",
                wanted="a day as 2026-03-01",
            )
        recipe = _recipe(found, here, each, product)
        if recipe is not None and since is not None and since <= found.today:
            begun.append(recipe)
    newest = max(begun, key=lambda recipe: recipe.version, default=None)
    now = product.recipes.filter(in_force=True).first()
    if newest is None or (now is not None and now.version >= newest.version):
        return
    product.recipes.filter(in_force=True).update(in_force=False)
    product.recipes.filter(pk=newest.pk).update(in_force=True)
    found.shelf.added["in force"] += 1


def _recipe(
    found: Found, path: str, row: Mapping[str, Any], product: Product
) -> Recipe | None:
    shelf = found.shelf
    before = len(shelf.problems)
    given = shelf.values(Recipe, path, row)
    lines = [_line(found, here, line) for here, line in shelf.rows(row, "lines", path)]
    if not lines:
        shelf.fault(f"{path}.lines", "", "catalogue_missing")
    if len(shelf.problems) > before:
        return None
    wanted = [line for line in lines if line is not None]
    mine = {"version": given["version"]}
    known = product.recipes.filter(**mine).first()
    recipe = shelf.place(
        path,
        Recipe(product=product, in_force=False, **mine),
        ("product", "version"),
        mine,
    )
    if recipe is None:
        return None
    if known is not None:
        same_lines(shelf, f"{path}.lines", known.lines.all(), wanted, _LINE)
        return recipe
    for nth, line in enumerate(wanted, start=1):
        line.recipe = recipe
        shelf.place(f"{path}.lines[{nth}]", line, ("recipe", "part"), {})
    return recipe


def _line(found: Found, path: str, row: Mapping[str, Any]) -> RecipeLine | None:
    shelf = found.shelf
    given = shelf.read(RecipeLine, path, row, "part", "revision", "substitute")
    part = shelf.one_of(path, row, "part", found.parts)
    if part is None:
        return None
    revisions = found.revisions.get(part.code, {})
    revision = shelf.one_of(path, row, "revision", revisions)
    substitute = None
    if row.get("substitute") is not None:
        substitute = shelf.one_of(path, row, "substitute", revisions)
    if revision is None:
        return None
    return RecipeLine(part=part, revision=revision, substitute=substitute, **given)


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
    there = Method.objects.filter(code=given["code"]).first()
    method = shelf.place(path, Method(**given), ("code",), given)
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
    if method.active:
        try:
            need_new_settings(method, makes)
        except LotwardError as error:
            shelf.fault(path, method.code, error.code, **error.params)
    for pk in sorted(makes):
        MethodPart.objects.create(method=method, part_id=pk)


def _made(method: Method) -> QuerySet[MethodPart]:
    return method.made_with_it.select_related("part")


register(parts=_part, products=_product, methods=_method)
