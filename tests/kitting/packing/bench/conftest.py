"""A bench, a packer at it, and what a scan does."""

from __future__ import annotations

import uuid
from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from kitting.models import Box
from kitting.packing.services import scales
from kitting.packing.services.scales import give_token, token_of
from tests import factories
from tests.benches import Packing, make_packing, newest_number, packed_before, words
from tests.databases import once_a_module
from tests.factories import sign
from tests.scales import Clock, Sender
from tests.weighed import weigh


@pytest.fixture(autouse=True)
def _today(monkeypatch: pytest.MonkeyPatch) -> None:
    later = factories.NOW + timedelta(minutes=15)
    monkeypatch.setattr(timezone, "now", lambda: later)


@once_a_module
def at() -> Packing:
    return make_packing()


@once_a_module
def full_box(at) -> Box:
    """A box at the bench that lacks nothing, filled by somebody else."""
    return packed_before(at, "ACT-BOX-6", *(bag.number for bag in at.bags))


@pytest.fixture
def packer(make_user):
    return make_user("packer", group="packer")


@pytest.fixture
def client(packer, client_for):
    return client_for(packer)


@pytest.fixture
def scan(client, at, hx):
    """Send one scan as the tablet does, or as a plain form where ``plain``.

    Without ``box`` it comes from a screen that shows what stands there now.
    """

    def send(
        text: object,
        *,
        plain: bool = False,
        key: str = "",
        purpose: str = "",
        box: str | None = None,
    ):
        data = {
            "box": newest_number(at.bench) if box is None else box,
            "scan": str(text),
            "op_key": key or str(uuid.uuid4()),
            "purpose": purpose,
        }
        address = reverse("kitting:bench-scan", args=[at.bench.code])
        return client.post(address, data, headers={} if plain else hx)

    return send


@pytest.fixture
def undone(scan):
    """Scan ``ACT-UNDO``, and yes from the screen that it gives."""

    def send():
        asked = words(scan("ACT-UNDO")).split('name="purpose" value="')[1]
        return scan("ACT-YES", purpose=asked.split('"')[0])

    return send


# -- A scale that sends ----------------------------------------------------------------


@pytest.fixture
def clock(monkeypatch) -> Clock:
    found = Clock()
    monkeypatch.setattr(timezone, "now", lambda: found.now)
    monkeypatch.setattr(scales, "RECENT", {})
    return found


@pytest.fixture
def token(at, clock) -> str:
    weigh(at)
    by = sign()
    give_token(bench_id=at.bench.pk, sign=by)
    return token_of(by.key)


@pytest.fixture
def send(at, token, clock) -> Sender:
    return Sender(at, token, clock)
