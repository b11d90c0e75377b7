"""What a revision lacks before it is packed: a manual that says so, labels that fit."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from kitting.models import Part, Product, Recipe, Revision
from kitting.models.catalogue import Per
from kitting.products.queries.parts import revision_page
from kitting.products.services.parts import RevisionNote, add_revision
from kitting.products.services.recipes import add_recipe, put_in_force
from kitting.products.steps.recipes import LineFacts, PairFacts
from tests import factories
from tests.assertions import assert_part, text_of
from tests.factories import TODAY, sign
from tests.kitting.printing.test_fitting import WIDE, change

pytestmark = pytest.mark.django_db

NOTE = {"changed": "Wider clip", "approved_by": "Ada", "old_stock": "Used up first"}


@pytest.fixture
def old() -> Revision:
    """A revision that one product takes, with a manual."""
    band = factories.make_revision(factories.make_part(name="Band", mass_mg=9))
    paper = factories.make_part(name="Manual", mass_mg=5, manual=True)
    manual = factories.make_revision(paper, "1")
    recipe = factories.make_recipe([(band, 1, Per.SET), (manual, 1, Per.BOX)])
    Product.objects.filter(pk=recipe.product_id).update(name="Shield")
    return band


def newer(of: Part, code: str, **note: Any) -> Revision:
    said = RevisionNote(**NOTE, **note)
    add_revision(part=of.code, code=code, note=said, sign=sign())
    return Revision.objects.get(part=of, code=code)


def taken(
    *takes: tuple[Revision, Revision | None], together: tuple[Revision, ...] = ()
) -> Recipe:
    """The product's next recipe takes revisions, or others in their place."""
    now = Recipe.objects.get(in_force=True)
    lines = [
        LineFacts(one.pk, 1, substitute_ids=(other.pk,) if other else ())
        for one, other in takes
    ]
    pairs = [PairFacts(*(each.pk for each in together))] if together else []
    add_recipe(product=now.product.code, lines=lines, pairs=pairs, sign=sign())
    of = {"product": now.product.code, "seen": now.version}
    put_in_force(**of, version=now.version + 1, sign=sign())
    return Recipe.objects.get(in_force=True)


def lacks(revision: Revision) -> list[str]:
    return revision_page(revision, TODAY).lacks


def shown(manager: Client, revision: Revision) -> str:
    at = [revision.part.code, revision.code]
    page = reverse("kitting:revision-detail", args=at)
    return text_of(manager.get(page, {"labels": "1"}))


@pytest.fixture
def manager(client_for: Any) -> Client:
    return client_for(factories.make_person("manager"))  # type: ignore[no-any-return]


# -- The manual -----------------------------------------------------------------------


def test_a_manual_has_to_say_what_is_new(old: Revision, manager: Client) -> None:
    factories.make_protocol(old)
    paper = Part.objects.get(manual=True)
    first = paper.revisions.get()
    quiet = newer(old.part, "B")
    told = newer(old.part, "C", manual_changes=True)
    assert "manual" not in lacks(told)  # it lacks a recipe first
    taken((quiet, None), (first, None))
    assert "manual" not in lacks(quiet)
    taken((told, None), (first, None))
    assert "manual" in lacks(told)
    said = "version 3 of Shield takes no manual revised after it"
    assert said in shown(manager, told)
    second = newer(paper, "2")
    # As long as an old one may lie in the box in its place, it still does.
    taken((told, None), (second, first))
    assert "manual" in lacks(told)
    taken((told, quiet), (second, first), together=(told, second))
    assert "manual" not in lacks(told)  # the old one lies beside the old one only
    taken((told, None), (second, None))
    assert "manual" not in lacks(told)
    assert said not in shown(manager, told)


def test_a_recipe_without_a_manual_lacks_one(old: Revision) -> None:
    told = newer(old.part, "B", manual_changes=True)
    newer(Part.objects.get(manual=True), "2")
    taken((told, None))
    assert "manual" in lacks(told)


def test_it_is_said_on_the_pages(old: Revision, manager: Client) -> None:
    paper = Part.objects.get(manual=True)
    page = reverse("kitting:part-detail", args=[paper.code])
    assert "It is a text that says what is in the box" in text_of(manager.get(page))
    told = newer(old.part, "B", manual_changes=True)
    assert "It has to say what is new" in shown(manager, told)
    at = reverse("kitting:revision-change", args=[old.part.code, "B"])
    form = manager.get(at).context["form"]
    assert form.initial["manual_changes"] is True
    factories.make_lot(told)
    assert "manual_changes" not in manager.get(at).context["form"].fields


# -- Labels ---------------------------------------------------------------------------


def test_labels_that_do_not_fit_are_named(old: Revision, manager: Client) -> None:
    """As where something changed beside the acts, or before labels were asked."""
    other = factories.make_revision()
    fits = "dots to the inch"
    assert fits not in shown(manager, old)
    Product.objects.update(name=WIDE)
    said = shown(manager, old)
    assert "at 203 dots to the inch" in said
    assert WIDE in said
    assert fits not in shown(manager, other)  # no product takes it
    change(Product.objects.get(), name="Shield")
    assert fits not in shown(manager, old)
    Part.objects.filter(pk=other.part_id).update(name="フェイス")
    assert "フェイス" in shown(manager, other)  # its bag label


def test_they_are_drawn_once_the_page_is_there(old: Revision, manager: Client) -> None:
    """The page does not wait for it; without a script a link leads to the same."""
    factories.make_protocol(old)
    page = reverse("kitting:revision-detail", args=[old.part.code, old.code])
    nothing = "Nothing: it can be taken in and packed."
    answer = manager.get(page)
    assert nothing not in text_of(answer)
    assert 'href="?labels=1">Do its labels fit?' in answer.content.decode()
    assert f'hx-get="{page}?labels=1"' in answer.content.decode()
    drawn = manager.get(page, {"labels": "1"}, headers={"HX-Request": "true"})
    assert_part(drawn, "revision-lacks")
    assert nothing in text_of(drawn)
    assert "Do its labels fit?" not in text_of(drawn)
