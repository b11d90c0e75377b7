"""Ten benches that scan at once, without pause, through the server of the README."""

from __future__ import annotations

import http.client
import re
import socket
import statistics
import subprocess
import sys
import threading
import time
import uuid
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path
from urllib.parse import urlencode

from django.db import connections
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from benchmarks.bench import SETS
from benchmarks.measure import Row, ms, seconds
from kitting.models import Bench, Box
from tests import benches, factories

GTIN = "09521234000105"
"""One that the filled database has not."""
BENCHES = 10
BOXES = 8
"""How many each of them packs."""
PATIENCE_S = 30
HOST = "127.0.0.1"
_BOX = re.compile(r'name="box" value="([^"]*)"')


@contextmanager
def _server() -> Iterator[int]:
    """The server, started as the README says; gives its port."""
    with closing(socket.create_server((HOST, 0))) as probe:
        port = probe.getsockname()[1]
    gunicorn = [str(Path(sys.executable).with_name("gunicorn")), "lotward.wsgi"]
    options = ["--workers", "2", "--threads", "4", "--no-control-socket"]
    beside = ["--bind", f"{HOST}:{port}", "--log-level", "warning"]
    server = subprocess.Popen([*gunicorn, *options, *beside])  # noqa: S603 - our own
    try:
        yield port
    finally:
        server.terminate()
        server.wait(PATIENCE_S)


class Tablet:
    """One that scans at a bench of its own as soon as it is answered."""

    def __init__(self, at: benches.Packing, bench: Bench, port: int) -> None:
        self.at, self.port = at, port
        self.path = reverse("kitting:bench-scan", args=[bench.code])
        needs = ((at.band, SETS), (at.visor, 2 * SETS), (at.manual, 1))
        self.bags = [
            [benches.bag_of(part, many).number for part, many in needs]
            for _box in range(BOXES)
        ]
        client = Client()
        client.force_login(
            factories.make_person("packer"), backend="lotward.rights.RightsBackend"
        )
        client.get(reverse("kitting:bench", args=[bench.code]))
        self.cookies = {name: one.value for name, one in client.cookies.items()}
        self.box = ""
        self.taken: dict[str, list[float]] = {"scan": [], "close": []}
        self.wrong: list[str] = []

    def scan(self, text: str, kind: str = "scan") -> None:
        fields = {"scan": text, "box": self.box, "op_key": str(uuid.uuid4())}
        headers = {
            "Content-Type": "application/x-www-form-urlencoded",
            "Cookie": "; ".join(f"{k}={v}" for k, v in self.cookies.items()),
            "X-CSRFToken": self.cookies["lotward_csrf"],
            "HX-Request": "true",
        }
        answers = []

        def post() -> None:
            asked = http.client.HTTPConnection(HOST, self.port, timeout=PATIENCE_S)
            with closing(asked):
                asked.request("POST", self.path, urlencode(fields), headers)
                answer = asked.getresponse()
                answers.append((answer.status, answer.read().decode()))

        self.taken[kind].append(seconds(post))
        status, page = answers[0]
        shown = _BOX.search(page)
        if status != 200 or shown is None:
            self.wrong.append(f"{text}: {status}")
            return
        self.box = shown[1]

    def pack(self) -> None:
        for bags in self.bags:
            self.scan(f"ACT-BOX-{self.at.recipe.product.code}-{SETS}")
            for bag in bags:
                self.scan(bag)
            self.scan("ACT-CLOSE", "close")
            box = Box.objects.get(number=self.box)
            self.scan(f"]C100{box.sscc}")


def rows() -> Iterator[Row]:
    """Let ten tablets pack at once, in a database that is full already."""
    factories.NOW = timezone.now()
    factories.TODAY = factories.NOW.date()
    at = benches.make_packing(pieces=SETS, sets=SETS, gtin=GTIN)
    with _server() as port:
        _wait_for(port)
        tablets = [
            Tablet(at, factories.make_bench(), port) for _tablet in range(BENCHES)
        ]
        alone = Tablet(at, factories.make_bench(), port)
        one = seconds(alone.pack) / BOXES
        threads = [threading.Thread(target=_pack, args=(each,)) for each in tablets]
        many = seconds(lambda: _run(threads)) / (BENCHES * BOXES)
    wrong = [each for tablet in (alone, *tablets) for each in tablet.wrong]
    assert not wrong, wrong
    for kind, limit in (("scan", "none over 1 s"), ("close", "95 of 100 ≤ 500 ms")):
        taken = sorted(t for tablet in tablets for t in tablet.taken[kind])
        most = taken[-1] if kind == "scan" else statistics.quantiles(taken, n=20)[-1]
        usual = statistics.median(alone.taken[kind])
        yield Row(
            f"{kind}, {BENCHES} benches at once without pause",
            f"{ms(statistics.median(taken))} median, {ms(most)} "
            + ("at most" if kind == "scan" else "95 of 100"),
            f"one bench alone {ms(usual)}",
            f"{statistics.median(taken) / usual:.1f} × the time",
            limit,
        )
    yield Row(
        f"boxes an hour, {BENCHES} benches at once",
        f"{3600 / many:,.0f}",
        f"one bench alone {3600 / one:,.0f}",
        f"{one / many:.2f} × as many",
    )


def _pack(tablet: Tablet) -> None:
    try:
        tablet.pack()
    finally:
        connections.close_all()  # this thread's own


def _run(threads: list[threading.Thread]) -> None:
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()


def _wait_for(port: int) -> None:
    until = time.monotonic() + PATIENCE_S
    while time.monotonic() < until:
        with suppress(OSError), closing(socket.create_connection((HOST, port))):
            return
        time.sleep(0.1)
    raise TimeoutError
