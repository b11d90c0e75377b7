"""Recipes: versions, their lines, what stands in for them and what goes together."""

from __future__ import annotations

import pytest
from django.test import Client
from django.utils.html import strip_tags

from kitting.domain.errors import Missing
from kitting.models import Box, BoxSize, Recipe, RecipeLine, Revision
from kitting.models.catalogue import Per
from kitting.packing.services import boxes
from kitting.products.services.products import SizeFacts, add_size
from kitting.products.services.recipes import add_recipe, put_in_force
from kitting.products.steps.recipes import LineFacts, PairFacts
from tests import factories
from tests.assertions import assert_part, assert_refused, text_of
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


def instead_of(line: RecipeLine) -> list[Revision]:
    """What may be taken in a line's place, the preferred first."""
    return [each.revision for each in line.substitutes.order_by("nth")]


def test_a_new_version_is_filled_in_from_the_newest(manager: Client) -> None:
    product()
    band, newer = free(), None
    newer = factories.make_revision(band.part, "B")
    manual = free("Manual")
    recipe(LineFacts(band.pk, 1), LineFacts(manual.pk, 1, Per.BOX))
    page = at("recipe-new", "FS9")
    form = manager.get(page).context["form"]
    filled = [
        (line["revision"].value(), line["pieces"].value(), line["per"].value())
        for line in form.lines.initial_forms
    ]
    assert filled == [(band.pk, 1, "set"), (manual.pk, 1, "box")]
    rows = (newer.pk, 1, "set"), (band.pk, "", "instead"), (manual.pk, 1, "box")
    manager.post(page, sent(**lines(*rows, before=2)))
    second = Recipe.objects.get(version=2)
    assert not second.in_force
    assert [instead_of(line) for line in second.lines.all()] == [[band], []]
    to = at("recipe", "FS9", 2)
    assert "No: version 1 is in force." in text_of(manager.get(to))
    # Somebody else had put a third one in force meanwhile.
    recipe(LineFacts(band.pk, 2))
    late = manager.post(to, sent(seen="1"))
    assert late.status_code == 409
    assert "has changed since this page was loaded" in text_of(late)
    assert manager.post(to, sent(seen="3")).status_code == 302
    assert [each.in_force for each in Recipe.objects.order_by("version")] == [
        *(False, True, False),
    ]
    # Back to the first, which is a version like others.
    put_in_force(product="FS9", version=1, seen=2, sign=sign())
    values = {"product": "FS9", "version": 1, "seen": 1}
    assert refused(put_in_force, **values).code == "recipe_is_in_force"
    factories.seal_set_up()
    assert factories.prove() == []


def test_what_cannot_be_a_recipe_is_said(manager: Client) -> None:
    product()
    band = free()
    other, film = free("Visor"), factories.make_part(unit="gram", name="Film")
    gram = factories.make_revision(film)
    page = at("recipe-new", "FS9")
    twice, strap = factories.make_revision(band.part, "B"), free("Strap")
    whole = (band.pk, 1, "set")
    for rows, words in (
        ((), "There is nothing in it that each set needs"),
        (((band.pk, 1, "box"),), "There is nothing in it that each set needs"),
        (((band.pk, "", "set"),), "how many pieces are needed"),
        (((band.pk, 0, "set"),), "how many pieces are needed"),
        ((("", 3, "set"),), "part and revision"),
        (((band.pk, 1, "set"), (twice.pk, 1, "set")), "Headband is in two lines"),
        (((gram.pk, 1, "set"),), "Film is not counted in pieces"),
        ((whole, (gram.pk, "", "instead")), "Film is not counted in pieces"),
        ((whole, (band.pk, "", "instead")), "Headband revision A is there twice"),
        (
            (whole, (twice.pk, "", "instead"), (twice.pk, "", "instead")),
            "Headband revision B is there twice",
        ),
        # What stands in for a part is a part of no other line, by itself or for another.
        (
            (whole, (other.pk, "", "instead"), (other.pk, 1, "set")),
            "Visor is in two lines",
        ),
        (
            (
                *(whole, (strap.pk, "", "instead")),
                *((other.pk, 1, "set"), (strap.pk, "", "instead")),
            ),
            "Strap is in two lines",
        ),
        ((whole, (other.pk, 2, "instead")), "As many are taken in its place"),
        (((other.pk, "", "instead"), whole), "no part above this line"),
        # Its own line was emptied: it is not given to the one above.
        (
            (whole, ("", "", "set"), (other.pk, "", "instead")),
            "no part above this line",
        ),
    ):
        answer = manager.post(page, sent(**lines(*rows)))
        assert answer.status_code == 422, words
        assert words.lower() in text_of(answer).lower()
    gone = manager.post(page, sent(), headers={"HX-Request": "true"})
    assert_part(gone, "recipe-new", status=422)
    assert "came back without its lines" in text_of(gone)
    many = manager.post(page, sent(**lines(count=41)))
    assert "at most 40 lines" in text_of(many)
    none = (LineFacts(band.pk, 0),)
    error = refused(add_recipe, product="FS9", lines=none)
    assert_refused(error, "recipe_pieces_out_of_range", part="Headband")
    assert not Recipe.objects.exists()
    with pytest.raises(Missing):
        recipe(LineFacts(0, 1))


def test_a_line_may_be_for_one_box_size_only(manager: Client) -> None:
    product()
    band, carton, bag = free(), free("Carton for 6"), free("Paper bag")
    add_size(product="FS9", sets=6, to=SizeFacts(), sign=sign())
    page = at("recipe-new", "FS9")
    whole = (band.pk, 1, "set")
    for rows, words in (
        ((whole, (carton.pk, 1, "box", 24)), "the product has no such box size"),
        ((whole, ("", "", "", 6)), "part and revision"),
        ((whole, (carton.pk, 1, "box", 0)), "the only box size that needs it"),
        ((whole, (carton.pk, 1, "box", 6), (bag.pk, "", "instead", 6)), "same boxes"),
        (((band.pk, 1, "set", 6),), "There is nothing in it that each set needs"),
    ):
        answer = manager.post(page, sent(**lines(*rows)))
        assert answer.status_code == 422, words
        assert words.lower() in text_of(answer).lower()
    assert not Recipe.objects.exists()
    rows = (whole, (carton.pk, 1, "box", 6), (bag.pk, "", "instead"))
    assert manager.post(page, sent(**lines(*rows))).status_code == 302
    made = Recipe.objects.get()
    line = made.lines.get(part=carton.part)
    assert [each.needed(6) for each in made.lines.all()] == [6, 1]
    assert [each.needed(24) for each in made.lines.all()] == [24, 0]
    assert instead_of(line) == [bag]
    assert "box, only in boxes of 6" in text_of(manager.get(at("recipe", "FS9", 1)))
    form = manager.get(page).context["form"]
    assert [each["sets"].value() for each in form.lines.initial_forms] == [
        None,
        6,
        None,
    ]


def test_a_recipe_names_substitutes_in_their_order_and_what_goes_together(
    manager: Client,
) -> None:
    product()
    band, visor, strap = free(), free("Visor"), free("Strap")
    older = factories.make_revision(band.part, "B")
    flat = factories.make_revision(visor.part, "B")
    rows = (
        *((band.pk, 1, "set"), (strap.pk, "", "instead"), (older.pk, "", "instead")),
        *((visor.pk, 2, "set"), (flat.pk, "", "instead")),
    )
    pairs = [(visor.pk, older.pk), (visor.pk, band.pk)]
    page = at("recipe-new", "FS9")
    form = sent(**lines(*rows, count=8, pairs=pairs))
    assert manager.post(page, form).status_code == 302
    assert manager.post(page, form).status_code == 302  # sent twice, done once
    made = Recipe.objects.get()
    assert [instead_of(line) for line in made.lines.all()] == [[strap, older], [flat]]
    assert set(made.pairs.values_list("revision", "other")) == set(pairs)
    said = strip_tags(text_of(manager.get(at("recipe", "FS9", 1))))
    assert "Strap A, B" in said
    assert "Visor A goes only with Headband B, Headband A" in said
    # The form of the next version is filled in with all of it.
    again = manager.get(page).context["form"]
    shown = [
        tuple(line[name].value() or "" for name in ("revision", "pieces", "per"))
        for line in again.lines.initial_forms
    ]
    assert shown == list(rows)
    assert [
        (pair["revision"].value(), pair["other"].value())
        for pair in again.more.initial_forms
    ] == pairs
    # Each is found again where it is used: by its revision and by its part.
    put_in_force(product="FS9", version=1, seen=None, sign=sign())
    for address in (
        at("revision-detail", strap.part.code, "A"),
        at("part-detail", strap.part.code),
        at("revision-detail", band.part.code, "B"),
    ):
        taken = strip_tags(text_of(manager.get(address)))
        assert "version 1: Headband A, or in its place Strap A, B" in taken, address
    factories.seal_set_up()
    assert factories.prove() == []


def test_what_cannot_go_together_is_said(manager: Client) -> None:
    product()
    band, visor, manual = free(), free("Visor"), free("Manual")
    older = factories.make_revision(band.part, "B")
    flat = factories.make_revision(visor.part, "B")
    rows = (
        *((band.pk, 1, "set"), (older.pk, "", "instead")),
        *((visor.pk, 1, "set"), (flat.pk, "", "instead")),
    )
    page = at("recipe-new", "FS9")
    pair = (visor.pk, band.pk)
    for pairs, words in (
        ([(visor.pk, manual.pk)], "Manual revision A is not in this recipe"),
        ([(manual.pk, visor.pk)], "Manual revision A is not in this recipe"),
        ([(band.pk, older.pk)], "are of one line"),
        ([(band.pk, band.pk)], "are of one line"),
        ([pair, pair], "is there twice"),
        ([(visor.pk, "")], "what it goes with"),
        ([("", visor.pk)], "the revision"),
        # Both visors want the one headband: the other could never be packed.
        ([pair, (flat.pk, band.pk)], "Headband revision B could never be packed"),
        # The visor wants a headband that wants the other visor.
        ([pair, (band.pk, flat.pk)], "Visor revision A could never be packed"),
    ):
        form = sent(**lines(*rows, count=8, pairs=pairs))
        answer = manager.post(page, form)
        assert answer.status_code == 422, words
        assert words.lower() in text_of(answer).lower(), words
    many = sent(**lines(*rows, count=8, pairs=[pair] * 41))
    assert "at most 40 lines" in text_of(manager.post(page, many))
    half = sent(
        **{
            name: value
            for name, value in lines(*rows, count=8).items()
            if not name.startswith("pair")
        }
    )
    assert "came back without its lines" in text_of(manager.post(page, half))
    assert not Recipe.objects.exists()
    facts = [PairFacts(visor.pk, band.pk)] * 41
    to = {"product": "FS9", "lines": [LineFacts(band.pk, 1)], "pairs": facts}
    assert refused(add_recipe, **to).code == "too_many_pairs"


def test_a_box_that_is_open_keeps_its_recipe() -> None:
    product()
    add_size(product="FS9", sets=6, to=SizeFacts(), sign=sign())
    first = recipe(LineFacts(free().pk, 1))
    bench, size = factories.make_bench(), BoxSize.objects.get()
    started = boxes.start_box(bench_id=bench.pk, size_id=size.pk, sign=sign())
    recipe(LineFacts(free("Visor").pk, 1))
    assert Box.objects.get(pk=started.box_id).recipe == first
