from __future__ import annotations

import os
import shlex
import sys
from collections.abc import Callable
from datetime import date
from types import ModuleType
from typing import Any, NoReturn

from django.conf import settings
from django.core.exceptions import ImproperlyConfigured
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import connection

from lotward import env, loopback
from lotward.demo import room
from lotward.demo.build import Built, build
from lotward.demo.people import PASSWORD, PEOPLE

WITHOUT_GUNICORN = """
gunicorn does not run on this system, so nothing is served yet. To look at the demo, set
LOTWARD_DATA_DIR as above and serve it with Django's own server:
    python manage.py collectstatic --noinput
    python manage.py runserver 127.0.0.1:{port}
and beside it, for label printers:
    python manage.py printworker"""


class Command(BaseCommand):
    help = (
        "Builds the demo workshop in a fresh database of its own and serves it on"
        " loopback. An earlier demo is replaced; no other database is touched."
    )
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--no-serve", action="store_true", help="build only")
        parser.add_argument(
            "--port", help=f"port to serve on, {settings.PORT} when not given"
        )
        parser.add_argument(
            "--today",
            help="the day that it is for the demo, as YYYY-MM-DD; this one when not given",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            self._handle(
                serve=not options["no_serve"],
                port=options["port"],
                today=env.day({"--today": options["today"] or ""}, "--today"),
            )
        except ImproperlyConfigured as error:
            raise CommandError(str(error)) from error

    def _handle(self, *, serve: bool, port: str | None, today: date | None) -> None:
        wanted = {"--port": port or ""}
        number = env.port(wanted, "--port", default=settings.PORT)
        loopback.refuse_names_beyond(settings.ALLOWED_HOSTS)
        if settings.TLS:
            env.refuse("LOTWARD_TLS", "on", "off: a demo is served without TLS")
        if room.folder() != settings.DATA_DIR:
            _start_again_in_its_own_folder(serve=serve, port=number, today=today)
        server = _server() if serve else None
        if server is not None:
            server.refuse_taken(number)
        room.make_room()
        self._tell(_build(self.stdout.write, today))
        if server is not None:
            self.stdout.write(f"\nServing on http://127.0.0.1:{number}/ (Ctrl+C ends)")
            self.stdout.flush()
            with server.print_worker_beside():
                server.serve(port=number)
        elif serve:
            self.stdout.write(WITHOUT_GUNICORN.format(port=number))

    def _tell(self, built: Built) -> None:
        variables = " ".join(
            f"{name}={shlex.quote(value)}" for name, value in room.environment().items()
        )
        self.stdout.write(
            f"Harrow Lane Workshop: {built.lots} lots, {built.bags} bags,"
            f" {built.runs} runs, {built.boxes} boxes, {built.shipments} shipments.\n"
            f"Journal: {built.acts:,} acts, newest link {built.head}\n\n"
            "Sign in as\n"
            + "".join(f"    {name:10} {role}\n" for name, role in PEOPLE.items())
            + f"each with the password: {PASSWORD}\n\n"
            "Other commands reach this demo with its data folder named:\n"
            f"    {variables} {shlex.quote(sys.executable)} manage.py prove"
        )


def _server() -> ModuleType | None:
    """The production server; None on a system that has no such thing as a fork."""
    try:
        from lotward import server
    except ImportError:
        return None
    return server


def _build(say: Callable[[str], object], today: date | None) -> Built:
    """Migrate and build; until it is done, nothing needs to outlive a power cut."""
    if connection.vendor == "sqlite":
        env.make_private(connection.settings_dict["NAME"])
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA synchronous=OFF")
    call_command("migrate", interactive=False, verbosity=0)
    built = build(say, today=today)
    if connection.vendor == "sqlite":
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA synchronous=FULL")
            cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    connection.close()
    return built


def _start_again_in_its_own_folder(
    *, serve: bool, port: int, today: date | None
) -> NoReturn:
    """Become the same command with the demo's data folder in the environment.

    So the real database is never opened, and whatever the server starts finds the demo.
    """
    command = [sys.executable, str(settings.BASE_DIR / "manage.py"), "demo"]
    command += ["--port", str(port)] if serve else ["--no-serve"]
    command += ["--today", today.isoformat()] if today else []
    sys.stdout.flush()
    os.environ["LOTWARD_DATA_DIR"] = str(room.folder())
    os.execv(command[0], command)  # noqa: S606 - our own interpreter and command
