"""Reduced inspection over real lots: the decision, its conditions, how it ends; resuming.

Plans: MIL-STD-105E, Tables II-A and II-C; switching: 4.7.3, 4.7.4 and 4.10.1.4. Letter H
(281 to 500 pieces, level II) at AQL 1.0: 50 pieces 1/2 on normal inspection, 20 pieces
0/2 on reduced.
"""

from __future__ import annotations

from typing import Any

import pytest

from kitting.checking.queries.checks import CheckPlan, aqls_of, plan_of
from kitting.checking.queries.switching import all_states, standings_of, states_of
from kitting.checking.services import checks, settings, switching
from kitting.checking.services.switching import Switched, Target
from kitting.domain.errors import LotwardError
from kitting.lots.services.lots import NewBag
from kitting.models import (
    Check,
    CheckedClass,
    Lot,
    Operation,
    Resumption,
    Revision,
    Switching,
)
from tests import factories
from tests.assertions import assert_refused
from tests.databases import once_a_module

pytestmark = pytest.mark.django_db

SOURCE = "Print bench"
OUTCOMES = {"A": (0, True), "a": (1, True), "B": (1, True), "R": (3, False)}
"""Major pieces found and the verdict. On normal inspection one is accepted outright;
on reduced inspection one lies between the two numbers."""


@once_a_module
def revision() -> Revision:
    return factories.sampled_revision()


def a_lot(revision: Revision, source: str = SOURCE, **changes: Any) -> Lot:
    return factories.make_lot(revision, bags=(NewBag(500),), source=source, **changes)


def check(revision: Revision, lots: str, source: str = SOURCE) -> checks.Checked:
    """Check lots in turn; the last one's outcome."""
    done = checks.Checked("", "", 0)
    for letter in lots:
        found, accept = OUTCOMES[letter]
        done = checks.give_verdict(
            lot_id=a_lot(revision, source).pk,
            accept=accept,
            found=found,
            reason="" if accept else "Scratched",
            sign=factories.sign(),
        )
    return done


@once_a_module
def ten_lots(revision: Revision) -> None:
    check(revision, "A" * 10)


TEN_LOTS = pytest.mark.usefixtures("ten_lots")
"""Ten lots of the revision were accepted."""


def of(revision: Revision, defect_class: str = "major", source: str = SOURCE) -> Target:
    return Target(revision.part_id, source, defect_class)


def reduce(revision: Revision, *defect_class: str, **changes: Any) -> Switched:
    values = {"steady": True, "reason": "Good", "sign": factories.sign(), **changes}
    return switching.reduce_inspection(of=of(revision, *defect_class), **values)


def restore(revision: Revision, **changes: Any) -> Switched:
    values = {"reason": "Printer moved", "sign": factories.sign(), **changes}
    return switching.restore_inspection(of=of(revision), **values)


def refused(call: Any, *args: Any, **values: Any) -> LotwardError:
    before = Operation.objects.count(), Switching.objects.count()
    with pytest.raises(LotwardError) as caught:
        call(*args, **values)
    assert (Operation.objects.count(), Switching.objects.count()) == before
    return caught.value


def plan(revision: Revision, source: str = SOURCE) -> CheckPlan:
    found = plan_of(a_lot(revision, source))
    assert found is not None
    return found


# -- The decision -------------------------------------------------------------------------


def test_ten_accepted_lots_alone_change_nothing(revision: Revision) -> None:
    check(revision, "A" * 12)
    assert states_of(revision.part_id, SOURCE)["major"].severity == "normal"
    assert plan(revision).plans["major"].sample_size == 50


def test_the_officer_decides_and_the_next_sample_is_smaller(revision: Revision) -> None:
    check(revision, "A" * 9 + "a" + "A")
    done = reduce(revision)
    figures = (done.lots, done.found, done.looked_at)
    assert figures == (11, 1, 500)
    assert (done.to, done.defect_class) == ("reduced", "major")
    now = plan(revision)
    major, minor = now.plans["major"], now.plans["minor"]
    assert (major.sample_size, major.accept, major.reject) == (20, 0, 2)
    assert (minor.sample_size, minor.severity) == (50, "normal")  # each on its own
    # The strictest class names the check; its words fit the record.
    assert now.severity == "normal"
    assert now.words == "II, critical all; major H 20 0/2 reduced; minor H 50 3/4"
    assert "-0-2-reduced" in now.mark
    reduce(revision, "minor")
    assert plan(revision).severity == "reduced"


@TEN_LOTS
def test_the_check_keeps_both_numbers(revision: Revision) -> None:
    reduce(revision)
    check(revision, "A")
    row = CheckedClass.objects.get(severity="reduced")
    assert (row.letter, row.sample_size, row.accept, row.reject) == ("H", 20, 0, 2)
    assert row.rejected_from == 2
    assert Check.objects.get(pk=row.check_made_id).severity == "normal"


def test_a_row_from_before_has_the_next_number() -> None:
    assert CheckedClass(accept=2).rejected_from == 3


@TEN_LOTS
def test_deciding_twice_with_one_key_happens_once(revision: Revision) -> None:
    sign = factories.sign()
    assert reduce(revision, sign=sign) == reduce(revision, sign=sign)
    assert Switching.objects.count() == 1
    error = refused(reduce, revision, sign=sign, reason="Better")
    assert error.code == "operation_key_reused"
    assert_refused(refused(reduce, revision), "reduced_from_normal_only")


NOT_YET = [  # lots before, code
    ("", "reduced_needs_lots"),
    ("A" * 9, "reduced_needs_lots"),
    ("A" * 9 + "R", "reduced_needs_lots"),
    ("R" + "A" * 9, "reduced_needs_lots"),
    ("A" * 5 + "R" + "A" * 9, "reduced_needs_lots"),
    ("RR", "reduced_from_normal_only"),
    ("RR" + "AAAAA" + "A" * 9, "reduced_needs_lots"),
    # AQL 1.0 of 10 x 50 pieces is 5: six bad in them are too many.
    ("a" * 6 + "AAAA", "reduced_too_many_bad"),
]


@pytest.mark.parametrize(("lots", "code"), NOT_YET)
def test_too_early_it_is_refused(lots: str, code: str, revision: Revision) -> None:
    check(revision, lots)
    assert_refused(refused(reduce, revision), code)


def test_at_the_aql_it_may_be_reduced(revision: Revision) -> None:
    check(revision, "a" * 6 + "A" * 5)  # the last ten had five
    assert reduce(revision).found == 5


@TEN_LOTS
def test_somebody_must_say_that_production_is_steady_and_why(
    revision: Revision,
) -> None:
    error = refused(reduce, revision, steady=False)
    assert_refused(error, "production_not_steady")
    assert_refused(refused(reduce, revision, reason=" "), "reason_missing")
    error = refused(reduce, revision, reason="x" * 201)
    assert_refused(error, "entry_too_long")


@pytest.mark.parametrize("grade", ["critical", "grave", ""])
@TEN_LOTS
def test_only_sampled_classes_are_switched(grade: str, revision: Revision) -> None:
    assert_refused(refused(reduce, revision, grade), "class_unknown", read=grade)


def test_what_is_not_sampled_is_not_switched() -> None:
    revision = factories.make_revision()
    error = refused(reduce, revision)
    assert_refused(error, "part_not_sampled", part=revision.part.name)
    assert_refused(refused(restore, revision), "part_not_sampled")
    gone = Target(0, SOURCE, "major")
    error = refused(
        switching.restore_inspection, of=gone, reason="x", sign=factories.sign()
    )
    assert_refused(error, "row_missing")


def test_a_lot_that_another_class_rejected_was_not_accepted(
    revision: Revision,
) -> None:
    """4.7.3 a: the lots must have been accepted, not one class of them."""
    critical = factories.make_kind("critical")
    check(revision, "A" * 9)
    checks.give_verdict(
        lot_id=a_lot(revision).pk,
        accept=False,
        defects=[(critical.pk, 1)],
        reason="Cracked",
        sign=factories.sign(),
    )
    check(revision, "A" * 3)
    assert_refused(refused(reduce, revision), "reduced_needs_lots", lots=3)
    check(revision, "A" * 7)
    assert reduce(revision).lots == 10


@TEN_LOTS
def test_another_source_and_another_part_stay_as_they_are(revision: Revision) -> None:
    check(revision, "A" * 10, source="Elsewhere")
    reduce(revision)
    assert plan(revision, "Elsewhere").severity == "normal"
    told = all_states()
    assert told[revision.part_id, SOURCE]["major"].severity == "reduced"
    assert told[revision.part_id, "Elsewhere"]["major"].severity == "normal"


# -- How it ends --------------------------------------------------------------------------


@TEN_LOTS
def test_a_count_between_the_numbers_accepts_and_brings_normal_back(
    revision: Revision,
) -> None:
    reduce(revision)
    lot = a_lot(revision)
    with pytest.raises(LotwardError) as caught:
        checks.give_verdict(
            lot_id=lot.pk, accept=False, found=1, reason="x", sign=factories.sign()
        )
    assert_refused(caught.value, "plan_accepts")
    assert not check(revision, "A").ended_reduced
    assert check(revision, "B").ended_reduced
    state = states_of(revision.part_id, SOURCE)["major"]
    assert (state.severity, state.why) == ("normal", "between_on_reduced")
    assert plan(revision).plans["major"].sample_size == 50
    # Ten more on normal inspection before it is reduced again.
    check(revision, "A" * 9)
    assert_refused(refused(reduce, revision), "reduced_needs_lots", lots=9)
    check(revision, "a")
    reduce(revision)


@TEN_LOTS
def test_a_rejected_lot_brings_normal_back(revision: Revision) -> None:
    reduce(revision)
    assert check(revision, "R").ended_reduced
    state = states_of(revision.part_id, SOURCE)["major"]
    assert (state.severity, state.why) == ("normal", "rejected_on_reduced")
    # That lot was not on normal inspection: two more make it tightened, not one.
    check(revision, "R")
    assert states_of(revision.part_id, SOURCE)["major"].severity == "normal"
    check(revision, "R")
    assert states_of(revision.part_id, SOURCE)["major"].severity == "tightened"


def test_the_officer_ends_it_with_a_reason(revision: Revision) -> None:
    assert_refused(refused(restore, revision), "inspection_not_reduced")
    check(revision, "A" * 10)
    assert_refused(refused(restore, revision), "inspection_not_reduced")
    reduce(revision)
    assert_refused(refused(restore, revision, reason=""), "reason_missing")
    sign = factories.sign()
    done = restore(revision, sign=sign)
    assert restore(revision, sign=sign) == done
    assert done.to == "normal"
    state = states_of(revision.part_id, SOURCE)["major"]
    assert (state.severity, state.why) == ("normal", "restored")
    told = Switching.objects.order_by("pk").values_list("defect_class", "to", "reason")
    assert list(told) == [
        ("major", "reduced", "Good"),
        ("major", "normal", "Printer moved"),
    ]


@TEN_LOTS
def test_a_lot_whose_plan_changed_under_the_checker_is_refused(
    revision: Revision,
) -> None:
    lot = a_lot(revision)
    before = plan_of(lot)
    assert before is not None
    reduce(revision)
    with pytest.raises(LotwardError) as caught:
        checks.give_verdict(
            lot_id=lot.pk, accept=True, shown=before.mark, sign=factories.sign()
        )
    assert_refused(caught.value, "plan_changed")


def test_the_aql_of_today_is_what_samples_are_held_against(revision: Revision) -> None:
    check(revision, "a" * 5 + "A" * 5)
    part = revision.part
    shown = standings_of(part.pk, SOURCE, aqls_of(part))["major"].standing
    assert (shown.found, shown.looked_at, shown.most) == (5, 500, 5)
    to = settings.PartPlan("sample", aql_major=650, aql_minor=2_500)
    settings.set_check_plan(part_id=part.pk, to=to, sign=factories.sign())
    error = refused(reduce, revision)
    assert_refused(error, "reduced_too_many_bad", found=5, most=3)


# -- A source that begins again --------------------------------------------------------------


def test_only_a_stopped_source_begins_again_and_with_a_reason() -> None:
    part = factories.make_part()
    values = {"part_id": part.pk, "source": SOURCE, "sign": factories.sign()}
    error = refused(switching.resume_source, **values, reason="New nozzle")
    assert_refused(error, "inspection_not_stopped")
    error = refused(switching.resume_source, **values, reason=" ")
    assert_refused(error, "reason_missing")
    assert not Resumption.objects.exists()


def test_resuming_twice_with_one_key_happens_once() -> None:
    revision = factories.sampled_revision()
    for _ in range(7):
        factories.reject(factories.make_lot(revision))
    values: dict[str, Any] = {
        "part_id": revision.part_id,
        "source": "Print bench",
        "reason": "New nozzle",
        "sign": factories.sign(),
    }
    done = switching.resume_source(**values)
    assert switching.resume_source(**values) == done
    assert Resumption.objects.count() == 1
    assert refused(switching.resume_source, **{**values, "sign": factories.sign()})
