"""The production server, started as a process of its own and asked for pages."""

from __future__ import annotations

import gzip
import os
import signal
import socket
import subprocess
import sys
import urllib.error
import urllib.request
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from django.core.exceptions import ImproperlyConfigured

from lotward import server
from tests.demo import copy_of
from tests.patience import PATIENCE_S, until
from tests.trees import ROOT

PROGRAM = """
import sys, django
django.setup()
from django.db import connection
from lotward import server
print([connection.cursor().execute(f"PRAGMA {name}").fetchone()[0]
    for name in ("journal_mode", "synchronous")], flush=True)
server.serve(port=int(sys.argv[1]))
"""


@dataclass(frozen=True)
class Running:
    process: subprocess.Popen[bytes]
    url: str
    pragmas: bytes

    def get(self, path: str, **headers: str) -> tuple[int, dict[str, str], bytes]:
        request = urllib.request.Request(f"{self.url}{path}", headers=headers)
        try:
            with urllib.request.urlopen(request, timeout=PATIENCE_S) as answer:
                return answer.status, dict(answer.headers), answer.read()
        except urllib.error.HTTPError as error:
            return error.code, dict(error.headers), error.read()

    def answers(self) -> bool:
        try:
            return self.get("/health/")[0] == 200
        except OSError:
            return False


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind((server.LOOPBACK, 0))
        return probe.getsockname()[1]


@pytest.fixture(scope="module")
def running(
    tmp_path_factory: pytest.TempPathFactory, migrated: Path
) -> Iterator[Running]:
    port = free_port()
    data = tmp_path_factory.mktemp("data")
    copy_of(migrated, data)
    clean = {n: v for n, v in os.environ.items() if not n.startswith("LOTWARD_")}
    process = subprocess.Popen(
        [sys.executable, "-c", PROGRAM, str(port)],
        cwd=ROOT,
        env={
            **clean,
            "DJANGO_SETTINGS_MODULE": "lotward.settings",
            "LOTWARD_DATA_DIR": str(data),
        },
        stdout=subprocess.PIPE,
    )
    assert process.stdout
    with process:
        said = process.stdout.readline()
        found = Running(process, f"http://{server.LOOPBACK}:{port}", said)
        assert until(found.answers)
        yield found
        process.send_signal(signal.SIGTERM)
        process.wait(PATIENCE_S)


def test_it_answers_with_hashed_static_files_that_may_be_kept(running: Running) -> None:
    status, _headers, body = running.get("/sign-in/")
    assert status == 200
    hrefs = [part.split(b'"')[0].decode() for part in body.split(b'href="')[1:]]
    sheet = next(href for href in hrefs if href.endswith(".css"))
    status, headers, sheet_bytes = running.get(sheet, **{"Accept-Encoding": "gzip"})
    assert status == 200
    assert "immutable" in headers["Cache-Control"]
    assert headers["Content-Encoding"] == "gzip"
    # Compressed once, when it was collected, and not again on its way.
    assert gzip.decompress(sheet_bytes) == (ROOT / "static/lotward.css").read_bytes()


def test_it_refuses_a_host_that_is_not_its_own(running: Running) -> None:
    assert running.get("/health/", Host="elsewhere.example")[0] == 400


def test_static_files_carry_the_content_security_policy(running: Running) -> None:
    assert (
        "default-src 'self'" in running.get("/sign-in/")[1]["Content-Security-Policy"]
    )


def test_its_files_keep_what_was_acknowledged_through_a_power_cut(
    running: Running,
) -> None:
    # https://www.sqlite.org/pragma.html#pragma_synchronous: 2 is FULL.
    assert running.pragmas == b"['wal', 2]\n"


def test_a_port_that_is_taken_is_refused_by_its_name() -> None:
    with socket.socket() as other:
        other.bind((server.LOOPBACK, 0))
        other.listen()
        port = other.getsockname()[1]
        with pytest.raises(ImproperlyConfigured, match=f"LOTWARD_PORT is {port}"):
            server.refuse_taken(port)


def test_serving_collects_the_static_files_and_starts_on_loopback(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    # The process above runs it for good; here is what coverage can see of it.
    seen = []
    monkeypatch.setattr(server, "call_command", lambda name, **kw: seen.append(name))
    monkeypatch.setattr(server.connections, "close_all", lambda: seen.append("closed"))
    monkeypatch.setattr(server.Server, "run", lambda self: seen.append(self.cfg.bind))
    port = free_port()
    server.serve(port=port)
    assert seen == ["collectstatic", "closed", [f"127.0.0.1:{port}"]]
    assert callable(server.Server({}).load())
