"""What stands in for a part, and which revisions go together in one box."""

from __future__ import annotations

from datetime import timedelta

import pytest

from kitting.domain.errors import LotwardError, Refused
from kitting.domain.stages import BagStage
from kitting.ledger import holds
from kitting.models import Bag, Box, BoxLine, OpenBag, Operation, Recipe, Revision
from kitting.models.catalogue import Per
from kitting.packing.labels import box_label
from kitting.packing.queries.bench import Screen, screen
from kitting.packing.services import boxes, voiding
from kitting.products.services.recipes import put_in_force
from tests import factories
from tests.assertions import assert_refused
from tests.benches import Packing, make_packing, revision_of
from tests.databases import once_a_module
from tests.factories import NOW, TODAY, sign

pytestmark = pytest.mark.django_db


@once_a_module
def at() -> Packing:
    return make_packing()


def bring(at: Packing, bag: Bag) -> int:
    return boxes.bring_bag(bench_id=at.bench.pk, bag_id=bag.pk, sign=sign()).taken


def refused(at: Packing, bag: Bag) -> LotwardError:
    """What is refused writes nothing."""
    before = Operation.objects.count(), set(OpenBag.objects.values_list("bag"))
    with pytest.raises(Refused) as error:
        bring(at, bag)
    now = Operation.objects.count(), set(OpenBag.objects.values_list("bag"))
    assert now == before
    return error.value


def start(at: Packing) -> Box:
    started = boxes.start_box(bench_id=at.bench.pk, size_id=at.size.pk, sign=sign())
    return Box.objects.get(pk=started.box_id)


def close(box: Box) -> None:
    boxes.close_box(box_id=box.pk, sign=sign())


def inside(box: Box) -> dict[str, int]:
    lines = BoxLine.objects.filter(box=box).select_related("lot__part", "lot__revision")
    return {f"{row.lot.part} {row.lot.revision}": row.pieces for row in lines}


def seen(at: Packing) -> Screen:
    return screen(at.bench, today=TODAY, now=NOW)


def other(at: Packing, code: str = "B", of: str = "band") -> Revision:
    return factories.make_revision(getattr(at, of).part, code)


def proved() -> list[str]:
    factories.seal_set_up()
    return [fault.words for fault in factories.prove()]


# -- Several substitutes --------------------------------------------------------------


def test_a_line_is_filled_from_any_of_its_substitutes(at: Packing) -> None:
    older, oldest, strap = other(at, "B"), other(at, "C"), revision_of("Strap")
    factories.substitute(at.recipe, at.band.part, older, oldest, strap)
    box = start(at)
    assert bring(at, at.bag(oldest, 2)) == 2
    assert bring(at, at.bag(strap, 3)) == 3
    assert bring(at, at.bag(older, 9)) == 1
    assert bring(at, at.band_bag) == 0  # as many as of the part itself
    for bag in (at.visor_bag, at.manual_bag):
        bring(at, bag)
    close(box)
    assert inside(box) == {
        "Headband C": 2,
        "Strap A": 3,
        "Headband B": 1,
        "Visor A": 12,
        "Manual A": 1,
    }
    assert proved() == []


def test_what_is_neither_is_refused_with_all_that_is_taken(at: Packing) -> None:
    older, strap = other(at, "B"), revision_of("Strap")
    factories.substitute(at.recipe, at.band.part, strap, older)
    start(at)
    error = refused(at, at.bag(other(at, "Z")))
    wanted = "A, Strap revision A, B"
    assert_refused(error, "revision_not_pinned", revision="Z", wanted=wanted)
    newer = factories.make_revision(strap.part, "B")
    error = refused(at, at.bag(newer))
    wanted = "Headband revision A, A, Headband revision B"
    assert_refused(error, "revision_not_pinned", revision="B", wanted=wanted)
    assert_refused(refused(at, factories.make_bag()), "part_not_in_recipe")


def test_what_is_preferred_is_offered_as_long_as_it_suffices(at: Packing) -> None:
    older, strap = other(at, "B"), revision_of("Strap")
    factories.substitute(at.recipe, at.band.part, strap, older)
    straps, olders = at.bag(strap, 4), at.bag(older, 4, use_by=TODAY)
    start(at)
    offers = seen(at).offers
    assert [(each.bag, each.instead) for each in offers] == [
        (at.band_bag.number, None),
    ]
    holds.place_hold(target="bag", value=at.band_bag.pk, reason="Torn", sign=sign())
    offers = seen(at).offers  # 4 straps do not suffice for 6
    assert {(each.bag, each.instead) for each in offers} == {
        (straps.number, strap),
        (olders.number, older),
    }
    at.bag(older, 50, use_by=TODAY)  # enough, and it would come first by its date
    more = at.bag(strap, 6)
    assert {each.instead for each in seen(at).offers} == {strap}
    assert more.number in {each.bag for each in seen(at).offers}


def test_open_bags_fill_a_new_box_the_preferred_first(at: Packing) -> None:
    strap = revision_of("Strap")
    factories.substitute(at.recipe, at.band.part, strap)
    straps = at.bag(strap)
    bring(at, straps)  # it lies there longer
    bring(at, at.band_bag)
    box = start(at)
    assert inside(box) == {"Headband A": 6}
    # Of a line that two open bags could fill, the one that is taken from is shown.
    holds.place_hold(target="bag", value=at.band_bag.pk, reason="Torn", sign=sign())
    (line, *_) = seen(at).lines
    assert (line.part, line.bag, line.refusal) == ("Headband", straps.number, None)


def test_a_substitute_of_another_part_is_on_the_label(at: Packing) -> None:
    strap = revision_of("Strap")
    strap.part.latex = True
    strap.part.save()
    factories.substitute(at.recipe, at.band.part, strap)
    box = start(at)
    bag = at.bag(strap)
    for each in (bag, at.visor_bag, at.manual_bag):
        bring(at, each)
    close(box)
    label = box_label(box.pk)
    assert label.latex
    assert ("Strap", bag.lot.number) in label.lots


def test_a_substitute_may_lie_open_for_its_own_hours(at: Packing) -> None:
    strap = revision_of("Strap")
    strap.part.open_hours = 8
    strap.part.save()
    factories.substitute(at.recipe, at.band.part, strap)
    bring(at, at.bag(strap))
    boxes.start_box(
        bench_id=at.bench.pk,
        size_id=at.size.pk,
        sign=sign(now=NOW + timedelta(hours=9)),
    )
    later = NOW + timedelta(hours=9)
    shown = screen(at.bench, today=TODAY, now=later)
    assert shown.lines[0].refusal is not None
    assert shown.lines[0].refusal.code == "bag_open_too_long"
    assert [each.bag for each in shown.offers] == [at.band_bag.number]


def test_a_cancelled_box_gives_substitutes_back(at: Packing) -> None:
    older = other(at)
    factories.substitute(at.recipe, at.band.part, older)
    box = start(at)
    bag = at.bag(older, 6)
    bring(at, bag)
    bag.refresh_from_db()
    assert (bag.stage, bag.pieces) == (BagStage.USED_UP, 0)
    voiding.cancel_box(box_id=box.pk, reason="Crushed", sign=sign())
    bag.refresh_from_db()
    assert (bag.stage, bag.pieces) == (BagStage.CLEARED, 6)
    assert proved() == []


# -- What goes together ---------------------------------------------------------------


def paired(at: Packing) -> tuple[Revision, Revision]:
    """Visor A goes only with headband A or B; headband C and visor B are there too."""
    second, third = other(at, "B"), other(at, "C")
    visor = other(at, "B", of="visor")
    factories.substitute(at.recipe, at.band.part, second, third)
    factories.substitute(at.recipe, at.visor.part, visor)
    factories.only_with(at.recipe, at.visor, at.band, second)
    return third, visor


def test_a_bag_that_does_not_go_with_the_box_is_refused(at: Packing) -> None:
    third, visor = paired(at)
    box = start(at)
    bring(at, at.bag(third, 5))
    error = refused(at, at.visor_bag)
    assert_refused(
        error,
        "revisions_apart",
        bag=at.visor_bag.number,
        what="Visor revision A",
        inside="Headband revision C",
        wanted="Visor revision B",
    )
    assert bring(at, at.band_bag) == 1  # headbands go together as they did
    error = refused(at, at.visor_bag)
    assert_refused(error, "revisions_apart", inside="Headband revision C")
    assert bring(at, at.bag(visor)) == 12
    bring(at, at.manual_bag)
    close(box)
    assert proved() == []


def test_it_is_the_same_from_the_other_side(at: Packing) -> None:
    third, visor = paired(at)
    box = start(at)
    bring(at, at.visor_bag)
    assert_refused(
        refused(at, at.bag(third)),
        "revisions_apart",
        what="Headband revision C",
        inside="Visor revision A",
        wanted="Headband revision A, Headband revision B",
    )
    # The visors are in: nothing is taken from a bag for the next box, so it may lie here.
    assert bring(at, at.bag(visor)) == 0
    assert bring(at, at.band_bag) == 6
    assert bring(at, at.bag(third)) == 0  # apart from the visors, for the next box
    bring(at, at.manual_bag)
    close(box)
    assert proved() == []


def test_where_nothing_is_said_all_released_revisions_go_together(at: Packing) -> None:
    third, visor = paired(at)
    at.recipe.pairs.all().delete()
    box = start(at)
    for bag in (at.bag(third, 5), at.band_bag, at.bag(visor, 2), at.visor_bag):
        assert bring(at, bag) > 0
    bring(at, at.manual_bag)
    close(box)
    assert proved() == []


def test_a_bag_that_would_leave_nothing_of_another_part_is_refused(at: Packing) -> None:
    """Each visor goes with one headband only: with two headbands no visor would go."""
    second, visor = other(at, "B"), other(at, "B", of="visor")
    factories.substitute(at.recipe, at.band.part, second)
    factories.substitute(at.recipe, at.visor.part, visor)
    factories.only_with(at.recipe, at.visor, at.band)
    factories.only_with(at.recipe, visor, second)
    start(at)
    bring(at, at.bag(at.band, 5))
    assert_refused(
        refused(at, at.bag(second)),
        "revisions_apart",
        what="Headband revision B",
        inside="Headband revision A",
        wanted="Headband revision A",
    )


def test_open_bags_that_do_not_go_together_fill_no_box_together(at: Packing) -> None:
    third, visor = paired(at)
    bring(at, at.visor_bag)
    bands = at.bag(third)
    bring(at, bands)
    box = start(at)
    assert inside(box) == {"Headband C": 6}
    (visors,) = [line for line in seen(at).lines if line.part == "Visor"]
    assert visors.refusal is not None
    assert visors.refusal.code == "revisions_apart"
    assert seen(at).offers == []
    lacking = seen(at).lacking
    assert lacking is not None
    assert lacking.apart == 100
    fits = at.bag(visor)
    assert [each.bag for each in seen(at).offers] == [fits.number]


def test_a_substitute_of_another_part_counts_as_one_of_its_line(at: Packing) -> None:
    """Named with headbands alone, a visor does not go with what stands in for them."""
    strap = revision_of("Strap")
    factories.substitute(at.recipe, at.band.part, strap)
    factories.only_with(at.recipe, at.visor, at.band)
    start(at)
    bring(at, at.visor_bag)
    error = refused(at, at.bag(strap))
    assert_refused(error, "revisions_apart", wanted="Headband revision A")


# -- Wrong moments --------------------------------------------------------------------


def test_an_open_box_keeps_its_version_with_all_that_it_says(at: Packing) -> None:
    older, visor = other(at), other(at, "B", of="visor")
    factories.substitute(at.recipe, at.band.part, older)
    box = start(at)
    bring(at, at.bag(older, 3))
    lines = [(at.band, 1, Per.SET), (visor, 2, Per.SET), (at.manual, 1, Per.BOX)]
    code = at.recipe.product.code
    newer = factories.make_recipe(lines)
    Recipe.objects.filter(pk=newer.pk).update(
        product=at.recipe.product, version=2, in_force=False
    )
    put_in_force(product=code, version=2, seen=1, sign=sign())
    assert bring(at, at.bag(older)) == 3
    assert_refused(refused(at, at.bag(visor)), "revision_not_pinned", wanted="A")
    for bag in (at.visor_bag, at.manual_bag):
        bring(at, bag)
    close(box)
    assert box.recipe == at.recipe
    assert proved() == []


def test_of_a_revision_that_is_closed_the_stock_is_packed(at: Packing) -> None:
    """Closed, no lot of it is taken in any more; what there is goes on."""
    older = other(at)
    factories.substitute(at.recipe, at.band.part, older)
    bag = at.bag(older)
    Revision.objects.filter(pk=older.pk).update(active=False)
    start(at)
    assert bring(at, bag) == 6


# -- The proof ------------------------------------------------------------------------


def test_the_proof_finds_a_box_of_what_does_not_go_together(at: Packing) -> None:
    _, visor = paired(at)
    box = start(at)
    for bag in at.bags:
        bring(at, bag)
    close(box)
    assert proved() == []
    factories.only_with(at.recipe, at.band, visor)
    assert proved() == ["In this recipe they do not go together."]


def test_the_proof_counts_substitutes_with_their_line(at: Packing) -> None:
    strap = revision_of("Strap")
    factories.substitute(at.recipe, at.band.part, strap)
    box = start(at)
    for bag in (at.bag(strap, 3), at.band_bag, at.visor_bag, at.manual_bag):
        bring(at, bag)
    close(box)
    assert proved() == []
    line = at.recipe.lines.get(part=at.band.part)
    line.substitutes.all().delete()
    faults = proved()
    assert "The box is past open and not complete in Headband." in faults
    assert f"Part {strap.part_id} is not in the box's recipe." in faults
