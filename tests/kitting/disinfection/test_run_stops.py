"""Interrupted passes, whole carriers, and what a part can still take."""

from __future__ import annotations

import pytest

from kitting.disinfection.queries import doses
from kitting.disinfection.services import runs
from kitting.disinfection.services.verdicts import Stopped, close_run, stop_line
from kitting.domain.entries import Belt
from kitting.domain.errors import Missing, OnHold, Refused, WrongStage
from kitting.ledger import holds
from kitting.models import Bag, Carrier, Interruption, Run, RunBag
from kitting.places.services import carriers
from tests import factories
from tests.databases import once_a_module
from tests.factories import sign
from tests.kitting.disinfection.run_acts import (
    accepted_bags,
    assert_refuses,
    fresh,
    put_on,
    take_off,
)

pytestmark = pytest.mark.django_db


@once_a_module
def bags() -> list[Bag]:
    return accepted_bags(3)


@once_a_module
def run(bags: list[Bag]) -> Run:
    return factories.open_run(factories.make_protocol(bags[0].lot.revision))


def stop(run: Run, **changes) -> Stopped:
    values = {"reason": "the belt jammed", "sign": sign(), **changes}
    return stop_line(run_id=run.pk, **values)


# -- Interrupted ------------------------------------------------------------------------


def test_an_interrupted_pass_counts_nothing(run: Run, bags: list[Bag]) -> None:
    done, on_line, waiting = bags
    factories.expose(run, done)
    put_on(run, on_line)
    assert stop(run) == Stopped(run=run.number, bags=1)
    stages = [fresh(bag).stage for bag in bags]
    assert stages == ["exposed", "accepted", "accepted"]
    assert on_line.passes == 0
    last = on_line.movements.order_by("nth").last()
    assert (last.kind, last.stage_before) == ("not_cleared", "in_run")
    assert last.reason == f"run {run.number} interrupted: the belt jammed"
    run.refresh_from_db()
    assert run.stage == "open"
    (shown,) = doses.stops(run)
    assert (shown.reason, shown.bags) == ("the belt jammed", (on_line.number,))
    assert waiting.movements.count() == 2
    assert factories.prove() == []


def test_a_bag_may_go_on_again_after_its_line_stopped(run: Run, bags) -> None:
    bag = bags[0]
    put_on(run, bag)
    stop(run)
    assert not RunBag.objects.exists()
    factories.expose(run, fresh(bag))
    factories.close_run(run)
    assert (fresh(bag).stage, bag.passes) == ("cleared", 1)
    assert factories.prove() == []


def test_a_line_that_stopped_empty_is_on_record(run: Run) -> None:
    assert stop(run).bags == 0
    assert Interruption.objects.get().run == run
    assert doses.stops(run)[0].bags == ()


def test_a_stop_needs_a_reason_and_an_open_run(run: Run, bags) -> None:
    put_on(run, bags[0])
    assert_refuses("reason_missing", Refused, stop, run=run, reason="  ")
    assert_refuses("entry_too_long", Refused, stop, run=run, reason="x" * 151)
    assert fresh(bags[0]).stage == "in_run"
    stop(run, reason="x" * 150)
    factories.close_run(run)
    assert_refuses("run_closed", WrongStage, stop, run=run)
    values = {"reason": "x", "sign": sign()}
    assert_refuses("row_missing", Missing, stop_line, run_id=0, **values)


def test_the_same_stop_sent_twice_happens_once(run: Run, bags) -> None:
    put_on(run, bags[0])
    key = sign()
    assert stop(run, sign=key) == stop(run, sign=key)
    put_on(run, fresh(bags[0]))
    assert stop(run, sign=key).bags == 1
    assert fresh(bags[0]).stage == "in_run"


def test_a_bag_that_goes_on_while_a_stop_waits_is_not_left_on(
    run: Run, bags, monkeypatch
) -> None:
    from kitting.disinfection.services import verdicts

    plain = verdicts.lock_open_run

    def slowly(run_id: int) -> Run:
        RunBag.objects.create(run=run, bag=bags[1], on_at=factories.NOW)
        return plain(run_id)

    put_on(run, bags[0])
    monkeypatch.setattr(verdicts, "lock_open_run", slowly)
    with pytest.raises(verdicts.Conflict) as caught:
        stop(run)
    assert caught.value.code == "page_is_old"


# -- Carriers --------------------------------------------------------------------------


@once_a_module
def carrier(bags: list[Bag]) -> Carrier:
    number = carriers.make_carrier(name="Rack 1", sign=sign()).carrier
    found = Carrier.objects.get(number=number)
    for bag in bags:
        carriers.load_bag(carrier_id=found.pk, bag_id=bag.pk, sign=sign())
    return found


def scan(run: Run, carrier: Carrier, **changes) -> runs.CarrierOnLine:
    return runs.scan_carrier(run_id=run.pk, carrier_id=carrier.pk, sign=sign(**changes))


def stages(bags: list[Bag]) -> set[str]:
    return {fresh(bag).stage for bag in bags}


def test_a_carrier_puts_all_its_bags_on_and_takes_them_off(
    run: Run, bags, carrier: Carrier
) -> None:
    on = scan(run, carrier)
    assert on == runs.CarrierOnLine(run.number, carrier.number, "in_run", 3)
    carrier.refresh_from_db()
    assert (stages(bags), carrier.place_id) == ({"in_run"}, run.line_id)
    assert {bag.place_id for bag in bags} == {run.line_id}
    off = scan(run, carrier, now=factories.after_passes(run))
    assert (off.stage, off.bags, stages(bags)) == ("exposed", 3, {"exposed"})
    factories.close_run(run)
    assert stages(bags) == {"cleared"}
    assert factories.prove() == []


def test_one_bag_that_is_refused_keeps_the_carrier_off(
    run: Run, bags, carrier: Carrier
) -> None:
    held = bags[1]
    holds.place_hold(target="bag", value=held.pk, reason="Wet", sign=sign())
    refused = assert_refuses("bag_on_hold", OnHold, scan, run=run, carrier=carrier)
    assert refused.params["bag"] == held.number
    assert stages(bags) == {"accepted"}


def test_a_carrier_that_comes_off_too_early_stays_on(
    run: Run, bags, carrier: Carrier
) -> None:
    scan(run, carrier)
    assert_refuses("bag_off_too_early", Refused, scan, run=run, carrier=carrier)
    assert stages(bags) == {"in_run"}


def test_a_carrier_with_one_bag_on_is_refused_and_the_bag_off_it_named(
    run: Run, bags, carrier: Carrier
) -> None:
    put_on(run, bags[0])
    half = assert_refuses("carrier_half_on", Refused, scan, run=run, carrier=carrier)
    assert half.params["bag"] == bags[1].number


def test_a_carrier_that_came_off_is_refused(run: Run, bags, carrier: Carrier) -> None:
    scan(run, carrier)
    later = factories.after_passes(run)
    scan(run, carrier, now=later)
    assert_refuses(
        "bag_came_off", WrongStage, scan, run=run, carrier=carrier, now=later
    )


def test_an_empty_or_unknown_carrier_is_refused(run: Run) -> None:
    number = carriers.make_carrier(name="Rack 2", sign=sign()).carrier
    empty = Carrier.objects.get(number=number)
    assert_refuses("carrier_empty", Refused, scan, run=run, carrier=empty)
    values = {"run_id": run.pk, "carrier_id": 0, "sign": sign()}
    assert_refuses("row_missing", Missing, runs.scan_carrier, **values)


def test_the_same_scan_of_a_carrier_sent_twice_moves_it_once(
    run: Run, bags, carrier: Carrier
) -> None:
    values = {"run_id": run.pk, "carrier_id": carrier.pk}
    key = sign()
    first = runs.scan_carrier(**values, sign=key)
    assert runs.scan_carrier(**values, sign=key) == first
    assert stages(bags) == {"in_run"}


# -- What a part can take ---------------------------------------------------------------


def fail(run: Run, bag: Bag) -> None:
    put_on(run, bag)
    take_off(run, bag)
    assert factories.close_run(run, 10).stage == "failed"


def test_a_part_has_no_more_passes_than_the_protocol_allows(bags) -> None:
    bag = bags[0]
    protocol = factories.make_protocol(bag.lot.revision, max_passes=3)
    belt = Belt(zone_um=500_000, belt_um_s=1_500, passes=2)
    fail(factories.open_run(protocol, belt=belt), bag)
    assert fresh(bag).passes == 2
    again = factories.open_run(protocol, belt=belt)
    over = assert_refuses("passes_over_most", Refused, put_on, run=again, bag=bag)
    assert (over.params["had"], over.params["passes"]) == (2, 2)
    last = factories.open_run(protocol)
    assert put_on(last, fresh(bag)).stage == "in_run"


def test_a_part_has_no_larger_dose_than_it_may_take(bags) -> None:
    """The strongest point counts, with its upper bound.

    5 mW/cm² for 333.333 s is 1666.665 mJ/cm² a run; with 5 % of the meter at most
    1749.998 25.
    """
    bag = bags[0]
    protocol = factories.make_protocol(bag.lot.revision)
    readings = [(1, "top", 4_000), (2, "top", 5_000)]
    first = factories.open_run(protocol, readings=readings)
    put_on(first, bag)
    take_off(first, bag)
    closing = [(1, "top", 10), (2, "top", 4_000)]
    close_run(run_id=first.pk, readings=closing, sign=sign())
    second = factories.open_run(protocol, readings=readings)
    part = bag.lot.part
    # Two runs of 1,749,999 µJ/cm² are 3,499,998: one less is not allowed.
    part.max_dose_uj_cm2 = 3_499_997
    part.save()
    over = assert_refuses("dose_over_largest", Refused, put_on, run=second, bag=bag)
    assert (over.params["had"], over.params["more"]) == ("1750", "1750")
    assert over.params["largest"] == "3499.997"
    part.max_dose_uj_cm2 = 3_499_998
    part.save()
    assert put_on(second, Bag.objects.get(pk=bag.pk)).stage == "in_run"


def test_without_readings_the_required_dose_or_the_dosimeter_counts(bags) -> None:
    bag = bags[0]
    part = bag.lot.part
    part.max_dose_uj_cm2 = 999_999
    part.save()
    protocol = factories.make_protocol(bag.lot.revision)
    run = factories.open_run(protocol, readings=[], by_dosimeter=True)
    assert_refuses("dose_over_largest", Refused, put_on, run=run, bag=bag)
    part.max_dose_uj_cm2 = 3_000_000
    part.save()
    bag = Bag.objects.get(pk=bag.pk)
    put_on(run, bag)
    take_off(run, bag)
    high = [("top", 2_500_000, 900_000)]
    close_run(run_id=run.pk, readings=[], dosimeters=high, sign=sign())
    assert fresh(bag).stage == "accepted"
    again = factories.open_run(protocol, readings=[], by_dosimeter=True)
    over = assert_refuses("dose_over_largest", Refused, put_on, run=again, bag=bag)
    assert over.params["had"] == "4750"  # 2,500 and 90 % of it


def test_an_interrupted_pass_is_no_dose_of_a_part(bags) -> None:
    bag = bags[0]
    part = bag.lot.part
    part.max_dose_uj_cm2 = 1_400_000
    part.save()
    run = factories.open_run(factories.make_protocol(bag.lot.revision))
    bag = Bag.objects.get(pk=bag.pk)
    put_on(run, bag)
    stop(run)
    assert put_on(run, fresh(bag)).stage == "in_run"
