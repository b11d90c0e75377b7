"""Counting bags again: what differs is a movement, and how it was counted is kept."""

from __future__ import annotations

import math
from typing import Any

import pytest

from kitting.checking.services import checks
from kitting.domain.entries import Weighing
from kitting.domain.errors import Conflict, LotwardError, Missing, Refused, WrongStage
from kitting.lots.services import counts, files, lots, samples
from kitting.models import Bag, Count, Link, Movement, OpenBag
from kitting.packing.services import boxes
from tests import factories
from tests.assertions import assert_refused
from tests.databases import once_a_module
from tests.factories import sign

pytestmark = pytest.mark.django_db


@once_a_module
def bag() -> Bag:
    return factories.make_bag(pieces=100)


def count(bag: Bag, counted: int, **changes: Any) -> counts.Counted:
    values: dict[str, Any] = {
        "counted_by": "hand",
        "reason": "Two lay under the flap",
        "sign": sign(),
        **changes,
    }
    done = counts.count_again(bag_id=bag.pk, counted=counted, **values)
    bag.refresh_from_db()
    return done


def assert_refusal(bag: Bag, counted: int, code: str, **changes: Any) -> LotwardError:
    """Count, expect the refusal, and assert that nothing of it stayed."""
    before = (Link.objects.count(), bag.pieces, bag.moves)
    with pytest.raises(LotwardError) as caught:
        count(bag, counted, **changes)
    assert_refused(caught.value, code)
    bag.refresh_from_db()
    assert (Link.objects.count(), bag.pieces, bag.moves) == before
    assert Count.objects.count() == 0
    return caught.value


def on_the_word_of_a_checker() -> dict[str, Any]:
    return {"found": "kept", "checker_id": factories.make_person("checker").pk}


# -- Differences --------------------------------------------------------------------


def test_more_than_was_written_is_found(bag: Bag) -> None:
    word = on_the_word_of_a_checker()
    done = count(bag, 102, counted_by="machine", **word)
    movement = bag.movements.latest("nth")
    assert (movement.kind, movement.pieces, movement.delta) == ("found", 2, 2)
    assert (movement.counted_by, movement.reason) == (
        "machine",
        "Two lay under the flap",
    )
    assert (bag.pieces, bag.stage, done.difference) == (102, "cleared", 2)
    row = bag.counts.get()
    assert (row.before, row.counted, row.counted_by) == (100, 102, "machine")
    assert row.confirmed_by_id == word["checker_id"]
    assert factories.prove() == []


def test_fewer_than_were_written_are_missing(bag: Bag) -> None:
    assert count(bag, 97).difference == -3
    movement = bag.movements.latest("nth")
    assert (movement.kind, movement.delta, movement.after) == ("missing", -3, 97)
    assert factories.prove() == []


def test_a_count_that_agrees_is_kept_and_moves_nothing(bag: Bag) -> None:
    moves = bag.moves
    done = count(bag, 100, reason="")
    assert (done.difference, bag.moves) == (0, moves)
    assert (bag.counts.get().before, bag.counts.get().counted) == (100, 100)


def test_all_missing_uses_the_bag_up_and_takes_it_off_its_bench(bag: Bag) -> None:
    boxes.bring_bag(bench_id=factories.make_bench().pk, bag_id=bag.pk, sign=sign())
    assert OpenBag.objects.filter(bag=bag).exists()
    done = count(bag, 0)
    assert (bag.pieces, bag.stage, done.stage) == (0, "used_up", "used_up")
    assert not OpenBag.objects.filter(bag=bag).exists()
    assert factories.prove() == []


def test_what_is_found_in_a_used_up_bag_brings_it_back_to_its_stage(bag: Bag) -> None:
    count(bag, 0)
    with pytest.raises(LotwardError, match="found_undecided"):
        count(bag, 4)
    assert count(bag, 4, **on_the_word_of_a_checker()).stage == "cleared"
    assert (bag.pieces, bag.stage) == (4, "cleared")
    assert factories.prove() == []


@pytest.mark.parametrize(("accept", "stage"), [(True, "accepted"), (False, "rejected")])
def test_a_used_up_bag_comes_back_under_the_verdict_given_meanwhile(
    accept: bool, stage: str
) -> None:
    lot = factories.make_lot(bags=(lots.NewBag(5), lots.NewBag(5)))
    bag = lot.bags.first()
    assert bag is not None
    count(bag, 0)
    if accept:
        factories.accept(lot)
    else:
        checks.give_verdict(
            lot_id=lot.pk, accept=False, found=5, reason="Warped", sign=sign()
        )
    assert count(bag, 2).stage == stage
    assert factories.prove() == []


def test_a_used_up_bag_of_a_part_without_clearing_comes_back_cleared() -> None:
    revision = factories.make_revision(factories.make_part(needs_clearing=False))
    lot = factories.make_lot(revision, bags=(lots.NewBag(5), lots.NewBag(5)))
    bag = lot.bags.first()
    assert bag is not None
    count(bag, 0)
    factories.accept(lot)
    with pytest.raises(LotwardError, match="found_undecided"):
        count(bag, 2)
    assert count(bag, 2, **on_the_word_of_a_checker()).stage == "cleared"
    assert factories.prove() == []


# -- Boxes and runs -----------------------------------------------------------------


def test_boxes_filled_from_the_bag_are_named() -> None:
    closed = factories.make_closed_box(
        factories.make_size(factories.make_recipe(), sets=2)
    )
    bag = closed.lines.get().bag
    done = count(bag, 1, found="scrapped")
    assert done.boxes == [str(closed.serial)]


def test_a_bag_with_a_box_in_work_is_counted_as_any_other() -> None:
    recipe = factories.make_recipe()
    size = factories.make_size(recipe, sets=2)
    bag = factories.make_bag(recipe.lines.get().revision, 10)
    box = factories.make_open_box(size, None, bag)
    bag.refresh_from_db()
    done = count(bag, bag.pieces - 1)
    assert done.boxes == [box.number]
    boxes.close_box(box_id=box.pk, sign=sign())
    assert factories.prove() == []


def exposed(pieces: int = 100, most: int = 500) -> Bag:
    revision = factories.make_revision()
    lot = factories.accept(factories.make_lot(revision, bags=(lots.NewBag(pieces),)))
    bag: Bag = lot.bags.get()
    protocol = factories.make_protocol(revision)
    protocol.loads.update(max_pieces=most)
    factories.expose(factories.open_run(protocol), bag)
    bag.refresh_from_db()
    return bag


def test_a_bag_that_waits_for_its_verdict_is_not_emptied() -> None:
    bag = exposed()
    assert_refusal(bag, 0, "exposed_bag_emptied")
    assert count(bag, 1).stage == "exposed"


def test_a_bag_on_the_line_is_not_counted(bag: Bag) -> None:
    Bag.objects.filter(pk=bag.pk).update(stage="in_run")
    bag.refresh_from_db()
    assert_refusal(bag, 99, "bag_wrong_stage")


@pytest.mark.parametrize(("found", "most"), [(4, None), (5, 104)])
def test_more_than_the_protocol_covers_is_said(found: int, most: int | None) -> None:
    bag = exposed(most=104)
    assert count(bag, 100 + found).most == most


def test_a_bag_that_a_failed_run_sent_back_may_grow() -> None:
    bag = exposed(most=100)
    run = bag.run_bags.get().run
    factories.close_run(run, uw_cm2=10)
    bag.refresh_from_db()
    assert count(bag, 120).most is None


# -- Ways of counting ---------------------------------------------------------------


def test_stacks_are_kept_with_the_rest_that_lay_loose(bag: Bag) -> None:
    word = on_the_word_of_a_checker()
    count(bag, 103, counted_by="stack", stacks=(5, 20), **word)
    row = bag.counts.get()
    assert (row.counted, row.stacks, row.stack_pieces) == (103, 5, 20)


@pytest.mark.parametrize(
    ("stacks", "code"),
    [
        (None, "stacks_missing"),
        ((0, 20), "stacks_missing"),
        ((5, -20), "stacks_missing"),
        ((6, 20), "stacks_hold_more"),
    ],
)
def test_stacks_must_add_up(
    stacks: tuple[int, int] | None, code: str, bag: Bag
) -> None:
    assert_refusal(bag, 103, code, counted_by="stack", stacks=stacks)


@pytest.mark.parametrize(
    ("counted", "changes", "code"),
    [
        (-1, {}, "counted_out_of_range"),
        (10_000_001, {}, "counted_out_of_range"),
        (99, {"reason": " "}, "reason_missing"),
        (99, {"reason": "x" * 201}, "entry_too_long"),
        (99, {"counted_by": "guess"}, "counting_way_unknown"),
        (99, {"counted_by": "weight"}, "weigh_to_count"),
        (99, {"moves": 77}, "bag_moved_since"),
    ],
)
def test_a_count_that_makes_no_sense_is_not_written(
    counted: int, changes: dict[str, Any], code: str, bag: Bag
) -> None:
    error = assert_refusal(bag, counted, code, **changes)
    kind = Conflict if code == "bag_moved_since" else Refused
    assert isinstance(error, kind)


def test_no_bag_no_count() -> None:
    with pytest.raises(Missing):
        counts.count_again(
            bag_id=1, counted=1, counted_by="hand", reason="", sign=sign()
        )


def test_a_count_sent_twice_is_one_count(bag: Bag) -> None:
    once = sign()
    first = count(bag, 90, sign=once)
    assert count(bag, 90, sign=once) == first
    assert bag.counts.count() == 1
    assert bag.movements.filter(kind="missing").count() == 1


def test_how_what_came_in_was_counted_is_kept() -> None:
    bag = lots.NewBag(40, counted_by="machine")
    lot = factories.make_lot(bags=(bag, lots.NewBag(40)))
    ways = Movement.objects.filter(lot=lot, kind="received").order_by("pk")
    assert [move.counted_by for move in ways] == ["machine", None]
    assert factories.prove() == []


def test_an_unknown_way_of_counting_is_refused_at_intake() -> None:
    with pytest.raises(Refused) as caught:
        factories.make_lot(bags=(lots.NewBag(40, counted_by="guess"),))
    assert_refused(caught.value, "counting_way_unknown", read="guess")


# -- By weight ----------------------------------------------------------------------

TABLE = Weighing(
    gross_mg=1_250_000,
    tare_mg=250_000,
    reference_pieces=10,
    reference_mg=50_000,
    spread_mg=50,
    scale_u_mg=0,
)
"""200 pieces of 5.00 g with a spread of 0.05 g, 10 of them for reference."""
FINE = Weighing(
    gross_mg=250_000,
    tare_mg=50_000,
    reference_pieces=40,
    reference_mg=200_000,
    spread_mg=5,
    scale_u_mg=20,
)


def weighed(of: Weighing, **changes: int) -> Weighing:
    return Weighing(**{**vars(of), **changes})


def test_the_published_case_of_counting_by_weight() -> None:
    """First order error propagation, GUM 5.1.2; Steiner and MacKay, "Scale Counting".

    n 200, mean 5.00 g, spread 0.05 g, m 10: the parts give 0.141 and the reference
    0.632 pieces (computed from the formula, which is from memory). With a scale of
    u = 0.1 g the scale's own term is 0.020 and, as the reference is weighed on it too,
    the reference grows by n (u / (m mean)) = 0.4.
    """
    result = counts.weigh(TABLE)
    assert (result.pieces, float(result.piece_g)) == (200, 5.0)
    assert result.sd == pytest.approx(math.hypot(0.1414, 0.6325), abs=0.0005)
    with_scale = counts.weigh(weighed(TABLE, scale_u_mg=100))
    # 0.648 is the total of the published formula, without the reference's weighing.
    assert with_scale.sd == pytest.approx(math.hypot(0.648, 200 * 0.1 / 50), abs=0.001)
    assert not with_scale.trusted


def test_the_largest_count_is_where_half_a_piece_is_three_deviations() -> None:
    """Worked by hand from n s² (1 + n/m) + n² (u/m)² + u² with all in pieces."""
    result = counts.weigh(FINE)
    s, u, m = 5 / 5_000, 20 / 5_000, 40

    def sd(n: int) -> float:
        return math.sqrt(n * s**2 + n**2 * s**2 / m + (n * u / m) ** 2 + u**2)

    assert 3 * sd(result.most) <= 0.5 < 3 * sd(result.most + 1)
    assert result.trusted


def test_a_trusted_count_by_weight_is_taken_with_all_its_figures() -> None:
    bag = factories.make_bag(pieces=41)
    done = counts.count_by_weight(
        bag_id=bag.pk, weighed=FINE, reason="One short", sign=sign()
    )
    bag.refresh_from_db()
    assert (done.counted, bag.pieces) == (40, 40)
    row = bag.counts.get()
    assert (row.gross_mg, row.tare_mg, row.reference_mg) == (250_000, 50_000, 200_000)
    assert (row.counted_by, row.scale_u_mg, row.spread_mg) == ("weight", 20, 5)
    result = counts.weigh(FINE)
    assert row.sd_millipieces == math.ceil(result.sd * 1000)
    assert factories.prove() == []


def test_a_count_that_is_not_trusted_needs_somebodys_word(bag: Bag) -> None:
    values: dict[str, Any] = {"bag_id": bag.pk, "weighed": TABLE}
    with pytest.raises(Refused) as caught:
        counts.count_by_weight(**values, reason="Hurry", sign=sign())
    assert_refused(caught.value, "count_not_trusted", pieces=200)
    with pytest.raises(Refused) as caught:
        counts.count_by_weight(**values, reason=" ", sure=True, sign=sign())
    assert_refused(caught.value, "reason_missing")
    assert Count.objects.count() == 0
    values |= {"reason": "Hurry", "sure": True}
    with pytest.raises(Refused, match="found_undecided"):
        counts.count_by_weight(**values, sign=sign())
    done = counts.count_by_weight(**values, found="scrapped", sign=sign())
    assert (done.counted, done.scrapped) == (200, 100)


def test_a_mass_between_two_counts_is_not_trusted() -> None:
    result = counts.weigh(weighed(FINE, gross_mg=252_500))
    assert (result.fits, result.trusted) == (False, False)


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"reference_pieces": 0}, "pieces_not_positive"),
        ({"reference_pieces": -4}, "pieces_not_positive"),
        ({"reference_pieces": 10**9}, "pieces_out_of_range"),
        ({"reference_mg": 0}, "mass_out_of_range"),
        ({"gross_mg": -1}, "mass_out_of_range"),
        ({"gross_mg": 10**13}, "mass_out_of_range"),
        ({"tare_mg": 250_001}, "gross_below_tare"),
        ({"spread_mg": -1}, "spread_out_of_range"),
        ({"spread_mg": 10**13}, "spread_out_of_range"),
        ({"scale_u_mg": -1}, "scale_out_of_range"),
        ({"reference_mg": 1}, "weighed_out_of_range"),
    ],
)
def test_a_weighing_that_makes_no_sense_is_not_taken(
    changes: dict[str, int], code: str, bag: Bag
) -> None:
    with pytest.raises(Refused) as caught:
        counts.count_by_weight(
            bag_id=bag.pk,
            weighed=weighed(FINE, **changes),
            reason="x",
            sure=True,
            sign=sign(),
        )
    assert_refused(caught.value, code)
    assert Count.objects.count() == 0


def test_a_roll_is_not_counted_by_the_piece() -> None:
    bag = factories.make_bag(pieces=900, unit="gram")
    with pytest.raises(Refused) as caught:
        counts.count_by_weight(bag_id=bag.pk, weighed=FINE, reason="x", sign=sign())
    assert_refused(caught.value, "not_in_pieces", unit="gram")


def test_a_sampled_out_bag_may_be_counted_again(bag: Bag) -> None:
    samples.send_to_test(
        bag_id=bag.pk, pieces=100, what_for="Swab", sent_to="Lab", sign=sign()
    )
    assert count(bag, 1, **on_the_word_of_a_checker()).stage == "cleared"


def test_the_stage_decides_and_not_the_page(bag: Bag) -> None:
    Bag.objects.filter(pk=bag.pk).update(stage="in_run")
    with pytest.raises(WrongStage):
        counts.count_by_weight(bag_id=bag.pk, weighed=FINE, reason="x", sign=sign())


def test_a_file_says_how_its_bags_were_counted() -> None:
    revision = factories.make_revision()
    head = "part;revision;made on;source;counts;counted by\n"
    row = f"{revision.part.code};A;2026-01-14;Print bench;40 40;"
    plan = files.plan_file(
        data=f"{head}{row}Stack\n".encode(), date_order=None, now=factories.NOW
    )
    assert [bag.counted_by for bag in plan.lots[0].bags] == ["stack", "stack"]
    bad = files.plan_file(
        data=f"{head}{row}guess\n".encode(), date_order=None, now=factories.NOW
    )
    assert [problem.code for problem in bad.problems] == ["counting_way_unknown"]
