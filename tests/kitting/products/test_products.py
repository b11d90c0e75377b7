"""Products, box sizes and recipes are set up on pages, each an act."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from kitting.domain.errors import LotwardError, Missing
from kitting.ledger.coded import mark_of
from kitting.models import (
    BoxSize,
    Operation,
    Part,
    Product,
    Recipe,
)
from kitting.packing.queries.choices import choices
from kitting.packing.services import boxes
from kitting.products.services.products import (
    ProductFacts,
    SizeFacts,
    add_size,
    change_product,
    change_size,
)
from kitting.products.services.recipes import put_in_force
from kitting.products.steps.recipes import LineFacts
from lotward.catalogue.loading import CatalogueRefused, load_catalogue
from tests import factories
from tests.assertions import (
    assert_page,
    assert_refused,
    assert_sent_to_sign_in,
    text_of,
)
from tests.factories import sign
from tests.kitting.products.setting_up import (
    at,
    free,
    lines,
    product,
    recipe,
    refused,
    sent,
)

pytestmark = pytest.mark.django_db

LIST, NEW = reverse("kitting:products"), reverse("kitting:product-new")
SHIELD = {"code": "FS9", "name": "Shield", "language": "en", "profile": "none"}
GTIN, OTHER_GTIN = "09521234000013", "09521234000020"


# -- Who may --------------------------------------------------------------------------


@pytest.mark.parametrize("role", ["packer", "clerk", "quality officer"])
def test_only_managers_set_products_up(
    role: str, make_user: Any, client_for: Any, outsider: Any
) -> None:
    product()
    add_size(product="FS9", sets=6, to=SizeFacts(), sign=sign())
    recipe(LineFacts(free().pk, 1))
    other = client_for(make_user("other", group=role))
    for path in (
        *(NEW, at("product-change", "FS9"), at("size-new", "FS9")),
        *(at("size-change", "FS9", 6), at("recipe-new", "FS9"), at("recipe", "FS9", 1)),
    ):
        assert_sent_to_sign_in(Client().get(path))
        assert other.get(path).status_code == 403
        assert other.post(path, sent(**SHIELD)).status_code == 403
    for path in (LIST, at("product-detail", "FS9")):
        assert client_for(outsider).get(path).status_code == 403
        shown = text_of(other.get(path))
        assert "Shield" in shown
        for act in ("Add a", "Change"):
            assert act not in shown


def test_what_is_not_there_is_404(manager: Client) -> None:
    product()
    for path in (
        *(at(f"product-{act}", "NONE") for act in ("detail", "change")),
        *(at("size-new", "NONE"), at("size-change", "FS9", 7)),
        *(at("recipe-new", "NONE"), at("recipe", "FS9", 7)),
    ):
        assert manager.get(path).status_code == 404
    with pytest.raises(Missing):
        put_in_force(product="FS9", version=7, seen=None, sign=sign())


# -- From nothing to a box ------------------------------------------------------------


@pytest.mark.smoke
def test_a_product_made_on_pages_is_packed(
    manager: Client, django_assert_max_num_queries: Any
) -> None:
    revision = free()
    carton = factories.make_part(name="Carton", mass_mg=180_000)
    assert "Add a product" in text_of(manager.get(LIST))
    assert_page(manager.get(NEW))
    once = sent(
        **{**SHIELD, "code": "fs9"},
        cautions="A splash barrier.\r\n\r\nNot sterile.",
        cautions_reviewed_by="Ada",
    )
    for _ in range(2):  # the same key: once
        answer = manager.post(NEW, once)
        assert answer["Location"] == at("product-detail", "FS9")
    [row] = Product.objects.all()
    assert row.caution_lines(demo=True) == ("A splash barrier.", "Not sterile.")
    shown = text_of(manager.get(answer["Location"]))
    assert "It has no recipe yet, so it is not packed." in shown
    assert "It has no box size in use." in shown
    once = sent(sets=6, gtin=GTIN, carton=carton.pk)
    for _ in range(2):
        to = manager.post(at("size-new", "FS9"), once)["Location"]
        assert to == at("product-detail", "FS9")
    size = BoxSize.objects.get()
    assert (size.sets, size.gtin, size.carton) == (6, GTIN, carton)
    once = sent(**lines((revision.pk, 2, "set")))
    for _ in range(2):
        to = manager.post(at("recipe-new", "FS9"), once)["Location"]
        assert to == at("recipe", "FS9", 1)
    bench = factories.make_bench()
    assert choices(bench) == []
    assert "no version is in force" in text_of(manager.get(to))
    once = sent(seen="")
    for _ in range(2):
        assert manager.post(to, once)["Location"] == at("product-detail", "FS9")
    assert Recipe.objects.get().in_force
    with django_assert_max_num_queries(15):
        shown = text_of(manager.get(at("product-detail", "FS9")))
    assert "Version 1 of its recipe is in force." in shown
    assert "Carton, 180 g" in shown
    assert [each.sets for each in choices(bench)] == [6]
    bag = factories.make_bag(revision, 20)
    boxes.bring_bag(bench_id=bench.pk, bag_id=bag.pk, sign=sign())
    started = boxes.start_box(bench_id=bench.pk, size_id=size.pk, sign=sign())
    assert started.taken == 12
    done = dict.fromkeys(("add_product", "add_size", "add_recipe", "put_in_force"), 1)
    acts = Operation.objects.filter(name__in=done).values_list("name", flat=True)
    assert sorted(acts) == sorted(done)
    factories.seal_set_up()
    assert factories.prove() == []


def test_what_cannot_be_a_product_is_said(manager: Client) -> None:
    Product.objects.create(code="FS8", name="Other")
    for changes, words in (
        ({"code": ""}, "code"),
        ({"code": "FS-9"}, "does not fit a kit batch"),
        ({"code": "ABCDEFGHI"}, "8"),
        ({"code": "fs8"}, "Code FS8 is in use already"),
        ({"name": " "}, "name"),
        ({"name": "N" * 61}, "60"),
        ({"language": "xx"}, "language"),
        ({"profile": "toy"}, "profile"),
        ({"reference": "N" * 21}, "20 characters"),
        ({"cautions": "One\n" * 9}, "more than 8 cautions"),
        ({"cautions": "N" * 121}, "120"),
    ):
        answer = manager.post(NEW, sent(**{**SHIELD, **changes}))
        assert answer.status_code in (409, 422), changes
        assert words.lower() in text_of(answer).lower(), changes
    assert Product.objects.count() == 1
    longest = {**SHIELD, "name": ("Nine " * 12)[:59] + "s"}
    assert manager.post(NEW, sent(**longest)).status_code == 302


def test_language_and_profile_stay_once_a_box_is_closed(manager: Client) -> None:
    box = factories.make_closed_box()
    row = box.size.product
    page = at("product-change", row.code)
    said = {"seen": mark_of(row), "name": "Other name", "cautions": "New"}
    said["cautions_reviewed_by"] = "Ada"
    assert "so its language and profile stay" in text_of(manager.get(page))
    sent_too = {"language": "de", "profile": "device"}  # not on the page: nothing
    assert manager.post(page, sent(**said, **sent_too)).status_code == 302
    late = manager.post(page, sent(**said))
    assert late.status_code == 409
    assert "has changed since this page was loaded" in text_of(late)
    row.refresh_from_db()
    assert (row.name, row.language, row.cautions) == ("Other name", "en", "New")
    to = ProductFacts(name="Other name", language="de")
    error = refused(change_product, code=row.code, to=to)
    assert_refused(error, "product_stays", product="Other name")


# -- Box sizes ------------------------------------------------------------------------


def test_what_cannot_be_a_box_size_is_said(manager: Client) -> None:
    product()
    gram = factories.make_part(unit="gram", name="Film")
    add_size(product="FS9", sets=6, to=SizeFacts(gtin=GTIN), sign=sign())
    page = at("size-new", "FS9")
    for changes, words in (
        ({"sets": ""}, "how many sets"),
        ({"sets": "0"}, "how many sets"),
        ({"sets": "6"}, "Shield has boxes of 6 already"),
        ({"gtin": "123"}, "is no GTIN"),
        ({"gtin": "09521234000014"}, "is no GTIN"),
        ({"gtin": GTIN}, "belongs to boxes of 6 of Shield"),
        ({"carton": gram.pk}, "the carton"),
    ):
        answer = manager.post(page, sent(**{"sets": "24", **changes}))
        assert answer.status_code in (409, 422), changes
        assert words.lower() in text_of(answer).lower(), changes
    assert BoxSize.objects.count() == 1
    to = SizeFacts(carton_id=gram.pk)
    error = refused(add_size, product="FS9", sets=24, to=to)
    assert_refused(error, "carton_counts_pieces", part="Film")
    error = refused(add_size, product="FS9", sets=0, to=SizeFacts())
    assert_refused(error, "sets_out_of_range", read=0)


def test_a_gtin_stays_and_a_closed_size_is_not_packed(manager: Client) -> None:
    box = factories.make_closed_box()
    size, code = box.size, box.size.product.code
    of = {"product": code, "sets": size.sets, "active": True}
    change_size(**of, to=SizeFacts(gtin=GTIN), sign=sign())  # it had none
    error = refused(change_size, **of, to=SizeFacts(gtin=OTHER_GTIN))
    assert_refused(error, "gtin_stays", gtin=GTIN)
    size.refresh_from_db()
    page = at("size-change", code, size.sets)
    assert_page(manager.get(page))
    said = {"seen": mark_of(size), "gtin": GTIN}
    assert manager.post(page, sent(**said)).status_code == 302
    late = manager.post(page, sent(**said, active="on"))
    assert late.status_code == 409
    bench = factories.make_bench()
    assert choices(bench) == []
    with pytest.raises(LotwardError) as caught:
        boxes.start_box(bench_id=bench.pk, size_id=size.pk, sign=sign())
    assert_refused(caught.value, "size_closed", sets=size.sets)
    change_size(**of, to=SizeFacts(gtin=GTIN), sign=sign())
    boxes.start_box(bench_id=bench.pk, size_id=size.pk, sign=sign())
    factories.seal_set_up()
    assert factories.prove() == []


def test_a_carton_that_the_recipe_does_not_count_is_named(manager: Client) -> None:
    band, carton, other = free(), free("Plain carton"), free("Lined carton")
    product()
    address = reverse("kitting:product-detail", args=["FS9"])

    def told() -> bool:
        said = "Boxes of 6 are packed with"
        return f"{said} {other.part.name}" in text_of(manager.get(address))

    to = SizeFacts(carton_id=carton.part_id)
    add_size(product="FS9", sets=6, to=to, sign=sign())
    recipe(LineFacts(band.pk, 1))
    assert not told(), "the recipe counts none"
    recipe(LineFacts(band.pk, 1), LineFacts(other.pk, 1, per="box", sets=6))
    assert told()
    instead = LineFacts(other.pk, 1, per="box", sets=6, substitute_ids=(carton.pk,))
    recipe(LineFacts(band.pk, 1), instead)
    assert not told(), "it may be the one that is taken"


# -- The file -------------------------------------------------------------------------


def test_the_file_makes_what_the_pages_make() -> None:
    band, carton = free(), factories.make_part(name="Carton")
    product()
    to = SizeFacts(gtin=GTIN, carton_id=carton.pk)
    add_size(product="FS9", sets=6, to=to, sign=sign())
    recipe(LineFacts(band.pk, 1))
    size = {"sets": 6, "gtin": GTIN, "carton": carton.code}
    line = {"part": band.part.code, "revision": "A", "pieces": 1, "per": "set"}
    version = {"version": 1, "in_force": True, "lines": [line]}
    same = {**SHIELD, "sizes": [size], "recipes": [version]}
    done = load_catalogue(data={"products": [same]}, sign=sign())
    assert (done.products, done.sizes, done.recipes, done.in_force) == (0, 0, 0, 0)
    new = {**same, "code": "FS8", "sizes": [{"sets": 6}]}
    done = load_catalogue(data={"products": [new]}, sign=sign())
    assert (done.products, done.sizes, done.recipes, done.in_force) == (1, 1, 1, 1)
    film = factories.make_revision(factories.make_part(unit="gram"))
    gram = {**line, "part": film.part.code}
    later = {**version, "version": 2}
    here = "products[1]"
    for wrong, path, code in (
        (
            {"sizes": [{**size, "carton": film.part.code, "sets": 7, "gtin": None}]},
            f"{here}.sizes[1]",
            "carton_counts_pieces",
        ),
        (
            {
                "recipes": [
                    {**version, "version": 3, "in_force": False, "lines": [gram]}
                ]
            },
            f"{here}.recipes[1].lines",
            "recipe_counts_pieces",
        ),
        ({"recipes": [later]}, f"{here}.recipes", "catalogue_differs"),
        (
            {"recipes": [{**version, "in_force": 1}]},
            f"{here}.recipes[1].in_force",
            "catalogue_kind",
        ),
    ):
        with pytest.raises(CatalogueRefused) as caught:
            load_catalogue(data={"products": [{**same, **wrong}]}, sign=sign())
        assert [(p.path, p.code) for p in caught.value.problems] == [(path, code)]
    assert Part.objects.filter(pk=carton.pk).exists()
