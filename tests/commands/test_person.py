"""People from the command line: added with a role, closed, opened; in the journal."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from django.test import Client

from kitting.domain.errors import LotwardError, OperationKeyReused
from kitting.ledger.proof import prove
from kitting.ledger.setup import COMMAND_LINE, ROLES
from kitting.models import Link, Operation, User
from kitting.people.services import accounts as services
from tests.assertions import assert_refused
from tests.factories import sign

pytestmark = pytest.mark.django_db

PASSWORD = "seven lamps in a row"


def signed_in(name: str, password: str = PASSWORD) -> Client | None:
    """A browser in which the person is signed in; None where the door stays shut."""
    client = Client()
    sent = {"username": name, "password": password}
    return client if client.post("/sign-in/", sent).status_code == 302 else None


def add(name: str = "packer-2", role: str = "packer", password: str = PASSWORD, **by):
    return services.add_person(name=name, role=role, password=password, sign=sign(**by))


@pytest.mark.parametrize("role", ROLES)
def test_a_person_gets_the_rights_of_the_role_and_may_sign_in(role: str) -> None:
    add(role=role)
    person = User.objects.get(username="packer-2")
    assert person.has_perms([f"kitting.{name}" for name in ROLES[role]])
    assert not (person.is_staff)
    assert not (person.is_superuser)
    assert signed_in("packer-2")


def test_the_journal_names_who_was_added_and_keeps_no_password() -> None:
    add()
    done = Operation.objects.get()
    assert done.name == "add_person"
    outcome = Link.objects.get(operation=done).outcome
    assert json.loads(outcome) == {"name": "packer-2", "role": "packer", "open": True}


def test_the_same_act_sent_again_adds_nobody() -> None:
    one = sign()
    first, again = (
        services.add_person(name="p", role="packer", password=PASSWORD, sign=one)
        for _ in range(2)
    )
    assert first == again
    with pytest.raises(OperationKeyReused):
        services.add_person(name="q", role="packer", password=PASSWORD, sign=one)
    assert not User.objects.filter(username="q").exists()


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"role": "surgeon"}, "role_unknown"),
        ({"name": "TESTER"}, "person_exists"),
        ({"name": ""}, "person_name_wrong"),
        ({"name": "a b"}, "person_name_wrong"),
        ({"name": "x" * 151}, "person_name_wrong"),
        ({"password": ""}, "password_weak"),
        ({"password": "12345678"}, "password_weak"),
        ({"password": "packer-2"}, "password_weak"),
    ],
)
def test_what_makes_no_person_is_refused(changes: dict[str, str], code: str) -> None:
    by = sign()
    before = User.objects.count()
    with pytest.raises(LotwardError) as error:
        services.add_person(
            **{"name": "packer-2", "role": "packer", "password": PASSWORD, **changes},
            sign=by,
        )
    assert_refused(error.value, code)
    assert User.objects.count() == before
    assert not Operation.objects.exists()


def test_a_closed_account_is_signed_out_and_opens_again() -> None:
    add()
    client = signed_in("packer-2")
    assert client is not None
    assert client.get("/").status_code == 200
    closed = services.open_account(name="packer-2", open=False, sign=sign())
    assert (closed.role, closed.open) == ("packer", False)
    assert client.get("/").status_code == 302
    assert signed_in("packer-2") is None
    services.open_account(name="packer-2", open=True, sign=sign())
    assert signed_in("packer-2")
    assert [done.name for done in Operation.objects.order_by("pk")] == [
        "add_person",
        "open_account",
        "open_account",
    ]


def test_nobody_is_closed_who_is_not_there() -> None:
    with pytest.raises(LotwardError) as error:
        services.open_account(name="nobody", open=False, sign=sign())
    assert_refused(error.value, "person_unknown")


@pytest.mark.parametrize(
    ("name", "password", "code"),
    [
        ("packer-2", "12345678", "password_weak"),
        ("packer-2", "packer-2", "password_weak"),
        ("nobody", PASSWORD, "person_unknown"),
        (COMMAND_LINE, PASSWORD, "person_unknown"),
    ],
)
def test_a_password_that_will_not_do_is_not_set(
    name: str, password: str, code: str
) -> None:
    add()
    with pytest.raises(LotwardError) as error:
        services.set_password(name=name, password=password, sign=sign())
    assert_refused(error.value, code)
    assert Operation.objects.get().name == "add_person"


# -- The command --------------------------------------------------------------------


@pytest.fixture
def typed(monkeypatch):
    """Answer the questions for a password, one after the other."""

    def answers(*given: str) -> None:
        left = list(given)
        monkeypatch.setattr("getpass.getpass", lambda _prompt: left.pop(0))

    return answers


def test_the_command_asks_twice_and_adds(typed, capsys) -> None:
    typed(PASSWORD, PASSWORD)
    call_command("person", "clerk-2", role="clerk")
    said = capsys.readouterr().out
    assert said == "clerk-2 may sign in as clerk.\n"
    assert signed_in("clerk-2")
    assert Operation.objects.get().by_name == "command line"
    call_command("person", "clerk-2", off=True)
    assert capsys.readouterr().out == "The account of clerk-2 is closed.\n"
    call_command("person", "clerk-2", on=True)
    assert capsys.readouterr().out == "The account of clerk-2 is open.\n"


def test_the_command_gives_another_role(capsys) -> None:
    add()
    call_command("person", "packer-2", new_role="clerk")
    assert capsys.readouterr().out == "packer-2 works as clerk from now on.\n"
    assert User.objects.get(username="packer-2").has_perm("kitting.send_boxes")
    for name, role, words in (
        ("packer-2", "king", "is no role"),
        ("nobody", "clerk", "There is no person"),
    ):
        with pytest.raises(CommandError, match=words):
            call_command("person", name, new_role=role)


def test_a_lost_password_is_set_anew_by_an_act(typed, capsys) -> None:
    add()
    client = signed_in("packer-2")
    assert client is not None
    new = "seven lamps and a half"
    typed(new, new)
    call_command("person", "packer-2", new_password=True)
    assert "set anew" in capsys.readouterr().out
    assert client.get("/").status_code == 302
    assert signed_in("packer-2") is None
    assert signed_in("packer-2", new)
    done = Operation.objects.latest("pk")
    assert done.name == "set_password"
    assert new not in Link.objects.get(operation=done).outcome
    assert prove() == []


def test_two_passwords_that_differ_add_nobody(typed) -> None:
    typed(PASSWORD, PASSWORD + "x")
    with pytest.raises(CommandError, match="two passwords differ"):
        call_command("person", "clerk-2", role="clerk")
    assert not User.objects.filter(username="clerk-2").exists()


def test_the_password_may_stand_in_a_file(tmp_path: Path) -> None:
    file = tmp_path / "password"
    file.write_text(PASSWORD + "\n", "utf-8")
    call_command("person", "clerk-2", role="clerk", password_file=str(file))
    assert signed_in("clerk-2")


@pytest.mark.parametrize("content", [None, b"", b"\xff\xfe", b"short"])
def test_a_file_without_a_good_password_adds_nobody(tmp_path, content) -> None:
    file = tmp_path / "password"
    if content is not None:
        file.write_bytes(content)
    with pytest.raises(CommandError):
        call_command("person", "clerk-2", role="clerk", password_file=str(file))
    assert not User.objects.filter(username="clerk-2").exists()


def test_who_signs_may_be_named(typed) -> None:
    add("manager-2", "manager")
    typed(PASSWORD, PASSWORD)
    call_command("person", "clerk-2", role="clerk", username="manager-2")
    assert Operation.objects.latest("pk").by_name == "manager-2"
    with pytest.raises(CommandError, match="nobody"):
        call_command("person", "clerk-3", role="clerk", username="nobody")
