"""Random histories, traced both ways: beside them what the files say that anybody can take.

Boxes, their lots, shipments and consignees are read from the CSV files of the shipments,
of the boxes and of the shipping log. Which materials went into a lot, and to whom boxes
were passed on, no such file says: there it is what the history did.
"""

from __future__ import annotations

import csv
from collections import Counter
from dataclasses import dataclass, field
from io import StringIO
from typing import Any

import pytest
from django.db import transaction
from django.test import Client
from django.urls import reverse
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from dispatch.models import Consignee
from dispatch.trace.queries import trace
from kitting.lots.services import lots
from kitting.models import Bag, Box, BoxSize, Lot
from kitting.models.catalogue import Per
from kitting.packing.services import boxes as packing
from tests import factories
from tests.dispatch.notices.calling import came_back
from tests.dispatch.notices.test_calls import passed
from tests.factories import sign

pytestmark = pytest.mark.django_db

SETS, CONSIGNEES = 2, 3
some = st.integers(min_value=0, max_value=9)


@dataclass(frozen=True)
class Plan:
    """What a history does; numbers choose among what there is."""

    made_from: list[set[int]]
    """Of each lot of visors the sheets."""
    bags: list[list[int]]
    """Of each of these lots the pieces in its bags."""
    boxes: list[tuple[int, int]]
    """Of each box from which bag it is filled first, and on which shipment it goes."""
    shipments: list[int]
    """To which consignee each goes."""
    later: list[tuple[int, int]]
    """Which box is passed on to which consignee, or comes back where there is none."""


plans = st.builds(
    Plan,
    made_from=st.lists(st.sets(st.integers(0, 1)), min_size=3, max_size=3),
    bags=st.lists(st.lists(st.integers(1, 4), min_size=1, max_size=3)).filter(bool),
    boxes=st.lists(st.tuples(some, some), min_size=2, max_size=5),
    shipments=st.lists(st.integers(0, CONSIGNEES - 1), min_size=1, max_size=3),
    later=st.lists(st.tuples(some, st.integers(0, CONSIGNEES)), max_size=5),
)


@dataclass
class Done:
    """What a history did that no file says."""

    sheets: list[str] = field(default_factory=list)
    made_from: dict[str, set[str]] = field(default_factory=dict)
    passed: dict[str, str] = field(default_factory=dict)
    """Who was passed a box last, by its serial."""
    shipments: list[str] = field(default_factory=list)


def live(plan: Plan) -> Done:
    """Do what a plan says, by the services."""
    done = Done()
    free = {"needs_check": False, "needs_clearing": False}
    sheet = factories.make_revision(factories.make_part(unit="mm", **free))
    sheets = [factories.make_lot(sheet) for _ in range(2)]
    done.sheets = [lot.number for lot in sheets]
    visor = factories.make_revision(factories.make_part(**free))
    bags: list[Bag] = []
    for of, pieces in zip(plan.made_from, plan.bags, strict=False):
        origin = tuple((sheets[nth].pk, 20) for nth in sorted(of))
        each = tuple(lots.NewBag(n) for n in pieces)
        lot = factories.make_lot(visor, bags=each, made_from=origin)
        done.made_from[lot.number] = {sheets[nth].number for nth in of}
        bags += lot.bags.order_by("pk")
    size = factories.make_size(factories.make_recipe([(visor, 1, Per.SET)]), SETS)
    packed = [pack(size, bags, first) for first, _on in plan.boxes]
    on: dict[int, list[Box]] = {}
    for box, (_first, nth) in zip(packed, plan.boxes, strict=True):
        if box is not None and nth < 8:  # the others stay here
            on.setdefault(nth % len(plan.shipments), []).append(box)
    people = [factories.make_consignee() for _ in range(CONSIGNEES)]
    for nth, those in sorted(on.items()):
        to = people[plan.shipments[nth]]
        sent = factories.send(factories.make_shipment(*those, consignee=to))
        done.shipments.append(sent.number)
    gone = {str(box): people[plan.shipments[nth]] for nth in on for box in on[nth]}
    for which, whom in plan.later if gone else ():
        serial = sorted(gone)[which % len(gone)]
        follow(serial, people[whom] if whom < CONSIGNEES else None, gone, done)
    return done


def pack(size: BoxSize, bags: list[Bag], first: int) -> Box | None:
    """A box filled from bags in their order, from one on; None where they run out."""
    for bag in bags:
        bag.refresh_from_db()
    full = [bag for bag in bags if bag.pieces]
    if sum(bag.pieces for bag in full) < SETS:
        return None
    start = first % len(full)
    bench, lacks = factories.make_bench(), SETS
    box = factories.make_open_box(size, bench)
    for bag in full[start:] + full[:start]:
        if lacks > 0:
            packing.bring_bag(bench_id=bench.pk, bag_id=bag.pk, sign=sign())
            lacks -= bag.pieces
    return factories.label_box(factories.close_box(box))


def follow(
    serial: str, to: Consignee | None, gone: dict[str, Consignee], done: Done
) -> None:
    """A box is passed on, or comes back: then nothing follows any more."""
    box = Box.objects.get(serial=serial)
    if box.stage == "returned" or (to is not None and gone[serial] == to):
        return
    if to is None:
        came_back(Box.objects.select_related("size").get(pk=box.pk), opened=False)
    else:
        passed(box, to)
        gone[serial] = to
        done.passed[serial] = to.code


def rows_of(client: Client, name: str, *args: str) -> list[dict[str, str]]:
    """A file as anybody takes it from its page."""
    answer: Any = client.get(reverse(name, args=args), {"as": "csv"})
    assert answer.status_code == 200
    text = b"".join(answer.streaming_content).decode("utf-8-sig")
    return list(csv.DictReader(StringIO(text)))


def compare(client: Client, done: Done) -> None:
    """Trace every lot and every box that was sent, and find the same in the files."""
    stage = {row["box"]: row["stage"] for row in rows_of(client, "kitting:boxes")}
    to = {
        row["shipment"]: row["consignee_code"]
        for row in rows_of(client, "dispatch:log")
    }
    assert to.keys() == set(done.shipments)
    inside: dict[str, set[str]] = {}
    has: dict[str, str] = {}
    for number, whom in to.items():
        for row in rows_of(client, "dispatch:shipment-detail", number):
            inside[row["box"]] = set(row["lots"].split())
            if stage[row["box"]] in {"sent", "delivered"}:
                has[row["box"]] = done.passed.get(row["box"], whom)
    names = dict(Consignee.objects.values_list("code", "name"))
    went = {lot: {lot, *done.made_from.get(lot, ())} for lot in done.made_from}
    for lot in [*done.made_from, *done.sheets]:
        found = trace(lot)
        reached = {
            box for box, its in inside.items() if any(lot in went[one] for one in its)
        }
        assert {row.serial for row in found.boxes if row.shipment} == reached
        people = Counter(names[has[box]] for box in reached if box in has)
        assert {row.name: row.boxes for row in found.consignees} == people
    for box, its in inside.items():
        wanted = set().union(*(went[lot] for lot in its))
        assert {row.number for row in trace(box).lots} == wanted


EXAMPLES = [8, pytest.param(80, marks=pytest.mark.long)]


@pytest.mark.parametrize("examples", EXAMPLES)
def test_whatever_happened_is_traced_as_the_files_say(
    examples: int, client: Client
) -> None:
    client.force_login(factories.make_person("manager"))

    @settings(
        max_examples=examples,
        deadline=None,
        derandomize=True,
        phases=[Phase.generate],  # a history takes too long to be made smaller
        suppress_health_check=[*HealthCheck],
    )
    @given(plan=plans)
    def check(plan: Plan) -> None:
        one = transaction.atomic()
        one._from_testcase = True  # durable acts may run inside
        with one:
            done = live(plan)
            compare(client, done)
            assert Lot.objects.count() == len(done.made_from) + len(done.sheets)
            transaction.set_rollback(True)

    check()
