"""No page asks the database more than 15 questions, whatever is on it."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from kitting.ledger import holds
from kitting.models import Lot, OpenBag, Part
from kitting.packing.services.miscounts import miss_pieces
from tests import factories
from tests.browser.touring import pages_of
from tests.ledgers import History

pytestmark = pytest.mark.django_db

MOST = 15
LISTS = (
    *("kitting:day", "kitting:lots", "kitting:runs", "kitting:benches"),
    *("kitting:boxes", "dispatch:shipments", "dispatch:log", "dispatch:recall"),
    *("kitting:labels", "kitting:label-log", "kitting:workshop", "kitting:places"),
    *("dispatch:journal", "dispatch:journal-export", "dispatch:requests"),
    *("dispatch:allotments", "dispatch:allotment-new"),
    "dispatch:figures",
)


def asked_by(client: Client, address: str) -> int:
    with CaptureQueriesContext(connection) as queries:
        answer = client.get(address)
    assert answer.status_code in {200, 302}, address
    return len(queries)


def too_many(client: Client, pages: list[str]) -> dict[str, int]:
    asked = {address: asked_by(client, address) for address in pages}
    return {address: count for address, count in asked.items() if count > MOST}


def hold_all_kinds(lot: Lot) -> None:
    """Let a hold of every kind stand; one of them on the lot itself."""
    other = factories.make_lot(factories.make_revision(Part.objects.first(), "Z"))
    bag = factories.make_bag()
    targets = {
        "lot": lot.pk,
        "bag": bag.pk,
        "revision": other.revision_id,
        "source": bag.lot.source,
        "protocol": factories.make_protocol().pk,
        "box": factories.make_closed_box().pk,
    }
    for target, value in targets.items():
        holds.place_hold(
            target=target, value=value, reason="Doubt", sign=factories.sign()
        )


def test_no_page_asks_more(history: History, everybody: Client) -> None:
    numbers = (
        *(history.band_lot, history.band_lot.bags.first(), history.released),
        *(history.opened, history.gone, history.waiting),
    )
    recall = reverse("dispatch:recall")
    pages = [reverse(name) for name in LISTS]
    pages += [f"{recall}?q={number}" for number in numbers]
    pages += [each for every in pages_of(history).values() for each in every]
    assert len(set(pages)) > 60
    assert too_many(everybody, pages) == {}
    hold_all_kinds(history.band_lot)
    bag = OpenBag.objects.filter(bag__lot=history.band_lot).get().bag
    bench = history.bench.pk
    miss_pieces(bench_id=bench, bag_id=bag.pk, inside=0, sign=factories.sign())
    assert too_many(everybody, pages) == {}
