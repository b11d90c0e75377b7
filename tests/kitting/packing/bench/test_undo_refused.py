"""Wrong moments to undo: what is closed or held, what something rests on, twice."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from typing import Any

import pytest
from django.urls import reverse

from kitting.domain.commands import Asked, end_of
from kitting.domain.errors import Conflict
from kitting.lots.services.counts import count_again
from kitting.models import (
    Bench,
    Box,
    Movement,
    OpenBag,
    Operation,
)
from kitting.packing.queries.undo import acts_at
from kitting.packing.services import boxes
from kitting.packing.services.miscounts import find_pieces
from kitting.packing.services.undo import undo
from kitting.places.services.places import put_bag
from tests import factories
from tests.assertions import assert_problem
from tests.benches import (
    Packing,
    hold,
    in_box,
    newest_number,
    state,
    words,
)
from tests.factories import sign
from tests.kitting.packing.bench.test_bench_cancels import purpose
from tests.kitting.packing.bench.test_bench_undo import ledger, said

pytestmark = pytest.mark.django_db

Scan = Callable[..., Any]


# -- What stays ----------------------------------------------------------------------


@pytest.mark.usefixtures("full_box")
def test_what_is_scrapped_or_closed_stays_and_the_screen_says_so(
    scan: Scan, at: Packing
) -> None:
    said(at.visor_bag, "ACT-BAD", f"ACT-BAD-{end_of('Dropped')}", scan=scan)
    menu = scan("ACT-UNDO")
    assert "put it into the waste, take another: that cannot be undone." in words(menu)
    stays = "What is closed, printed, put away or scrapped stays so."
    assert stays in words(menu)
    assert "Cancel the box" in words(menu)
    last = acts_at(at.bench.pk).last
    assert last is not None
    forged = str(Asked("undo", end=str(last.pk)))
    assert_problem(scan("ACT-YES", purpose=forged), "act_stays")
    scan("ACT-CLOSE")
    assert stays in words(scan("ACT-UNDO"))


# -- Wrong moments -------------------------------------------------------------------


def last_of(bench: Bench) -> int:
    last = acts_at(bench.pk).last
    assert last is not None
    return last.pk


def test_the_same_undo_sent_again_is_answered_with_its_first_outcome(
    scan: Scan, at: Packing
) -> None:
    scan("ACT-BOX-6")
    scan(at.visor_bag.number)
    asked, key = purpose(scan("ACT-UNDO")), str(uuid.uuid4())
    first = scan("ACT-YES", purpose=asked, key=key)
    count = Operation.objects.count()
    again = scan("ACT-YES", purpose=asked, key=key)
    for each in (first, again):
        assert (state(each), each.context["next"]) == ("right", "cancelled")
    assert again.context["gone"] == first.context["gone"]
    assert Operation.objects.count() == count


def test_an_act_is_undone_once_whoever_asks(scan: Scan, at: Packing) -> None:
    scan("ACT-BOX-6")
    scan(at.visor_bag.number)
    one, other = (purpose(scan("ACT-UNDO")) for _ in range(2))
    scan("ACT-YES", purpose=one)
    response = scan("ACT-YES", purpose=other)
    assert_problem(response, "undone_already", status=409)
    assert in_box() == 0
    assert Movement.objects.filter(kind="unpacked").count() == 1


def test_another_act_meanwhile_is_not_undone_for_it(scan: Scan, at: Packing) -> None:
    scan("ACT-BOX-6")
    scan(at.visor_bag.number)
    asked = purpose(scan("ACT-UNDO"))
    scan(at.band_bag.number)
    response = scan("ACT-YES", purpose=asked)
    assert_problem(response, "not_the_last_act", status=409)
    assert in_box() == 18


def test_an_act_of_another_bench_is_not_undone_here(scan: Scan, at: Packing) -> None:
    there = factories.make_bench()
    of = {"bench_id": there.pk, "sign": sign(bench_id=there.pk)}
    boxes.bring_bag(bag_id=at.visor_bag.pk, **of)
    asked = str(Asked("undo", end=str(last_of(there))))
    response = scan("ACT-YES", purpose=asked)
    assert_problem(response, "not_the_last_act", status=409)
    assert OpenBag.objects.get().bench == there


def _hold_bag(at: Packing) -> None:
    hold("bag", at.visor_bag.pk)


def _hold_box(_at: Packing) -> None:
    hold("box", Box.objects.get().pk)


def _move(at: Packing) -> None:
    there = factories.make_bench()
    of = {"bench_id": there.pk, "sign": sign(bench_id=there.pk)}
    boxes.bring_bag(bag_id=at.visor_bag.pk, **of)


def _put_away(at: Packing) -> None:
    shelf = factories.make_place().pk
    put_bag(bag_id=at.visor_bag.pk, place_id=shelf, sign=sign())


def _recount(at: Packing) -> None:
    count_again(
        bag_id=at.visor_bag.pk,
        counted=80,
        counted_by="hand",
        reason="By eye",
        sign=sign(),
    )


def _found(at: Packing) -> None:
    of = {"bench_id": at.bench.pk, "bag_id": at.visor_bag.pk}
    find_pieces(**of, pieces=2, sign=sign())


@pytest.mark.parametrize(
    ("act", "meanwhile", "code"),
    [
        ("scan", _hold_bag, "held_in_box"),
        ("start", _hold_bag, "held_in_box"),
        ("count", _hold_bag, "undo_held"),
        ("scan", _hold_box, "box_on_hold"),
        ("start", _hold_box, "box_on_hold"),
        ("scan", _move, "rests_on_act"),
        ("count", _move, "rests_on_act"),
        ("scan", _put_away, "rests_on_act"),
        ("start", _recount, "rests_on_act"),
        ("count", _recount, "rests_on_act"),
        ("scan", _found, "rests_on_act"),
        ("start", _found, "rests_on_act"),
    ],
)
def test_nothing_is_undone_after_something_rests_on_it_or_is_held(
    scan: Scan, at: Packing, act: str, meanwhile: Any, code: str
) -> None:
    if act == "start":
        scan(at.visor_bag.number)
    scan("ACT-BOX-6")
    if act != "start":
        scan(at.visor_bag.number)
    if act == "count":
        said(at.visor_bag, "ACT-MORE", "ACT-5", scan=scan)
    asked = purpose(scan("ACT-UNDO"))
    meanwhile(at)
    moves = Movement.objects.count()
    response = scan("ACT-YES", purpose=asked)
    assert_problem(response, code)
    if meanwhile in (_hold_bag, _hold_box):
        assert "Nothing was" in words(response)
    assert Movement.objects.count() == moves
    assert in_box() == 12
    assert factories.prove() == []


@pytest.mark.parametrize("meanwhile", [_hold_bag, _move, _put_away])
def test_a_bag_that_was_taken_off_is_not_opened_where_it_is_not(
    scan: Scan, at: Packing, meanwhile: Any
) -> None:
    scan(at.visor_bag.number)
    scan(at.visor_bag.number, purpose=purpose(scan("ACT-TAKE-OFF")))
    asked = purpose(scan("ACT-UNDO"))
    meanwhile(at)
    assert state(scan("ACT-YES", purpose=asked)) == "wrong"
    assert not OpenBag.objects.filter(bench=at.bench).exists()


@pytest.mark.usefixtures("full_box")
def test_a_box_that_was_closed_elsewhere_meanwhile_keeps_its_pieces(
    scan: Scan, at: Packing
) -> None:
    asked = purpose(scan("ACT-UNDO"))
    boxes.close_box(box_id=Box.objects.get().pk, sign=sign())  # at no bench
    assert_problem(scan("ACT-YES", purpose=asked), "rests_on_act")
    assert in_box() == 19


def test_what_another_bench_undid_does_not_rest_on_it(
    scan: Scan, at: Packing, undone: Any
) -> None:
    before = ledger(at.visor_bag)
    scan(at.visor_bag.number)
    there = factories.make_bench()
    at_there = {"bench_id": there.pk}
    boxes.bring_bag(**at_there, bag_id=at.visor_bag.pk, sign=sign(bench_id=there.pk))
    undo(**at_there, act_id=last_of(there), sign=sign(bench_id=there.pk))
    assert OpenBag.objects.get().bench == at.bench
    assert state(undone()) == "right"
    assert ledger(at.visor_bag) == before
    assert factories.prove() == []


def test_an_undo_that_waited_undoes_nothing(
    client: Any, scan: Scan, at: Packing, hx: dict[str, str]
) -> None:
    """What was done before it may have been refused: another act would be undone."""
    scan("ACT-BOX-6")
    scan(at.visor_bag.number)
    data = {"scan": "ACT-UNDO", "box": newest_number(at.bench), "waited": "yes"}
    address = reverse("kitting:bench-scan", args=[at.bench.code])
    response = client.post(address, data | {"op_key": sign().key}, headers=hx)
    assert_problem(response, "undo_waited")
    assert_problem(scan("ACT-YES"), "nothing_asked")
    assert in_box() == 12


def test_an_undo_whose_question_was_seen_is_done_when_the_network_is_back(
    client: Any, scan: Scan, at: Packing, hx: dict[str, str]
) -> None:
    scan("ACT-BOX-6")
    scan(at.visor_bag.number)
    data = {"scan": "ACT-YES", "box": newest_number(at.bench), "waited": "yes"}
    data |= {"purpose": purpose(scan("ACT-UNDO")), "op_key": str(sign().key)}
    address = reverse("kitting:bench-scan", args=[at.bench.code])
    assert state(client.post(address, data, headers=hx)) == "right"
    assert in_box() == 0


def test_yes_without_the_question_undoes_nothing(scan: Scan, at: Packing) -> None:
    scan("ACT-BOX-6")
    scan(at.visor_bag.number)
    scan("ACT-UNDO")
    assert_problem(scan("ACT-YES"), "nothing_asked")
    assert in_box() == 12


def test_an_undo_is_signed_at_its_bench_whoever_asks_for_it(
    scan: Scan, at: Packing
) -> None:
    """Else the bench would not know of it, and the act could be undone twice."""
    scan("ACT-BOX-6")
    scan(at.visor_bag.number)
    of = {"bench_id": at.bench.pk, "act_id": last_of(at.bench)}
    undo(**of, sign=sign())
    with pytest.raises(Conflict) as refused:
        undo(**of, sign=sign())
    assert refused.value.code == "undone_already"
    assert factories.prove() == []
