"""The measurements of ``make bench`` measure what they say, here on a few rows."""

from __future__ import annotations

import re
from contextlib import nullcontext
from random import Random
from urllib.parse import urlsplit

import pytest
from django.db import connection

from benchmarks import (
    bench,
    crowd,
    filling,
    intake,
    labels,
    log,
    proving,
    reach,
    sharing,
    tracing,
)
from benchmarks.measure import Row, spread_out
from dispatch.domain.fetching import Candidate
from dispatch.models import Shipment
from dispatch.trace.balance import balance_of
from kitting.labels.kinds import BOX
from kitting.labels.press import draw
from kitting.ledger.guards import missing_guards
from kitting.models import Box, Lot
from tests import factories
from tests.kitting.labels.samples import BOX_100X150, text_of


def test_bare_drawing_draws_what_the_label_draws(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(labels, "COUNT", 2)
    monkeypatch.setattr(labels, "TIMES", 1)
    monkeypatch.setattr(labels, "FILE_OF", 3)
    monkeypatch.setattr(labels, "READ", 2)
    bare, proven, file, *read = labels.rows()
    assert bare.measured.endswith(" a second")
    assert proven.measured.endswith(" a second")
    assert file.measured.endswith(" MB")
    assert [row.measured for row in read] == ["100.00%"] * 2
    calls = labels._calls_of_one()
    bars = [step for name, args, _ in calls if name == "drawPath" for step in args[0]]
    # The two linear symbols alone have dozens of bars, and the matrix hundreds of dots.
    assert len([name for name, _, _ in bars if name == "rect"]) > 100
    again, ours = labels._again(calls, 1), draw(BOX, [labels.LABEL], BOX_100X150).pdf
    assert text_of(again).split() == text_of(ours).split()


@pytest.mark.django_db
def test_what_is_filled_balances_and_is_traced(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(tracing, "TIMES", 1)
    filled = filling.fill(boxes=100)
    assert Box.objects.count() == 100
    assert balance_of(filled.lot).difference == 0
    reached = Box.objects.filter(lines__lot=filled.lot).distinct().count()
    assert reached > 1
    proof, memory = proving.rows(filled)
    assert proof.what == "proof of 100 boxes"
    assert float(proof.ratio.removesuffix(" × the time")) > 1
    assert memory.measured.endswith(" MB")
    rows = tracing.rows(filled)
    assert rows[0].what == f"trace of a lot, {reached} of 100 boxes"
    boxes, bags, runs, moves = tracing.by_hand(filled.lot.number)
    assert (len(boxes), len(runs)) == (reached, 1)
    assert len(bags) == filled.lot.bags.count()
    assert ("received", True, balance_of(filled.lot).received) in {
        (kind, bool(more), pieces) for kind, more, pieces in moves
    }


@pytest.mark.django_db
def test_a_bench_is_measured_by_boxes_packed_through_it(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(bench, "BOXES", 2)
    monkeypatch.setattr(factories, "NOW", factories.NOW)
    monkeypatch.setattr(factories, "TODAY", factories.TODAY)
    rows = {row.what: row for row in bench.rows()}
    assert Box.objects.filter(stage="labelled", prints__copy=1).count() == 2
    assert list(rows) == [bench.START, bench.SCAN, bench.CLOSE, bench.LABEL]
    for row in rows.values():
        assert re.fullmatch(r"[\d,.]+ ms median, \d+ queries", row.measured)
        assert float(row.ratio.removesuffix(" × the time")) > 1


@pytest.mark.django_db(transaction=True)
def test_benches_at_once_each_pack_their_boxes_by_requests(
    monkeypatch: pytest.MonkeyPatch, live_server
) -> None:
    port = urlsplit(live_server.url).port
    monkeypatch.setattr(crowd, "HOST", urlsplit(live_server.url).hostname)
    monkeypatch.setattr(crowd, "_server", lambda: nullcontext(port))
    monkeypatch.setattr(crowd, "BENCHES", 2)
    monkeypatch.setattr(crowd, "BOXES", 2)
    monkeypatch.setattr(factories, "NOW", factories.NOW)
    monkeypatch.setattr(factories, "TODAY", factories.TODAY)
    rows = {row.what: row for row in crowd.rows()}
    assert Box.objects.filter(stage="labelled", prints__copy=1).count() == 3 * 2
    assert len(rows) == 3
    for row in rows.values():
        assert row.beside.startswith("one bench alone ")


@pytest.mark.django_db(transaction=True)
def test_a_file_is_taken_in_while_the_lock_is_timed() -> None:
    whole, lock = intake.rows(5)
    assert Lot.objects.count() == 5
    assert whole.beside.startswith("write lock held ")
    assert lock.beside.startswith("its statements alone ")
    assert float(lock.ratio.split()[0]) >= 1


@pytest.mark.skipif(connection.vendor != "sqlite", reason="measured on SQLite alone")
@pytest.mark.django_db(transaction=True)
def test_the_log_is_grown_by_what_was_sent(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(log, "TIMES", 1)
    gone = factories.send(factories.make_shipment(factories.make_labelled_box()))
    rows = {row.what: row for row in log.rows(3)}
    assert Shipment.objects.filter(sent_at__isnull=False).count() == 3
    assert {each.lots for each in Shipment.objects.all()} == {gone.lots}
    assert missing_guards() == []
    assert len(rows) == 10
    with connection.cursor() as cursor:
        cursor.execute(log.FILE)
        assert cursor.fetchall()[0][0] == gone.number


def test_boxes_are_dealt_out_in_each_way_that_is_limited() -> None:
    found = sharing.rows(5)
    assert [row.what for row in found][-1] == "allotment of 5 requests"
    assert all(row.limit for row in found)


@pytest.mark.parametrize("proposed", [False, True])
def test_no_piece_is_lost_in_the_invented_weeks(proposed: bool) -> None:
    """What was taken in is in bags, at benches and in boxes, here or sent."""
    shop = reach.Workshop(reach.Orders(proposed, proposed), True, Random(1))
    for day in range(15):
        shop.work(day)
    sets = sum(box.sets for box in shop.ready) + sum(box.sets for _on, box in shop.sent)
    assert sets > 0
    for part, (pieces, _bag, a_day) in reach.PARTS.items():
        bags = [*shop.stock[part], *(bag for at in shop.at_bench for bag in at[part])]
        left = sum(bag.pieces for bag in bags)
        assert left + sets == pieces * int(15 * a_day), part


def test_both_orders_do_the_same_work_and_plain_is_the_oldest_first(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(reach, "WEEKS", 4)
    monkeypatch.setattr(reach, "SEEDS", (1,))
    rows = reach.rows()
    assert rows == reach.rows()
    assert [row.what for row in rows][: len(reach.WORDS)] == [*reach.WORDS.values()]
    shop = reach.Workshop(reach.Orders(False, False), False, Random(1))
    ages = {}
    for size in (6, 6, 24):
        shop.ready.append(Candidate(len(ages), size, None, frozenset(), -len(ages)))
        ages[len(ages)] = size
    assert [box.box for box in shop.chosen({6: 1, 24: 1}, set())] == [1, 2]


def test_the_table_stands_in_columns() -> None:
    table = spread_out([Row("a", "1 ms"), Row("longer", "2 ms", limit="≤ 3 ms")])
    head, _rule, first, second = table.splitlines()
    assert first.index("1 ms") == second.index("2 ms") == head.index("measured")
    assert second.index("≤ 3 ms") == head.index("limit")
