"""Lots that are like one: found in one question, and traced along with it."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

import pytest
from django.test import Client
from django.urls import reverse

from dispatch.trace.queries import find, trace, trace_found
from dispatch.trace.siblings import ALIKE, MOST, alike, lots_alike
from kitting.lots.services.lots import NewBag
from kitting.models import Lot, User
from tests import factories
from tests.ledgers import History

pytestmark = pytest.mark.django_db

PAGE = reverse("dispatch:recall")


def counts(lot: Lot) -> dict[str, int]:
    return {each.kind: each.lots for each in alike(lot)}


def test_each_way_of_being_alike_counts_its_own_lots() -> None:
    revision = factories.make_revision()
    one, other = date(2024, 3, 4), date(2024, 3, 5)
    lot = factories.make_lot(revision, source="Print room", made_on=one)
    factories.make_lot(revision, source="Second bench", made_on=one)
    factories.make_lot(source="PRINT  room", made_on=one)
    factories.make_lot(source="Print room", made_on=other)
    assert counts(lot) == {"day": 1, "revision": 1, "source": 2}


def test_lots_of_one_sheet_are_alike_and_the_sheet_is_not() -> None:
    sheets = factories.make_bag().lot
    cut = [
        factories.make_lot(bags=(NewBag(6),), made_from=((sheets.pk, 2),), source=name)
        for name in ("Cutter 1", "Cutter 2")
    ]
    assert counts(cut[0]) == {"material": 1}
    assert list(lots_alike(cut[0], "material")) == [cut[1].pk]
    assert "material" not in counts(sheets)


def test_alike_counts_what_a_walk_over_all_lots_counts(history: History) -> None:
    """Each filter against the rows themselves, in plain Python."""
    lots = list(Lot.objects.prefetch_related("origins", "bags__run_bags"))
    for lot in lots:
        for kind in ALIKE:
            expected = {
                each.pk
                for each in lots
                if each != lot and same(kind, each) & same(kind, lot)
            }
            assert set(lots_alike(lot, kind)) == expected, (lot, kind)
            assert counts(lot).get(kind, 0) == len(expected), (lot, kind)


def same(kind: str, lot: Lot) -> set[object]:
    """What a lot shares with those that are like it."""
    if kind == "material":
        return {origin.from_lot_id for origin in lot.origins.all()}
    if kind == "run":
        return {stay.run_id for bag in lot.bags.all() for stay in bag.run_bags.all()}
    return {
        "day": {(lot.source_key, lot.made_on)},
        "method": {lot.method_id} - {None},
        "revision": {lot.revision_id},
        "source": {lot.source_key},
    }[kind]


def test_what_is_traced_along_adds_up_to_the_traces_of_each(history: History) -> None:
    alone = {lot.pk: trace(lot.number) for lot in Lot.objects.all()}
    for lot in Lot.objects.all():
        for kind in ALIKE:
            others = list(lots_alike(lot, kind))
            if not others:
                continue
            found = trace_found(find(lot.number), alike=kind)
            each = [alone[pk] for pk in [lot.pk, *others]]
            boxes = {box.serial for one in each for box in one.boxes}
            assert {box.serial for box in found.boxes} == boxes
            own = sum(box.own for one in each for box in one.boxes)
            assert sum(box.own for box in found.boxes) == own
            assert found.balance is None
            told = {number for one in each for number, _balance in one.balances}
            assert {number for number, _balance in found.balances} == told


def test_the_page_offers_what_is_alike_and_shows_it_by_one_touch(
    client_for: Callable[[User], Client],
) -> None:
    client = client_for(factories.make_person("quality officer"))
    lot = factories.make_lot(source="Print room")
    other = factories.make_lot(source="Print room")
    page = client.get(PAGE, {"q": lot.number}).content.decode()
    to = f"?q={lot.number}&amp;alike=source"
    assert f'<a href="{to}">Print room: 1 other lot</a>' in page
    assert other.number not in page
    wide = client.get(PAGE, {"q": lot.number, "alike": "source"}).content.decode()
    assert "with all of Print room" in wide
    assert other.number in wide
    assert client.get(PAGE, {"q": lot.number, "alike": "colour"}).status_code == 200


def test_more_than_a_page_can_show_are_counted_and_not_traced(
    client_for: Callable[[User], Client], monkeypatch: pytest.MonkeyPatch
) -> None:
    assert MOST == 200
    monkeypatch.setattr("dispatch.trace.siblings.MOST", 2)
    client = client_for(factories.make_person("quality officer"))
    lot = factories.make_lot(source="Print room")
    for _ in range(2):
        factories.make_lot(source="Print room")
    page = client.get(PAGE, {"q": lot.number}).content.decode()
    assert "Print room: 2 other lots" in page
    assert "too many for one page" in page
    assert "alike=source" not in page
