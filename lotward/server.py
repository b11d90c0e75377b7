"""The production server in this process: gunicorn with the settings that were measured.

``manage.py demo`` serves with it; so can a service of the system, in place of a
command line of gunicorn.
"""

from __future__ import annotations

import os
import socket
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from typing import Any

from django.conf import settings
from django.core.handlers.wsgi import WSGIHandler
from django.core.management import call_command
from django.db import connections
from gunicorn.app.base import BaseApplication

from lotward.env import refuse
from lotward.loopback import refuse_demo_beyond

LOOPBACK = "127.0.0.1"
WORKER_ENDS_S = 5.0
"""How long a print worker is waited for. It may be ended in the middle of a step: what
it did stands in the print jobs."""

OPTIONS: dict[str, Any] = {
    "workers": 2,
    "worker_class": "gthread",
    "threads": 4,
    "control_socket_disable": True,
    "loglevel": "warning",
}


class Server(BaseApplication):  # type: ignore[misc]
    """Gunicorn without its command line."""

    def __init__(self, options: dict[str, Any]) -> None:
        self.options = options
        super().__init__()

    def load_config(self) -> None:
        for name, value in self.options.items():
            self.cfg.set(name, value)

    def load(self) -> WSGIHandler:
        from lotward.wsgi import application

        return application


def refuse_taken(port: int, *, host: str = LOOPBACK) -> None:
    """Refuse a port on which another program listens."""
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except OSError:
            refuse("LOTWARD_PORT", port, "a port that no other program listens on")


def serve(*, port: int, host: str = LOOPBACK) -> None:
    """Collect the static files and serve until a signal ends the process."""
    refuse_demo_beyond(host)
    refuse_taken(port, host=host)
    call_command("collectstatic", interactive=False, verbosity=0)
    connections.close_all()  # No worker may share a connection with another.
    Server({**OPTIONS, "bind": f"{host}:{port}"}).run()


@contextmanager
def print_worker_beside() -> Iterator[subprocess.Popen[bytes]]:
    """Let a print worker run beside this process, and end with it whatever ends it.

    It has a session of its own, so that Ctrl+C is for the server alone, which then ends
    it. Where this process has no time for that, the worker sees that it has gone.
    """
    beside = os.getpid()
    command = [sys.executable, str(settings.BASE_DIR / "manage.py"), "printworker"]
    worker = subprocess.Popen(  # noqa: S603 - our own interpreter and command
        # As the server beside it: to check pages, all of them would be loaded.
        [*command, "--beside", str(beside), "--skip-checks"],
        stdin=subprocess.DEVNULL,
        start_new_session=True,
    )
    try:
        yield worker
    finally:
        # A server's process that was forked off here leaves by this way, too.
        if os.getpid() == beside:
            worker.terminate()
            with suppress(subprocess.TimeoutExpired):
                worker.wait(WORKER_ENDS_S)
            worker.kill()
