"""``manage.py demo``: what it leaves alone, what it refuses, that it stays at home."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from django.conf import LazySettings
from django.core.exceptions import ImproperlyConfigured
from django.core.management import call_command
from django.core.management.base import CommandError
from django.db import connection
from django.test import Client

from kitting.models import (
    Workshop,
)
from lotward import server
from lotward.demo import room
from lotward.demo.people import PASSWORD, PEOPLE
from tests.demo import Demo, free_port

HOME = {"HTTP_HOST": "localhost", "REMOTE_ADDR": "127.0.0.1"}
EVERYWHERE = "0.0.0.0"  # noqa: S104 - to be refused


# -- Room for it --------------------------------------------------------------------


def test_an_earlier_demo_makes_room_and_takes_its_recorded_heads_along(
    demo: Demo,
) -> None:
    heads = demo.file.parent / "heads.txt"
    heads.write_text("1/1 " + "0" * 64 + "\n")
    room.make_room()
    assert not demo.file.exists()
    assert not heads.exists()


def test_a_real_workshop_is_left_alone(demo: Demo) -> None:
    Workshop.objects.update(demo=False, ahead_s=0)
    connection.close()
    before = demo.file.read_bytes()
    with pytest.raises(CommandError, match=r"\d\d\d operations, 7 users") as refused:
        call_command("demo", "--no-serve")
    assert "Allowed: an earlier demo" in str(refused.value)
    assert str(demo.file) in str(refused.value)
    assert demo.file.read_bytes() == before


def test_a_workshop_without_users_and_acts_makes_room(demo: Demo) -> None:
    with closing(sqlite3.connect(demo.file.with_name("empty.sqlite3"))) as other:
        other.executescript(
            "CREATE TABLE kitting_workshop (demo bool);"
            "INSERT INTO kitting_workshop VALUES (0);"
            "CREATE TABLE kitting_operation (id integer);"
            "CREATE TABLE kitting_user (username text);"
            "INSERT INTO kitting_user VALUES ('command-line')"
        )
        assert room.held_by_file(demo.file.with_name("empty.sqlite3")) is None
        other.execute("INSERT INTO kitting_user VALUES ('mira')")
        other.commit()
    held = room.held_by_file(demo.file.with_name("empty.sqlite3"))
    assert held is not None
    assert "0 operations, 1 users" in held


def test_files_of_other_kinds_are_left_alone(tmp_path: Path) -> None:
    letter = tmp_path / "letter.txt"
    letter.write_text("Dear ward, " * 100)
    assert "cannot be read" in (room.held_by_file(letter) or "")
    other = tmp_path / "other.sqlite3"
    with closing(sqlite3.connect(other)) as found:
        found.execute("CREATE TABLE recipes (cake text)")
    assert "not Lotward's" in (room.held_by_file(other) or "")
    nothing = tmp_path / "nothing.sqlite3"
    nothing.touch()
    assert room.held_by_file(nothing) is None


@pytest.mark.django_db
def test_a_database_server_with_work_in_it_is_left_alone(
    settings: LazySettings, django_user_model: type
) -> None:
    if connection.vendor == "sqlite":
        pytest.skip("an SQLite file is looked at without opening it for writing")
    settings.DATA_DIR = Path("demo")
    room.make_room()
    django_user_model.objects.create_user("somebody")  # type: ignore[attr-defined]
    with pytest.raises(CommandError, match="0 operations, 1 users"):
        room.make_room()


# -- At home ------------------------------------------------------------------------


def test_it_refuses_host_names_of_other_machines(
    demo: Demo, settings: LazySettings
) -> None:
    settings.ALLOWED_HOSTS = ["localhost", "kits.example"]
    with pytest.raises(CommandError) as refused:
        call_command("demo", "--no-serve")
    assert "LOTWARD_HOSTS is 'localhost,kits.example'" in str(refused.value)
    assert "Allowed: for a demo localhost, 127.0.0.1, [::1]" in str(refused.value)


def test_it_refuses_tls_and_ports_that_cannot_be(
    demo: Demo, settings: LazySettings
) -> None:
    settings.ALLOWED_HOSTS = ["localhost"]
    with pytest.raises(CommandError, match=r"--port is '80'\. Allowed: a whole number"):
        call_command("demo", "--port", "80")
    for day in ("today", "2026-02-30", "20260302", "2150-01-04"):
        with pytest.raises(CommandError, match=r"--today is .*Allowed: a day as YYYY"):
            call_command("demo", "--today", day)
    settings.TLS = True
    with pytest.raises(CommandError, match="LOTWARD_TLS is 'on'"):
        call_command("demo", "--no-serve")


@pytest.mark.parametrize("host", [EVERYWHERE, "192.0.2.7", "::", "kits.example"])
def test_the_server_does_not_listen_beyond_loopback(
    demo: Demo, monkeypatch: pytest.MonkeyPatch, host: str
) -> None:
    # Were it not refused, this test would end and not serve for good.
    monkeypatch.setattr(server.Server, "run", lambda self: None)
    monkeypatch.setattr(server, "call_command", lambda name, **kw: None)
    with pytest.raises(ImproperlyConfigured, match="Allowed: for a demo localhost"):
        server.serve(port=free_port(), host=host)


def test_a_real_workshop_may_be_served_to_its_tablets(
    demo: Demo, monkeypatch: pytest.MonkeyPatch
) -> None:
    Workshop.objects.update(demo=False, ahead_s=0)
    seen = []
    monkeypatch.setattr(server, "call_command", lambda name, **kw: None)
    monkeypatch.setattr(server.Server, "run", lambda self: seen.append(self.cfg.bind))
    port = free_port()
    server.serve(port=port, host=EVERYWHERE)
    assert seen == [[f"{EVERYWHERE}:{port}"]]


@pytest.mark.parametrize("name", PEOPLE)
def test_everybody_can_sign_in_at_home(demo: Demo, name: str) -> None:
    sent = {"username": name, "password": PASSWORD}
    assert Client(**HOME).post("/sign-in/", sent).status_code == 302


@pytest.mark.parametrize(
    "change", [{"REMOTE_ADDR": "192.0.2.7"}, {"HTTP_HOST": "kits.example"}]
)
def test_nobody_signs_in_from_beyond_whatever_serves_it(
    demo: Demo, settings: LazySettings, change: dict[str, str]
) -> None:
    settings.ALLOWED_HOSTS = ["localhost", "kits.example"]
    sent = {"username": "manager", "password": PASSWORD}
    client = Client(**{**HOME, **change})
    assert client.post("/sign-in/", sent).status_code == 403
    assert client.get("/sign-in/").status_code == 403
    Workshop.objects.update(demo=False, ahead_s=0)
    assert client.post("/sign-in/", sent).status_code == 302
