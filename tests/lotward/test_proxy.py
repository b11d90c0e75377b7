"""The documented deployment: nginx in front with TLS, the server of the unit behind it.

nginx is Debian's package; its configuration and the server's command are those of
``docs/``, but for ports, folders and a certificate that signs itself.
"""

from __future__ import annotations

import http.client
import os
import shlex
import shutil
import socket
import ssl
import subprocess
import sys
import urllib.parse
from collections.abc import Iterator
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

import pytest

from tests.demo import copy_of, free_port
from tests.lotward.test_deploying import DOCS, unit
from tests.patience import PATIENCE_S, until
from tests.trees import ROOT

HOST = "lotward.example"
PATH = f"{os.environ.get('PATH', '')}:/usr/sbin"
HALF_SENT = 20
"""Requests that begin and do not end, as in the finding."""
WORKERS, THREADS = 2, 4
"""Of the unit: so many could be kept waiting at once by nothing."""


@dataclass(frozen=True)
class Deployed:
    """A workshop's server with its proxy."""

    secure: int
    plain: int

    def connect(self, me: str = "127.0.0.1") -> ssl.SSLSocket:
        raw = socket.create_connection(
            ("127.0.0.1", self.secure), timeout=PATIENCE_S, source_address=(me, 0)
        )
        trusting = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
        trusting.check_hostname = False
        trusting.verify_mode = ssl.CERT_NONE  # it signed itself
        return trusting.wrap_socket(raw, server_hostname=HOST)

    def ask(
        self, method: str, path: str, *, me: str = "127.0.0.1", **headers: str
    ) -> http.client.HTTPResponse:
        """One request over TLS, from an address of this machine."""
        body = headers.pop("body", None)
        held = self.connect(me)
        connection = http.client.HTTPConnection(HOST, timeout=PATIENCE_S)
        connection.sock = held
        named = {name.replace("_", "-"): value for name, value in headers.items()}
        connection.request(method, path, body, {"Host": HOST, **named})
        answer = connection.getresponse()
        answer.read()
        connection.close()
        return answer

    def answers(self) -> bool:
        try:
            return self.ask("GET", "/health/").status == 200
        except OSError:
            return False


def certificate(folder: Path) -> tuple[Path, Path]:
    key, signed = folder / "lotward.key", folder / "lotward.pem"
    subprocess.run(
        [
            *("openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2"),
            *("-subj", f"/CN={HOST}", "-keyout", key, "-out", signed),
        ],
        check=True,
        capture_output=True,
    )
    return key, signed


def configuration(folder: Path, server: int, plain: int, secure: int) -> Path:
    """What the page gives, with the ports and folders of this test."""
    key, signed = certificate(folder)
    site = (DOCS / "lotward.nginx").read_text()
    for documented, here in (
        ("listen 80;", f"listen 127.0.0.1:{plain};"),
        ("listen 443 ssl;", f"listen 127.0.0.1:{secure} ssl;"),
        ("http://127.0.0.1:8000", f"http://127.0.0.1:{server}"),
        ("/etc/ssl/private/lotward.key", str(key)),
        ("/etc/ssl/certs/lotward.pem", str(signed)),
    ):
        assert site.count(documented) == 1
        site = site.replace(documented, here)
    kinds = ("client_body", "proxy", "fastcgi", "uwsgi", "scgi")
    paths = "".join(f"{kind}_temp_path {folder}/{kind};\n" for kind in kinds)
    user = "user root;\n" if os.geteuid() == 0 else ""
    whole = folder / "nginx.conf"
    whole.write_text(
        f"daemon off;\n{user}worker_processes 1;\npid {folder}/nginx.pid;\n"
        f"error_log {folder}/error.log;\nevents {{ }}\n"
        f"http {{\naccess_log off;\n{paths}{site}}}\n"
    )
    return whole


@pytest.fixture(scope="module")
def deployed(
    tmp_path_factory: pytest.TempPathFactory, migrated: Path
) -> Iterator[Deployed]:
    nginx = shutil.which("nginx", path=PATH)
    if nginx is None:
        pytest.skip("nginx is not on this machine: see .ci/programs")
    folder = tmp_path_factory.mktemp("deployed")
    copy_of(migrated, folder)
    server, plain, secure = free_port(), free_port(), free_port()
    program, *options = shlex.split(
        unit(DOCS / "lotward.service")["Service"]["ExecStart"]
    )
    assert (Path(program).name, options[0]) == ("gunicorn", "lotward.wsgi")
    bound = [word.replace("127.0.0.1:8000", f"127.0.0.1:{server}") for word in options]
    assert bound != options
    clean = {n: v for n, v in os.environ.items() if not n.startswith("LOTWARD_")}
    settings = {
        "DJANGO_SETTINGS_MODULE": "tests.deployed",
        "LOTWARD_DATA_DIR": str(folder),
        "LOTWARD_HOSTS": HOST,
        "LOTWARD_PROXY": "127.0.0.1",
        "LOTWARD_TLS": "on",
    }
    subprocess.run(
        [sys.executable, "manage.py", "collectstatic", "--noinput", "--verbosity", "0"],
        cwd=ROOT,
        env={**clean, **settings},
        check=True,
    )
    with ExitStack() as stack:
        for command in (
            [str(ROOT / ".venv" / "bin" / "gunicorn"), *bound],
            [
                nginx,
                "-p",
                str(folder),
                "-c",
                str(configuration(folder, server, plain, secure)),
            ],
        ):
            with (folder / f"{Path(command[0]).name}.log").open("w") as log:
                process = subprocess.Popen(
                    command, cwd=ROOT, env={**clean, **settings}, stdout=log, stderr=log
                )
            stack.callback(process.wait, PATIENCE_S)
            stack.callback(process.terminate)
        made = Deployed(secure, plain)
        assert until(made.answers), (folder / "nginx.log").read_text()
        yield made


def test_everything_goes_over_tls(deployed: Deployed) -> None:
    connection = http.client.HTTPConnection("127.0.0.1", deployed.plain)
    connection.request("GET", "/recall/", headers={"Host": HOST})
    answer = connection.getresponse()
    connection.close()
    assert (answer.status, answer.headers["Location"]) == (
        301,
        f"https://{HOST}/recall/",
    )
    page = deployed.ask("GET", "/sign-in/")
    assert page.status == 200
    assert page.headers["Strict-Transport-Security"]
    assert "secure" in page.headers["Set-Cookie"].lower()


def still_waits(connection: ssl.SSLSocket) -> bool:
    """Whether the proxy neither answered nor gave it up."""
    connection.settimeout(0)
    try:
        return connection.recv(1) is None
    except (ssl.SSLWantReadError, BlockingIOError):
        return True


def test_twenty_requests_that_are_sent_by_half_keep_nobody_waiting(
    deployed: Deployed,
) -> None:
    assert HALF_SENT > WORKERS * THREADS
    options = unit(DOCS / "lotward.service")["Service"]["ExecStart"]
    assert f"--workers {WORKERS} --threads {THREADS}" in options
    half = (
        f"POST /sign-in/ HTTP/1.1\r\nHost: {HOST}\r\nContent-Length: 1000\r\n"
        "Content-Type: application/x-www-form-urlencoded\r\n"
    )
    held = [deployed.connect() for _ in range(HALF_SENT)]
    for nth, connection in enumerate(held):  # some stop in the head, some in the body
        connection.sendall(
            half.encode() if nth % 2 else f"{half}\r\nusername=".encode()
        )
    assert deployed.ask("GET", "/health/").status == 200
    assert all(still_waits(connection) for connection in held)  # none was given up
    for connection in held:
        connection.close()


def test_a_body_that_is_too_large_ends_at_the_proxy(deployed: Deployed) -> None:
    with deployed.connect() as held:
        head = f"POST /sign-in/ HTTP/1.1\r\nHost: {HOST}\r\nContent-Length: 7000000\r\n\r\n"
        held.sendall(head.encode())
        assert b" 413 " in held.recv(1_000)


def sign_in(deployed: Deployed, me: str, **headers: str) -> int:
    """A wrong password for one name, from an address."""
    page = deployed.ask("GET", "/sign-in/", me=me)
    cookie = page.headers["Set-Cookie"].split(";")[0]
    token = cookie.partition("=")[2]
    sent = {"username": "mira", "password": "wrong", "csrfmiddlewaretoken": token}
    return deployed.ask(
        "POST",
        "/sign-in/",
        me=me,
        body=urllib.parse.urlencode(sent),
        Cookie=cookie,
        Referer=f"https://{HOST}/sign-in/",
        Content_Type="application/x-www-form-urlencoded",
        **headers,
    ).status


def test_real_addresses_come_through_and_none_that_a_visitor_wrote(
    deployed: Deployed,
) -> None:
    """Five wrong passwords lock a name from one address, and from no other."""
    first = [
        sign_in(deployed, "127.0.0.2", X_Forwarded_For="10.9.8.7") for _ in range(6)
    ]
    assert first[0] in (200, 422)
    assert first[-1] in (403, 429)
    assert sign_in(deployed, "127.0.0.3") == first[0]
    assert sign_in(deployed, "127.0.0.2", X_Forwarded_For="127.0.0.3") == first[-1]
