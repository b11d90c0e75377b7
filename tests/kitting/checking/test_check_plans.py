"""Checks by sample through the services: plans, classes of defect, switching.

Plans: MIL-STD-105E Tables I, II-A and II-B. Switching: 4.7.1, 4.7.2 and 4.8.
"""

from __future__ import annotations

from typing import Any

import pytest

from kitting.checking.queries.checks import kinds_for, plan_of
from kitting.checking.queries.switching import states_of
from kitting.checking.services import checks, switching
from kitting.domain.errors import LotwardError
from kitting.ledger.operations import Act, perform
from kitting.lots.services.lots import NewBag
from kitting.lots.steps.bags import Change, change, save_bags
from kitting.models import (
    Bag,
    Check,
    CheckedClass,
    Defect,
    Lot,
    Movement,
    Operation,
    Part,
    Revision,
)
from kitting.models.catalogue import Unit
from tests import factories
from tests.assertions import assert_refused

pytestmark = pytest.mark.django_db


def a_lot(revision: Revision, pieces: int = 100, **changes: Any) -> Lot:
    return factories.make_lot(revision, bags=(NewBag(pieces),), **changes)


def give(lot: Lot, *, accept: bool, **changes: Any) -> checks.Checked:
    reason = "" if accept else "Scratched"
    values = {"reason": reason, "sign": factories.sign(), **changes}
    return checks.give_verdict(lot_id=lot.pk, accept=accept, **values)


def refused(lot: Lot, *, accept: bool = True, **changes: Any) -> LotwardError:
    before = Operation.objects.count()
    with pytest.raises(LotwardError) as caught:
        give(lot, accept=accept, **{"sign": factories.sign(), **changes})
    assert Operation.objects.count() == before
    lot.refresh_from_db()
    assert lot.verdict == ""
    assert not Check.objects.filter(lot=lot).exists()
    return caught.value


# -- Plans ----------------------------------------------------------------------------

EDGES = [  # pieces, level, AQL in thousandths of a percent, letter, sample, accept
    (3_201, "II", 1_500, "L", 200, 7),
    (10_000, "II", 1_500, "L", 200, 7),
    (500, "II", 1_000, "H", 50, 1),  # the last of its range
    (501, "II", 1_000, "J", 80, 2),
    (1_201, "II", 1_000, "K", 125, 3),
    (100, "II", 1_000, "E", 13, 0),  # an arrow up: a smaller sample
    (200, "II", 1_000, "H", 50, 1),  # an arrow down: a larger one
    (60, "II", 2_500, "F", 20, 1),
    (5, "II", 650, "F", 5, 0),  # a sample of 20 is the whole lot
    (5, "II", 10_000, "C", 5, 1),
    (1_000, "S-2", 4_000, "B", 3, 0),
    (1_200, "S-4", 1_000, "E", 13, 0),
    (1_201, "S-4", 1_000, "H", 50, 1),  # one piece more: four times the sample
]


@pytest.mark.parametrize(("pieces", "level", "aql", "letter", "size", "accept"), EDGES)
def test_a_lot_is_accepted_up_to_its_number_and_rejected_from_the_next(
    pieces: int, level: str, aql: int, letter: str, size: int, accept: int
) -> None:
    revision = factories.sampled_revision(level, aql, aql)
    kind = factories.make_kind()
    lot = a_lot(revision, pieces)
    error = refused(lot, defects=[(kind.pk, accept + 1)])
    assert_refused(error, "plan_rejects", lot=lot.number)
    if accept:
        error = refused(lot, accept=False, defects=[(kind.pk, accept)])
        assert_refused(error, "plan_accepts", lot=lot.number)
    give(lot, accept=True, defects=[(kind.pk, accept)])
    other = a_lot(revision, pieces)
    give(other, accept=False, defects=[(kind.pk, accept + 1)])
    row = CheckedClass.objects.get(check_made__lot=lot, defect_class="major")
    kept = (row.letter, row.sample_size, row.accept, row.found, row.aql)
    assert kept == (letter, size, accept, accept, aql)
    found = Check.objects.get(lot=lot)
    assert (found.lot_pieces, found.level, found.severity) == (pieces, level, "normal")
    assert len(found.plan) <= 80


def test_the_longest_words_of_a_plan_fit_the_record() -> None:
    revision = factories.sampled_revision("S-4", 1_000, 10_000)
    for _ in range(2):
        give(a_lot(revision), accept=False, found=1)
    lot = a_lot(revision, 100_000)
    plan = plan_of(lot)
    assert plan is not None
    assert plan.words == (
        "S-4, critical all; major J 80 1/2 tightened; minor J 80 14/15"
    )


def test_one_critical_piece_anywhere_in_the_lot_rejects_it() -> None:
    """Common practice: critical defects are looked for in all pieces."""
    revision = factories.sampled_revision()
    kind = factories.make_kind("critical")
    lot = a_lot(revision, 1_000)
    assert_refused(refused(lot, defects=[(kind.pk, 1)]), "plan_rejects")
    give(lot, accept=False, defects=[(kind.pk, 1_000)])
    row = CheckedClass.objects.get(check_made__lot=lot, defect_class="critical")
    assert (row.sample_size, row.severity, row.aql) == (1_000, "all", None)


def test_each_class_has_its_own_plan_and_one_of_them_rejects_the_lot() -> None:
    revision = factories.sampled_revision("II", 1_000, 4_000)
    minor = factories.make_kind("minor")
    lot = a_lot(revision, 600)  # letter J, 80 pieces: major 2/3, minor 7/8
    assert_refused(refused(lot, defects=[(minor.pk, 8)]), "plan_rejects")
    give(lot, accept=True, defects=[(minor.pk, 7)], found=2)
    assert Check.objects.get(lot=lot).found == 9
    assert Defect.objects.get(check_made__lot=lot).pieces == 7


def test_where_all_pieces_are_looked_at_none_may_be_bad() -> None:
    lot = factories.make_lot()
    minor = factories.make_kind("minor")
    assert_refused(refused(lot, defects=[(minor.pk, 1)]), "plan_rejects")
    give(lot, accept=False, defects=[(minor.pk, 1)])
    found = Check.objects.get(lot=lot)
    assert (found.severity, found.sample_size) == ("all", 100)


def test_pieces_that_went_to_a_test_are_not_in_the_plan() -> None:
    lot = a_lot(factories.sampled_revision(), 501)

    def work(act: Act) -> checks.Checked:
        bag = lot.bags.get()
        gone = change(bag, Change("sampled", 1, sign=-1))  # type: ignore[arg-type]
        save_bags([bag])
        act.write(gone)
        return checks.Checked("", "", 1)

    perform("x", work, checks.Checked, factories.sign())
    plan = plan_of(lot)
    assert plan is not None
    assert (plan.lot_pieces, plan.sample_size) == (500, 50)


# -- Bad input ------------------------------------------------------------------------


def test_more_bad_pieces_than_the_sample_are_refused() -> None:
    lot = a_lot(factories.sampled_revision())  # 13 of 100
    error = refused(lot, accept=False, found=14)
    assert_refused(error, "found_out_of_range", read=14, most=13, kind="major")


@pytest.mark.parametrize("pieces", [-1, 10**6 + 1, 10**30])
def test_absurd_counts_of_a_kind_are_refused(pieces: int) -> None:
    lot, kind = a_lot(factories.sampled_revision()), factories.make_kind()
    error = refused(lot, accept=False, defects=[(kind.pk, pieces)])
    assert_refused(error, "defects_out_of_range", read=pieces)


def test_counts_below_none_do_not_make_up_for_others() -> None:
    lot = a_lot(factories.sampled_revision())
    one, other = factories.make_kind(), factories.make_kind()
    error = refused(lot, defects=[(one.pk, 1), (other.pk, -1)])
    assert_refused(error, "defects_out_of_range", read=-1)


def test_only_kinds_on_the_list_of_the_part_are_counted() -> None:
    revision = factories.sampled_revision()
    mine = factories.make_kind(part=revision.part)
    everybodys = factories.make_kind("critical")
    elsewhere = factories.make_kind(part=factories.make_part())
    gone = factories.make_kind(in_use=False)
    assert kinds_for(revision.part) == [everybodys, mine]
    lot = a_lot(revision)
    for pk in (elsewhere.pk, gone.pk, 0):
        error = refused(lot, accept=False, defects=[(pk, 1)])
        assert_refused(error, "defect_kind_not_looked_for", part=revision.part.name)
    error = refused(lot, defects=[(mine.pk, 0), (mine.pk, 0)])
    assert_refused(error, "defect_kind_twice", kind=mine.name)


def test_a_lot_without_a_piece_gets_no_verdict() -> None:
    lot = factories.make_lot()
    bag = lot.bags.get()
    bag.pieces, bag.stage = 0, "used_up"
    bag.save()
    assert_refused(refused(lot), "lot_has_no_pieces", lot=lot.number)


def test_a_plan_that_changed_since_the_page_was_shown_is_refused() -> None:
    revision = factories.sampled_revision()
    lot = a_lot(revision)
    plan = plan_of(lot)
    assert plan is not None
    for _ in range(2):
        give(a_lot(revision), accept=False, found=1)
    error = refused(lot, shown=plan.mark)
    assert_refused(error, "plan_changed", lot=lot.number)
    changed = plan_of(lot)
    assert changed is not None
    give(lot, accept=True, shown=changed.mark)


# -- Rejected although the plan accepts -------------------------------------------------


def test_the_quality_officer_rejects_against_the_plan_with_a_reason() -> None:
    lot, sign = a_lot(factories.sampled_revision()), factories.sign()
    with pytest.raises(LotwardError) as caught:
        checks.reject_against_plan(lot_id=lot.pk, reason=" ", sign=factories.sign())
    assert_refused(caught.value, "reason_missing")
    values = {"lot_id": lot.pk, "reason": "Smells of solvent", "sign": sign}
    done = checks.reject_against_plan(**values)
    assert checks.reject_against_plan(**values) == done
    assert (done.verdict, lot.bags.get().stage) == ("rejected", "rejected")
    states = states_of(lot.part_id, lot.source)
    assert states["major"].recent == (True,)  # by what its sample showed


# -- Switching --------------------------------------------------------------------------


def run(revision: Revision, lots: str, source: str = "Print bench") -> Lot:
    """Check lots in turn, A accepted and R rejected for one major piece; a new lot."""
    for letter in lots:
        lot = a_lot(revision, source=source)
        accept = letter == "A"
        give(lot, accept=accept, found=0 if accept else 1)
    return a_lot(revision, source=source)


SEQUENCES = [  # lots, severity of the next one's major class, why
    ("", "normal", "start"),
    ("R", "normal", "start"),
    ("RR", "tightened", "two_of_five_rejected"),
    ("RAAAR", "tightened", "two_of_five_rejected"),
    ("RAAAAR", "normal", "start"),  # the two are not within five lots
    ("RRAAAA", "tightened", "two_of_five_rejected"),
    ("RRAAAAA", "normal", "five_accepted"),
    ("RRAAAARAAAA", "tightened", "two_of_five_rejected"),  # not five in a row
    ("RRAAAAAR", "normal", "five_accepted"),  # what was before no longer counts
]


@pytest.mark.parametrize(("lots", "severity", "why"), SEQUENCES)
def test_inspection_switches_over_real_lots(lots: str, severity: str, why: str) -> None:
    lot = run(factories.sampled_revision(), lots)
    plan = plan_of(lot)
    assert plan is not None
    state = plan.states["major"]
    assert (state.severity, state.why, plan.severity) == (severity, why, severity)
    # 100 pieces, AQL 1.0: E 13 0/1 by Table II-A, F 20 0/1 by Table II-B.
    wanted = ("F", 20) if severity == "tightened" else ("E", 13)
    used = plan.plans["major"]
    assert (used.letter, used.sample_size, used.accept) == (*wanted, 0)
    assert plan.states["minor"].severity == "normal"  # each class on its own


def test_five_rejected_on_tightened_stop_a_source_until_it_is_resumed() -> None:
    revision = factories.sampled_revision()
    lot = run(revision, "RR" + "RRRR")
    plan = plan_of(lot)
    assert plan is not None
    assert not plan.stopped
    lot = run(revision, "R")
    plan = plan_of(lot)
    assert plan is not None
    assert plan.stopped
    part: Part = revision.part
    error = refused(lot)
    assert_refused(error, "inspection_stopped", part=part.name, source="Print bench")
    give(lot, accept=False, found=1)  # rejecting goes on, and changes nothing
    switching.resume_source(
        part_id=part.pk, source="Print bench", reason="New nozzle",
        sign=factories.sign(),
    )  # fmt: skip
    state = states_of(part.pk, "Print bench")["major"]
    assert (state.severity, state.stopped, state.why) == (
        "tightened",
        False,
        "resumed",
    )
    give(a_lot(revision), accept=True)


def test_another_source_and_another_part_are_not_made_to_pay() -> None:
    revision = factories.sampled_revision()
    run(revision, "RR")
    assert states_of(revision.part_id, "Print bench")["major"].severity == "tightened"
    assert states_of(revision.part_id, "Elsewhere")["major"].severity == "normal"
    other = factories.sampled_revision()
    assert states_of(other.part_id, "Print bench")["major"].severity == "normal"


def test_lots_of_which_all_pieces_are_looked_at_do_not_count() -> None:
    revision = factories.make_revision()
    for _ in range(3):
        factories.reject(a_lot(revision))
    assert states_of(revision.part_id, "Print bench")["major"].seen == 0


def test_what_is_sampled_is_counted_in_pieces() -> None:
    part = factories.make_part(unit=Unit.GRAM)
    lot = factories.make_lot(factories.make_revision(part))
    give(lot, accept=True)
    assert Check.objects.get(lot=lot).plan == "All looked over, 100"
    assert Bag.objects.get(lot=lot).stage == "accepted"
    assert Movement.objects.filter(lot=lot).count() == 2
