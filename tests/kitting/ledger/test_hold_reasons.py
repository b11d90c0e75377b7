"""Whoever meets a hold reads who placed it, and why."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from kitting.disinfection.services import runs
from kitting.domain.errors import LotwardError, OnHold
from kitting.ledger import holds
from kitting.ledger.reach import refuse_held_bag, standing_reach
from kitting.ledger.stopped import refuse_held_box
from kitting.models import Bag, User
from kitting.packing.services import boxes
from kitting.web.messages import sentence
from tests import factories
from tests.assertions import assert_refused
from tests.factories import sign, sign_by_another
from tests.kitting.ledger.test_holds import TARGETS, cleared_bag, made_from

pytestmark = pytest.mark.django_db


@pytest.fixture
def quality() -> User:
    person = factories.make_person("quality officer")
    person.first_name = "Quality officer"
    person.save()
    return person


@pytest.fixture
def place(quality):
    def place(target: str, value: int | str, reason: str = "Rough edge.") -> int:
        held = holds.place_hold(
            target=target, value=value, reason=reason, sign=sign(quality)
        )
        return held.hold_id

    return place


def refusal(bag: Bag) -> OnHold:
    with pytest.raises(OnHold) as error:
        refuse_held_bag(Bag.objects.get(pk=bag.pk), standing_reach())
    return error.value


@pytest.mark.parametrize("target", TARGETS)
def test_a_bag_that_anything_stops_says_who_and_why(target: str, place) -> None:
    bag = cleared_bag()
    place(target, TARGETS[target](bag))
    said = refusal(bag)
    assert_refused(said, "bag_on_hold", by="Quality officer", reason="Rough edge")
    assert sentence(said) == (
        f"Bag {bag.number} is on hold by Quality officer: Rough edge. Put it in quarantine and"
        " take another."
    )


def test_what_is_made_from_a_held_lot_says_why_that_lot_is_held(place) -> None:
    sheet = factories.make_lot(
        factories.make_revision(
            factories.make_part(unit="mm", needs_check=False, needs_clearing=False)
        )
    )
    visor = made_from(made_from(sheet))
    place("lot", sheet.pk, "Haze in the sheet")
    assert refusal(visor.bags.get()).params["reason"] == "Haze in the sheet"


def test_of_two_holds_on_one_lot_the_older_is_named(place) -> None:
    bag = cleared_bag()
    first = place("revision", bag.lot.revision_id, "First")
    place("lot", bag.lot_id, "Second")
    assert refusal(bag).params["reason"] == "First"
    holds.lift_hold(hold_id=first, reason="Measured", sign=sign_by_another())
    assert refusal(bag).params["reason"] == "Second"


def test_of_two_protocol_holds_and_a_run_hold_the_oldest_is_named(place) -> None:
    bag = cleared_bag()
    assert bag.cleared_run is not None
    place("run", bag.cleared_run_id, "Lamp out")
    place("protocol", bag.cleared_run.protocol_id, "Evidence in doubt")
    assert refusal(bag).params["reason"] == "Lamp out"


@pytest.mark.parametrize("target", ["box", "lot"])
def test_a_box_says_why_it_or_what_is_in_it_is_held(target: str, place) -> None:
    box = factories.make_closed_box()
    line = box.lines.select_related("lot").get()
    place(target, {"box": box.pk, "lot": line.lot_id}[target])
    with pytest.raises(OnHold) as error:
        refuse_held_box(box, [line], standing_reach())
    assert sentence(error.value) == (
        f"Box {box.serial}, or something in it, is on hold by Quality officer:"
        " Rough edge. Put it in quarantine."
    )


@pytest.mark.parametrize(
    ("target", "code"), [("run", "run_on_hold"), ("protocol", "protocol_on_hold")]
)
def test_a_run_and_a_protocol_say_why_they_are_held(target, code, place) -> None:
    revision = factories.make_revision()
    protocol = factories.make_protocol(revision)
    bag = factories.accept(factories.make_lot(revision)).bags.get()
    run = factories.open_run(protocol)
    place(target, {"run": run.pk, "protocol": protocol.pk}[target])
    acts = {
        "run": lambda: runs.put_on(run_id=run.pk, bag_id=bag.pk, sign=sign()),
        "protocol": lambda: factories.open_run(protocol),
    }
    with pytest.raises(LotwardError) as error:
        acts[target]()
    assert_refused(error.value, code, by="Quality officer", reason="Rough edge")
    assert "is on hold by Quality officer: Rough edge." in sentence(error.value)


def test_a_box_that_is_loaded_says_who_holds_it(place) -> None:
    box = factories.make_labelled_box()
    place("box", box.pk)
    with pytest.raises(OnHold) as error:
        factories.make_shipment(box)
    assert_refused(error.value, "box_held", by="Quality officer", on=f"box {box}")
    assert "Quality officer placed a hold on" in sentence(error.value)


def test_the_bench_says_who_and_why(place) -> None:
    bag, bench = factories.make_bag(), factories.make_bench()
    place("bag", bag.pk, "Torn")
    with pytest.raises(OnHold) as error:
        boxes.bring_bag(bench_id=bench.pk, bag_id=bag.pk, sign=sign())
    assert_refused(error.value, "bag_on_hold", by="Quality officer", reason="Torn")


def test_who_and_why_cost_no_further_query(place) -> None:
    """Holds, and whatever those reach."""
    bag = cleared_bag()
    for target, value in TARGETS.items():
        place(target, value(bag))
    place("lot", factories.make_lot().pk)
    with CaptureQueriesContext(connection) as seen:
        reach = standing_reach()
    assert reach.why_bag(bag) is not None
    assert len(seen) == 2
