"""A size that is weighed: what has to be on record first, and what its page tells."""

from __future__ import annotations

import uuid
from typing import Any

import pytest
from django.urls import reverse
from scipy import stats

from kitting.domain.errors import LotwardError
from kitting.models import Bench, BoxSize, Part, Recipe
from kitting.models.catalogue import Per
from kitting.products.services.parts import PartFacts, change_part
from kitting.products.services.products import SizeFacts, add_size, change_size
from kitting.products.services.recipes import put_in_force
from lotward.catalogue.loading import CatalogueRefused, load_catalogue
from tests import factories
from tests.assertions import assert_page, assert_refused, text_of
from tests.factories import sign

pytestmark = pytest.mark.django_db


@pytest.fixture
def recipe() -> Recipe:
    masses = {"Headband": 36_000, "Elastic": 2_400}
    lines = [
        (
            factories.make_revision(
                factories.make_part(name=name, mass_mg=mass, spread_mg=500)
            ),
            1,
            Per.SET,
        )
        for name, mass in masses.items()
    ]
    return factories.make_recipe(lines)


@pytest.fixture
def carton() -> Part:
    return factories.make_part(name="Carton", mass_mg=180_000)


def switch(size: BoxSize, carton: Part | None) -> Any:
    return change_size(
        product=size.product.code,
        sets=size.sets,
        to=SizeFacts(weigh=True, carton_id=carton and carton.pk),
        active=True,
        sign=sign(),
    )


def refused(call: Any, *args: Any) -> LotwardError:
    with pytest.raises(LotwardError) as caught:
        call(*args)
    return caught.value


def page_of(size: BoxSize) -> str:
    return reverse("kitting:size-change", args=[size.product.code, size.sets])


def give_scale(step_mg: int = 1_000, u_mg: int = 1_000) -> Bench:
    bench = factories.make_bench()
    Bench.objects.filter(pk=bench.pk).update(
        scale_step_mg=step_mg, scale_u_mg=u_mg, scale_most_mg=30_000_000
    )
    return bench


def test_it_is_weighed_once_its_carton_and_all_parts_have_a_mass(
    recipe, carton
) -> None:
    size = factories.make_size(recipe, 24)
    error = refused(switch, size, None)
    assert_refused(error, "weighed_without_carton", sets=24)
    Part.objects.filter(name="Elastic").update(mass_mg=None)
    Part.objects.filter(pk=carton.pk).update(mass_mg=None)
    error = refused(switch, size, carton)
    assert_refused(error, "weighed_without_mass", parts="Elastic, Carton")
    size.refresh_from_db()
    assert not size.weigh
    Part.objects.update(mass_mg=2_400)
    switch(size, carton)
    size.refresh_from_db()
    assert size.weigh
    assert factories.prove() == []


def test_a_new_size_is_weighed_from_the_start(recipe, carton) -> None:
    to = SizeFacts(weigh=True, carton_id=carton.pk)
    add_size(product=recipe.product.code, sets=6, to=to, sign=sign())
    assert BoxSize.objects.get().weigh


def test_a_substitute_needs_a_mass_as_well(recipe, carton) -> None:
    size = factories.make_size(recipe, 24)
    band = Part.objects.get(name="Headband")
    other = factories.make_revision(factories.make_part(name="Short band"))
    factories.substitute(recipe, band, other)
    error = refused(switch, size, carton)
    assert_refused(error, "weighed_without_mass", parts="Short band")


def test_no_recipe_with_a_part_of_unknown_mass_comes_into_force(recipe, carton) -> None:
    switch(factories.make_size(recipe, 24), carton)
    later = Recipe.objects.create(product=recipe.product, version=2, in_force=False)
    strap = factories.make_revision(factories.make_part(name="Strap"))
    later.lines.create(part=strap.part, revision=strap, pieces=1, per=Per.SET)
    code = recipe.product.code
    with pytest.raises(LotwardError) as caught:
        put_in_force(product=code, version=2, seen=1, sign=sign())
    assert_refused(caught.value, "weighed_without_mass", parts="Strap")
    assert Recipe.objects.get(in_force=True) == recipe


def test_a_part_in_it_keeps_a_mass(recipe, carton) -> None:
    switch(factories.make_size(recipe, 24), carton)
    part = Part.objects.get(name="Elastic")
    with pytest.raises(LotwardError) as caught:
        change_part(code=part.code, to=PartFacts(name="Elastic"), sign=sign())
    assert_refused(caught.value, "weighed_without_mass", parts="Elastic")


def test_the_file_says_the_same(recipe, carton) -> None:
    size = {"sets": 24, "weigh": True}
    of = {"code": "FS8", "name": "Shield", "sizes": [size]}
    with pytest.raises(CatalogueRefused) as caught:
        load_catalogue(data={"products": [of]}, sign=sign())
    assert [p.code for p in caught.value.problems] == ["weighed_without_carton"]
    size["carton"] = carton.code
    load_catalogue(data={"products": [of]}, sign=sign())
    assert BoxSize.objects.get(product__code="FS8").weigh


# -- Its page -------------------------------------------------------------------------


@pytest.fixture
def manager(make_user: Any, client_for: Any) -> Any:
    return client_for(make_user("manager", group="manager"))


def test_the_page_says_what_it_lacks_before_it_can_be_weighed(manager, recipe) -> None:
    size = factories.make_size(recipe, 24)
    Part.objects.filter(name="Elastic").update(mass_mg=None)
    said = text_of(manager.get(page_of(size)))
    assert "It can be told once all of this is on record" in said
    assert "the carton" in said
    assert "the mass of Elastic" in said
    assert "the scale of a bench" in said
    answer = manager.post(page_of(size), {"op_key": uuid.uuid4(), "weigh": "on"})
    assert answer.status_code == 422
    assert "their carton is not named" in text_of(answer)


# 24 headbands of 36 g, 24 elastics of 2.4 g, each of spread 0.5 g, on a scale of 1 g.
def test_the_page_says_what_the_scale_notices(
    manager, recipe, carton, django_assert_max_num_queries
) -> None:
    give_scale()
    bench = give_scale(step_mg=5_000, u_mg=1_000)  # the least sure of them counts
    size = factories.make_size(recipe, 24)
    switch(size, carton)
    with django_assert_max_num_queries(15):
        answer = manager.get(page_of(size))
    assert_page(answer)
    said = text_of(answer)
    assert "A complete box weighs 1\u202f101.6\u202fg." in said
    assert bench.name in said
    assert "as good as always" in said
    sd = (48 * 0.5**2 + 1 + 25 / 12) ** 0.5
    short = stats.norm(-2.4, (sd**2 - 0.5**2) ** 0.5)
    chance = short.cdf(-3 * sd) + short.sf(3 * sd)
    assert 0.005 < chance < 0.02
    row = {row.part.name: row for row in answer.context["weighing"].parts}["Elastic"]
    assert row.chance == pytest.approx(chance, rel=1e-3)
    assert "pieces that were swapped for others of like mass" in said
    assert "so all their pieces count as alike" in said  # the carton's spread
    assert "each box is weighed" in text_of(
        manager.get(reverse("kitting:product-detail", args=[size.product.code]))
    )


def test_the_tick_on_the_page_switches_it_on_and_off(manager, recipe, carton) -> None:
    size = factories.make_size(recipe, 24)
    for on in ({"weigh": "on"}, {}):
        entered = {"carton": carton.pk, "active": "on", "op_key": uuid.uuid4(), **on}
        assert manager.post(page_of(size), entered).status_code == 302
        size.refresh_from_db()
        assert size.weigh == bool(on)
