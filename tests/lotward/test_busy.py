"""A bench that waits too long for what another one has locked: the same again, once."""

from __future__ import annotations

import re
import threading
import uuid
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import timedelta
from typing import Any

import pytest
from django.db import DatabaseError, connection, transaction
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from kitting.ledger import failing, locking
from kitting.ledger.operations import Sign
from kitting.lots.services.blanks import give_out_numbers
from kitting.models import Bag, BoxLine, JournalHead, Operation
from lotward import env
from tests import factories
from tests.benches import Packing, make_packing, page_of
from tests.concurrency.threads import at_once
from tests.demo import pointed_at
from tests.patience import PATIENCE_S

pytestmark = [pytest.mark.smoke, pytest.mark.django_db(transaction=True)]

ON_SQLITE = connection.vendor == "sqlite"


@pytest.fixture(autouse=True)
def _impatient() -> Iterator[None]:
    """As the settings have it, but for how long is waited."""
    options = dict(connection.settings_dict["OPTIONS"])
    if ON_SQLITE:
        options["timeout"] = 0.05
    else:
        limits = options["options"]
        options["options"] = limits.replace(f"={env.BUSY_S}s", "=50ms")
        assert options["options"] != limits
    with pointed_at({**connection.settings_dict, "OPTIONS": options}):
        yield


@pytest.fixture
def at(monkeypatch: pytest.MonkeyPatch) -> Packing:
    later = factories.NOW + timedelta(minutes=15)
    monkeypatch.setattr(timezone, "now", lambda: later)
    at = make_packing()
    factories.make_open_box(at.size, at.bench)
    return at


@pytest.fixture
def client(at: Packing) -> Client:
    client = Client(raise_request_exception=False)
    client.force_login(factories.make_person("packer"), "lotward.rights.RightsBackend")
    return client


@contextmanager
def held(lock: Callable[[], object]) -> Iterator[None]:
    """Let another connection keep a lock for as long as this lasts."""
    has, enough = threading.Event(), threading.Event()

    def hold() -> None:
        with transaction.atomic():
            lock()
            has.set()
            assert enough.wait(PATIENCE_S)

    thread = threading.Thread(target=lambda: results.extend(at_once([hold]).errors))
    results: list[BaseException] = []
    thread.start()
    try:
        assert has.wait(PATIENCE_S)
        yield
    finally:
        enough.set()
        thread.join(PATIENCE_S)
    assert results == []


def scan(client: Client, at: Packing, sent: dict[str, str], **headers: str) -> Any:
    address = reverse("kitting:bench-scan", args=[at.bench.code])
    return client.post(address, sent, headers=headers)


def of(at: Packing) -> dict[str, str]:
    box = at.bench.boxes.get().number
    key = str(uuid.uuid4())
    return {"box": box, "scan": at.band_bag.number, "op_key": key, "word": "“&” 5 %"}


LOCKS: dict[str, Callable[[Packing], object]] = {
    "the bag": lambda at: locking.lock_row(Bag, at.band_bag.pk),
    "the gate": lambda at: locking.shut_gate(),
    "the journal": lambda at: locking.lock_head(JournalHead.objects.get()),
}


@pytest.mark.parametrize("lock", LOCKS.values(), ids=LOCKS)
def test_what_is_locked_too_long_is_told_and_the_same_again_is_done_once(
    lock: Callable[[Packing], object], at: Packing, client: Client, hx: dict[str, str]
) -> None:
    sent = of(at)
    with held(lambda: lock(at)):
        for address in (page_of(at), reverse("kitting:lots"), reverse("dispatch:log")):
            assert client.get(address).status_code == 200, address
        page, part = scan(client, at, sent), scan(client, at, sent, **hx)
        unnamed = scan(client, at, {**sent, "password": "secret"}).content.decode()
    assert (page.status_code, part.status_code) == (503, 503)
    assert part.content.decode().startswith("The record is busy")
    text = page.content.decode()
    assert "The record is busy" in text
    assert "Nothing of what you sent was recorded." in text
    assert "secret" not in unnamed
    assert "The same again" not in unnamed
    again = dict(re.findall(r'type="hidden" name="(\w+)" value="([^"]*)"', text))
    assert again.pop("word") == "“&amp;” 5 %"
    assert again == {name: sent[name] for name in again}
    assert again["op_key"] == sent["op_key"]
    for _time in range(2):
        answer = scan(client, at, again, **hx)
        assert answer.status_code == 200, answer.content
    assert Operation.objects.filter(key=uuid.UUID(again["op_key"]).bytes).count() == 1
    assert BoxLine.objects.get().pieces == 6
    assert factories.prove() == []


def test_the_same_sent_twice_waits_for_the_first_no_longer_than_for_others(
    at: Packing,
) -> None:
    """A tablet that asks again while its first question still hangs."""
    sign = factories.sign()

    def first() -> None:
        Operation.objects.create(
            site=1,
            key=sign.key.bytes,
            name="hangs",
            mark=bytes(32),
            by=sign.by,
            by_name="x",
            at=factories.NOW,
        )

    def same() -> None:
        give_out_numbers(count=1, sign=Sign(by=sign.by, key=sign.key))

    with held(first), pytest.raises(DatabaseError) as caught:
        same()
    refused = failing.why(caught.value)
    assert refused is not None
    assert refused.code == "database_busy"


def rest() -> None:
    with transaction.atomic():
        assert JournalHead.objects.exists()
        threading.Event().wait(1)
        assert JournalHead.objects.exists()


@pytest.mark.skipif(ON_SQLITE, reason="one process ends with its locks there")
def test_a_process_that_is_gone_holds_its_locks_for_a_minute_at_most() -> None:
    config = env.database(
        {"LOTWARD_DATABASE_URL": "postgresql://localhost/lots"},
        "LOTWARD_DATABASE_URL",
        folder=None,  # type: ignore[arg-type]  # not of SQLite
    )
    options = {"options": config["OPTIONS"]["options"].replace("=60s", "=100ms")}
    with pointed_at({**connection.settings_dict, "OPTIONS": options}):
        with pytest.raises(DatabaseError) as caught:
            rest()
        connection.close()
        refused = failing.why(caught.value)
        assert refused is not None
        assert refused.code == "database_busy"
        with locking.snapshot():  # a long read may rest
            rest()
