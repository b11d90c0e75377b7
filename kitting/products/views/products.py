"""Pages of products, their box sizes and recipes."""

from __future__ import annotations

from functools import partial
from typing import Any

from django.http import HttpResponse
from django.http.response import HttpResponseBase
from django.urls import reverse
from django.utils.translation import gettext as _

from kitting.ledger.coded import mark_of
from kitting.ledger.operations import Sign
from kitting.models import BoxSize, Product, Recipe
from kitting.products.forms.products import (
    ProductChangeForm,
    ProductNewForm,
    RecipeForceForm,
    RecipeForm,
    SizeChangeForm,
    SizeForm,
    as_entered,
)
from kitting.products.queries import products as queries
from kitting.products.queries.products import version_in_force
from kitting.products.queries.weighing import size_weighing
from kitting.products.services import products as services
from kitting.products.services import recipes
from kitting.products.services.products import (
    KeptProduct,
    KeptSize,
    ProductFacts,
    SizeFacts,
)
from kitting.web.acting import act_page
from kitting.web.http import LotwardRequest, allowed, get_or_404, render_part
from kitting.web.tables import Column, file_response

PRODUCTS: list[Column[Product]] = [
    Column("product", "code"),
    Column("name", "name"),
    Column("language", "language"),
    Column("profile", "profile"),
    Column("recipe in force", version_in_force),
    Column("box sizes", lambda row: " ".join(str(s.sets) for s in row.sizes.all())),
]


def _address(code: str) -> str:
    return reverse("kitting:product-detail", args=[code])


@allowed("kitting.see_work")
def product_list(request: LotwardRequest) -> HttpResponseBase:
    """Every product."""
    rows = list(queries.all_products())
    if file := file_response(request, "products", PRODUCTS, rows):
        return file
    context = {"rows": [(row, version_in_force(row)) for row in rows]}
    return render_part(request, "kitting/products/products", "_product_table", context)


@allowed("kitting.see_work")
def product_detail(request: LotwardRequest, code: str) -> HttpResponse:
    """One product, its box sizes and recipes."""
    page = queries.product_page(get_or_404(Product, code=code))
    context = {"page": page, "product": page.product}
    return render_part(request, "kitting/products/product_detail", "", context)


@allowed("kitting.set_up", "GET", "POST")
def product_new(request: LotwardRequest) -> HttpResponse:
    """Add a product."""

    def add(sign: Sign, code: str, **facts: Any) -> KeptProduct:
        return services.add_product(code=code, to=ProductFacts(**facts), sign=sign)

    return act_page(
        request,
        "kitting/products/product_set",
        ProductNewForm(request.POST or None),
        add,
        said=_("%(name)s is added. See what it still lacks."),
        to=lambda done: _address(done.code),
        act=_("Add the product"),
        back=reverse("kitting:products"),
    )


@allowed("kitting.set_up", "GET", "POST")
def product_change(request: LotwardRequest, code: str) -> HttpResponse:
    """Change a product."""
    product = get_or_404(Product, code=code)
    fixed = queries.is_packed(product)
    stays = {"language": product.language, "profile": product.profile}
    initial = {
        **stays,
        "seen": mark_of(product),
        "name": product.name,
        "cautions": product.cautions,
        "cautions_reviewed_by": product.cautions_reviewed_by,
        "reference": product.reference,
        "single_use": product.single_use,
        "set_slips": product.set_slips,
    }

    def change(sign: Sign, seen: str, **facts: Any) -> KeptProduct:
        to = ProductFacts(**{**(stays if fixed else {}), **facts})
        return services.change_product(code=code, to=to, seen=seen, sign=sign)

    return act_page(
        request,
        "kitting/products/product_set",
        ProductChangeForm(request.POST or None, fixed=fixed, initial=initial),
        change,
        said=_("%(name)s is changed."),
        to=_address(code),
        act=_("Change the product"),
        product=product,
        fixed=fixed,
    )


# -- Box sizes ------------------------------------------------------------------------


@allowed("kitting.set_up", "GET", "POST")
def size_new(request: LotwardRequest, code: str) -> HttpResponse:
    """Add a box size of a product."""
    product = get_or_404(Product, code=code)

    def add(sign: Sign, sets: int, **facts: Any) -> KeptSize:
        to = SizeFacts(**facts)
        return services.add_size(product=code, sets=sets, to=to, sign=sign)

    return act_page(
        request,
        "kitting/products/size_set",
        SizeForm(request.POST or None),
        add,
        said=_(
            "Boxes of %(sets)s of %(name)s can be packed once a recipe is in force."
        ),
        to=_address(code),
        act=_("Add the box size"),
        product=product,
    )


@allowed("kitting.set_up", "GET", "POST")
def size_change(request: LotwardRequest, code: str, sets: int) -> HttpResponse:
    """Change a box size, close it or open it again."""
    rows = BoxSize.objects.select_related("product", "carton")
    size = get_or_404(rows, product__code=code, sets=sets)
    initial = {
        "seen": mark_of(size),
        "gtin": size.gtin or "",
        "carton": size.carton_id,
        "weigh": size.weigh,
        "active": size.active,
    }

    def change(sign: Sign, seen: str, *, active: bool, **facts: Any) -> KeptSize:
        of = {"product": code, "sets": sets, "to": SizeFacts(**facts), "seen": seen}
        return services.change_size(**of, active=active, sign=sign)  # type: ignore[arg-type]

    return act_page(
        request,
        "kitting/products/size_set",
        SizeChangeForm(request.POST or None, initial=initial),
        change,
        said=_("Boxes of %(sets)s of %(name)s are changed."),
        to=_address(code),
        act=_("Change the box size"),
        around=lambda: {"weighing": size_weighing(size)},
        product=size.product,
        size=size,
    )


# -- Recipes --------------------------------------------------------------------------


@allowed("kitting.set_up", "GET", "POST")
def recipe_new(request: LotwardRequest, code: str) -> HttpResponse:
    """Add the next version of a recipe, filled in from the newest."""
    product = get_or_404(Product, code=code)
    last = queries.recipes_of(product).first()
    return act_page(
        request,
        "kitting/products/recipe_new",
        RecipeForm(request.POST or None, **(as_entered(last) if last else {})),
        partial(recipes.add_recipe, product=code),
        said=_("Version %(version)s is added. Put it in force when it begins."),
        to=lambda done: reverse("kitting:recipe", args=[done.product, done.version]),
        act=_("Add this version"),
        back=_address(code),
        product=product,
        last=last,
    )


@allowed("kitting.set_up", "GET", "POST")
def recipe(request: LotwardRequest, code: str, version: int) -> HttpResponse:
    """One version of a recipe, and putting it in force."""
    product = get_or_404(Product, code=code)
    row: Recipe = get_or_404(queries.recipes_of(product), version=version)
    now = product.recipes.filter(in_force=True).first()

    def put(sign: Sign, seen: int | None) -> recipes.KeptRecipe:
        of = {"product": code, "version": version, "seen": seen}
        return recipes.put_in_force(**of, sign=sign)  # type: ignore[arg-type]

    return act_page(
        request,
        "kitting/products/recipe",
        RecipeForceForm(
            request.POST or None, initial={"seen": now.version if now else None}
        ),
        put,
        said=_("Version %(version)s of %(name)s is in force."),
        to=_address(code),
        act=_("Put it in force"),
        product=product,
        recipe=row,
        now=now,
    )
