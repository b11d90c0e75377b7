"""Bags on and off a line, and what the end of a run does with them."""

from __future__ import annotations

import uuid
from datetime import timedelta
from io import StringIO

import pytest
from django.core.management import call_command

from kitting.disinfection.services import runs
from kitting.disinfection.services.verdicts import Judged, close_run, give_up_run
from kitting.domain.entries import Belt
from kitting.domain.errors import Missing, OnHold, Refused, WrongStage
from kitting.domain.stages import MovementKind
from kitting.ledger import holds
from kitting.ledger.reach import standing_reach
from kitting.models import Bag, Run, RunBag, RunVerdict
from tests import factories
from tests.databases import once_a_module
from tests.factories import NOW, TODAY, sign
from tests.kitting.disinfection.run_acts import (
    accepted_bags,
    assert_refuses,
    fresh,
    put_on,
    take_off,
)

pytestmark = pytest.mark.django_db


@once_a_module
def bag() -> Bag:
    return accepted_bags()[0]


@once_a_module
def run(bag: Bag) -> Run:
    return factories.open_run(factories.make_protocol(bag.lot.revision))


# -- On and off ---------------------------------------------------------------------


def test_a_bag_goes_on_and_comes_off(run: Run, bag: Bag) -> None:
    assert put_on(run, bag).stage == "in_run"
    assert (fresh(bag).stage, bag.place_id) == ("in_run", run.line_id)
    assert take_off(run, bag).stage == "exposed"
    stay = RunBag.objects.get()
    assert (stay.on_at, stay.live) == (NOW, True)
    assert stay.off_at == NOW + timedelta(milliseconds=333_333)
    kinds = [move.kind for move in bag.movements.order_by("nth")][-2:]
    assert kinds == [MovementKind.WENT_ON, MovementKind.CAME_OFF]


def test_a_scan_puts_a_bag_on_and_the_next_takes_it_off(run: Run, bag: Bag) -> None:
    values = {"run_id": run.pk, "bag_id": bag.pk}
    first = sign()
    assert runs.scan_bag(**values, sign=first).stage == "in_run"
    # The same scan again is answered as before, and does not take the bag off.
    assert runs.scan_bag(**values, sign=first).stage == "in_run"
    assert fresh(bag).stage == "in_run"
    later = sign(now=factories.after_passes(run))
    assert runs.scan_bag(**values, sign=later).stage == "exposed"
    assert_refuses("bag_came_off", WrongStage, runs.scan_bag, **values, sign=sign())


def test_a_label_scanned_twice_does_not_take_the_bag_off(run: Run, bag: Bag) -> None:
    put_on(run, bag)
    almost = factories.after_passes(run) - timedelta(milliseconds=1)
    early = assert_refuses(
        "bag_off_too_early", Refused, take_off, run=run, bag=bag, now=almost
    )
    assert early.params["seconds"] == 1
    assert fresh(bag).stage == "in_run"


def test_a_bag_that_comes_off_early_is_not_cleared(run: Run) -> None:
    early, late = accepted_bags(2, run.protocol.loads.get().revision)
    put_on(run, early)
    take_off(run, early, short=True, now=NOW + timedelta(seconds=10))
    factories.expose(run, late)
    assert factories.close_run(run).stage == "released"
    assert (fresh(late).stage, late.cleared_run, late.passes) == ("cleared", run, 1)
    assert (fresh(early).stage, early.cleared_run, early.passes) == (
        "accepted",
        None,
        1,
    )
    assert "before its passes" in early.movements.get(kind="not_cleared").reason


def test_nothing_comes_off_that_did_not_go_on(run: Run, bag: Bag) -> None:
    assert_refuses("bag_not_on", Refused, take_off, run=run, bag=bag)
    factories.expose(run, bag)
    assert_refuses("bag_came_off", WrongStage, take_off, run=run, bag=bag)
    assert_refuses("bag_was_on", Refused, put_on, run=run, bag=bag)


def test_a_bag_that_was_sampled_on_the_line_is_in_no_stage_to_come_off(
    run: Run, bag: Bag
) -> None:
    put_on(run, bag)
    Bag.objects.filter(pk=bag.pk).update(stage="rejected")
    assert_refuses("bag_wrong_stage", WrongStage, take_off, run=run, bag=bag)


def test_a_bag_goes_only_where_it_is_accepted(run: Run) -> None:
    arrived = factories.make_lot(run.protocol.loads.get().revision).bags.get()
    assert_refuses("bag_wrong_stage", WrongStage, put_on, run=run, bag=arrived)


def test_a_bag_is_in_one_run_at_a_time(run: Run, bag: Bag) -> None:
    other = factories.open_run(run.protocol)
    put_on(other, bag)
    error = assert_refuses("bag_in_other_run", WrongStage, put_on, run=run, bag=bag)
    assert error.params["run"] == other.number
    take_off(other, bag)
    assert_refuses("bag_in_other_run", WrongStage, put_on, run=run, bag=bag)


def test_the_protocol_must_cover_part_revision_and_container(run: Run) -> None:
    covered = run.protocol.loads.get().revision
    other_revision = factories.make_revision(covered.part, code="B")
    for bag in (
        *accepted_bags(1, other_revision),
        *accepted_bags(1, covered, container="open tray"),
        *accepted_bags(),
    ):
        assert_refuses("not_covered", Refused, put_on, run=run, bag=bag)


def test_a_bag_may_hold_as_much_as_the_protocol_covers(run: Run, bag: Bag) -> None:
    run.protocol.loads.update(max_pieces=99)
    error = assert_refuses("too_many_pieces", Refused, put_on, run=run, bag=bag)
    assert error.params["most"] == 99
    run.protocol.loads.update(max_pieces=100)
    assert put_on(run, bag).stage == "in_run"


def test_what_needs_no_disinfection_stays_off_the_line(run: Run, bag: Bag) -> None:
    bag.lot.part.needs_clearing = False
    bag.lot.part.save()
    assert_refuses("part_needs_no_clearing", Refused, put_on, run=run, bag=bag)


@pytest.mark.parametrize(
    ("target", "code"),
    [
        ("bag", "bag_on_hold"),
        ("lot", "bag_on_hold"),
        ("run", "run_on_hold"),
        ("protocol", "protocol_on_hold"),
    ],
)
def test_nothing_held_goes_on(run: Run, bag: Bag, target: str, code: str) -> None:
    values = {"bag": bag.pk, "lot": bag.lot_id, "run": run.pk}
    value = values.get(target, run.protocol_id)
    holds.place_hold(target=target, value=value, reason="Doubt", sign=sign())
    assert_refuses(code, OnHold, put_on, run=run, bag=bag)


def test_a_held_bag_that_is_on_may_come_off(run: Run, bag: Bag) -> None:
    put_on(run, bag)
    holds.place_hold(target="bag", value=bag.pk, reason="Doubt", sign=sign())
    assert take_off(run, bag).stage == "exposed"


def test_nothing_goes_on_once_the_protocol_is_retired(run: Run, bag: Bag) -> None:
    run.protocol.in_force_until = TODAY
    run.protocol.save()
    tomorrow = NOW + timedelta(days=1)
    assert_refuses(
        "protocol_not_in_force", Refused, put_on, run=run, bag=bag, now=tomorrow
    )
    assert put_on(run, bag).stage == "in_run"


def test_a_closed_run_takes_nothing(run: Run, bag: Bag) -> None:
    factories.close_run(run)
    assert_refuses("run_closed", WrongStage, put_on, run=run, bag=bag)
    assert_refuses("run_closed", WrongStage, take_off, run=run, bag=bag)
    assert_refuses("run_closed", WrongStage, factories.close_run, run=run)
    assert_refuses("row_missing", Missing, put_on, run=Run(pk=0), bag=bag)
    assert_refuses("row_missing", Missing, put_on, run=run, bag=Bag(pk=0))


# -- Closing ------------------------------------------------------------------------


def test_a_released_run_clears_its_bags(run: Run, bag: Bag) -> None:
    factories.expose(run, bag)
    judged = close_run(run_id=run.pk, readings=[(1, "top", 3_900)], sign=sign())
    assert judged == Judged(run=run.number, stage="released", bags=1)
    assert (fresh(bag).stage, bag.cleared_run, bag.passes) == ("cleared", run, 1)
    run.refresh_from_db()
    assert (run.closed_at, RunBag.objects.get().live) == (NOW, False)
    moments = run.readings.order_by("pk").values_list("moment", "uw_cm2")
    assert list(moments) == [("opening", 4_000), ("closing", 3_900)]


def test_a_failed_run_gives_its_bags_back_and_counts_the_passes(bag: Bag) -> None:
    protocol = factories.make_protocol(bag.lot.revision)
    belt = Belt(exposure_ms=150_000, passes=2)
    run = factories.open_run(protocol, belt=belt)
    factories.expose(run, bag)
    assert factories.close_run(run, 0).stage == "failed"
    assert (fresh(bag).stage, bag.cleared_run, bag.passes) == ("accepted", None, 2)
    again = factories.open_run(protocol, belt=belt)
    factories.expose(again, bag)
    assert factories.close_run(again).stage == "released"
    assert (fresh(bag).stage, bag.cleared_run, bag.passes) == ("cleared", again, 4)


def test_a_run_without_a_bag_is_judged_by_its_readings(run: Run) -> None:
    judged = close_run(run_id=run.pk, readings=[(1, "top", 4_000)], sign=sign())
    assert (judged.stage, judged.bags) == ("released", 0)


def test_a_run_is_not_closed_while_bags_are_on_the_line(run: Run, bag: Bag) -> None:
    put_on(run, bag)
    error = assert_refuses("bags_on_the_line", Refused, factories.close_run, run=run)
    assert error.params["bags"] == bag.number


@pytest.mark.parametrize(
    ("closing", "code"),
    [
        ([], "readings_missing"),
        ([(2, "top", 4_000)], "reading_missing"),
        ([(1, "bottom", 4_000)], "reading_missing"),
        ([(1, "top", 4_000), (2, "top", 4_000)], "reading_elsewhere"),
        ([(1, "top", 4_000), (1, "top", 4_000)], "reading_twice"),
    ],
)
def test_closing_readings_are_at_the_points_of_the_opening(
    run: Run, closing, code: str
) -> None:
    assert_refuses(
        code, Refused, close_run, run_id=run.pk, readings=closing, sign=sign()
    )
    assert run.readings.count() == 1


def test_a_meter_must_be_in_calibration_at_closing() -> None:
    meter = factories.make_meter(due=TODAY)
    run = factories.open_run(factories.make_protocol(), meter)
    tomorrow = sign(now=NOW + timedelta(days=1))
    values = {"run_id": run.pk, "readings": [(1, "top", 4_000)], "sign": tomorrow}
    assert_refuses("meter_out_of_calibration", Refused, close_run, **values)
    assert not RunVerdict.objects.exists()


def test_closing_twice_with_one_key_closes_once(run: Run, bag: Bag) -> None:
    factories.expose(run, bag)
    key = uuid.uuid4()
    values = {"run_id": run.pk, "readings": [(1, "top", 4_000)]}
    first = close_run(**values, sign=sign(key=key))
    assert close_run(**values, sign=sign(key=key)) == first
    assert fresh(bag).passes == 1


def test_a_held_run_may_close_and_clears_nothing_for_packing(
    run: Run, bag: Bag
) -> None:
    factories.expose(run, bag)
    holds.place_hold(target="run", value=run.pk, reason="Lamp", sign=sign())
    assert factories.close_run(run).stage == "released"
    assert standing_reach().bag(fresh(bag))


# -- Giving up ----------------------------------------------------------------------


def test_a_run_that_cannot_be_read_again_is_given_up(run: Run, bag: Bag) -> None:
    factories.expose(run, bag)
    values = {"run_id": run.pk, "sign": sign()}
    assert_refuses("reason_missing", Refused, give_up_run, reason=" ", **values)
    given = give_up_run(reason="Meter dropped", **values)
    assert given == Judged(run=run.number, stage="failed", bags=1)
    assert (fresh(bag).stage, bag.cleared_run, bag.passes) == ("accepted", None, 1)
    assert bag.movements.get(kind="not_cleared").reason.endswith("Meter dropped")
    assert not RunVerdict.objects.exists()
    assert_refuses(
        "run_closed",
        WrongStage,
        give_up_run,
        run_id=run.pk,
        reason="x",
        sign=sign(),
    )


def test_a_run_is_not_given_up_while_bags_are_on_the_line(run: Run, bag: Bag) -> None:
    put_on(run, bag)
    values = {"run_id": run.pk, "reason": "Lamp", "sign": sign()}
    assert_refuses("bags_on_the_line", Refused, give_up_run, **values)


def test_what_runs_leave_behind_proves(run: Run) -> None:
    early, late = accepted_bags(2, run.protocol.loads.get().revision)
    put_on(run, early)
    take_off(run, early, short=True, now=NOW)
    factories.expose(run, late)
    give_up_run(run_id=run.pk, reason="Lamp", sign=sign())
    again = factories.open_run(run.protocol)
    put_on(again, early)
    take_off(again, early, short=True, now=NOW)
    factories.expose(again, late)
    factories.close_run(again)
    out = StringIO()
    factories.seal_set_up()
    call_command("prove", stdout=out)
    assert (fresh(early).stage, fresh(late).stage) == ("accepted", "cleared")
