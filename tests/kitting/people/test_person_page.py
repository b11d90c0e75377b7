"""A manager adds people on a page, and changes what they may do."""

from __future__ import annotations

import uuid
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from kitting.models import Operation, User
from tests import factories
from tests.assertions import assert_page, assert_sent_to_sign_in, text_of
from tests.kitting.people.first_passwords import OWN, chosen, shown_in, sign_in

pytestmark = pytest.mark.django_db

NEW = reverse("kitting:person-new")
MIRA = {"name": "mira", "role": "checker"}


def sent(**changes: Any) -> dict[str, Any]:
    return {"op_key": str(uuid.uuid4()), **MIRA, **changes}


@pytest.fixture
def manager(make_user: Any, client_for: Any) -> Client:
    return client_for(make_user("manager", group="manager"))  # type: ignore[no-any-return]


@pytest.mark.parametrize("role", ["packer", "quality officer"])
def test_only_managers_add_people(
    role: str, make_user: Any, client_for: Any, outsider: Any
) -> None:
    assert_sent_to_sign_in(Client().get(NEW))
    for user in (outsider, make_user("other", group=role)):
        assert client_for(user).get(NEW).status_code == 403
        assert client_for(user).post(NEW, sent()).status_code == 403
    assert not User.objects.filter(username="mira").exists()


@pytest.mark.smoke
def test_who_is_added_chooses_a_password_and_has_the_rights_of_the_role(
    manager: Client, django_assert_max_num_queries: Any
) -> None:
    with django_assert_max_num_queries(15):
        assert_page(manager.get(NEW))
    once = sent()
    # The same key adds nobody twice, and shows again what was lost on its way.
    first, again = (shown_in(manager.post(NEW, once)) for _ in range(2))
    assert first == again
    assert Operation.objects.filter(name="add_person").count() == 1
    theirs = Client()
    assert sign_in(theirs, "mira", first).status_code == 302
    lots = reverse("kitting:lot-new")
    assert theirs.get(lots)["Location"] == OWN
    theirs.post(OWN, chosen(first))
    assert theirs.get(lots).status_code == 200
    assert theirs.get(NEW).status_code == 403
    assert factories.prove() == []


@pytest.mark.smoke
def test_what_is_wrong_is_said_and_nobody_is_added(manager: Client) -> None:
    User.objects.create_user(username="there")
    for changes, words in (
        ({"name": ""}, "the name to sign in with"),
        ({"name": "two words"}, "two words"),
        ({"name": "THERE"}, "there"),
        ({"role": ""}, "the role"),
        ({"role": "king"}, "the role"),
    ):
        answer = manager.post(NEW, sent(**changes))
        assert answer.status_code in (409, 422), changes
        assert words.lower() in text_of(answer).lower(), changes
    assert not Operation.objects.filter(name="add_person").exists()


# -- The page of a person -------------------------------------------------------------

PASSWORD = "a pass phrase"
"""Of whoever ``make_user`` makes."""


def page(person: User, act: str = "detail") -> str:
    return reverse(f"kitting:person-{act}", args=[person.pk])


def said(**changes: Any) -> dict[str, Any]:
    return {"op_key": str(uuid.uuid4()), "password": PASSWORD, **changes}


@pytest.fixture
def mira() -> User:
    return factories.make_person("checker", "mira")


@pytest.mark.smoke
def test_a_role_is_given_with_the_password_and_once(
    manager: Client, mira: User
) -> None:
    act, once = page(mira, "role"), said(role="clerk")
    wrong = manager.post(act, once | {"password": "another"})
    assert (wrong.status_code, "password" in text_of(wrong)) == (422, True)
    assert not Operation.objects.exists()
    for _ in range(2):
        assert manager.post(act, once)["Location"] == page(mira)
    done = Operation.objects.get()
    assert (done.name, done.by_name) == ("change_role", "manager")
    assert [group.name for group in mira.groups.all()] == ["clerk"]
    mira = User.objects.get(pk=mira.pk)
    assert mira.has_perm("kitting.send_boxes")
    assert not mira.has_perm("kitting.check_lots")
    assert "mira works here as clerk" in text_of(manager.get(page(mira)))
    assert factories.prove() == []


def test_an_account_is_closed_and_opened_again(
    manager: Client, mira: User, client_for: Any
) -> None:
    tablet = client_for(mira)
    assert tablet.get("/").status_code == 200
    assert manager.post(page(mira, "close"), said(password="")).status_code == 422
    assert manager.post(page(mira, "close"), said()).status_code == 302
    assert_sent_to_sign_in(tablet.get("/"))
    shown = text_of(manager.get(page(mira)))
    assert "is closed" in shown
    assert page(mira, "open") in shown
    assert page(mira, "close") not in shown
    assert page(mira) in text_of(manager.get(reverse("kitting:badges")))
    assert manager.post(page(mira, "open"), said()).status_code == 302
    mira.refresh_from_db()
    assert mira.is_active
    names = Operation.objects.order_by("pk").values_list("name", flat=True)
    assert list(names) == ["open_account", "open_account"]


@pytest.mark.parametrize(("act", "more"), [("close", {}), ("role", {"role": "packer"})])
def test_the_last_manager_stays_one(
    act: str, more: dict[str, str], manager: Client
) -> None:
    lead = User.objects.get(username="manager")
    answer = manager.post(page(lead, act), said(**more))
    assert answer.status_code == 422
    assert "manager is the last manager" in text_of(answer)
    assert not Operation.objects.exists()
    other = factories.make_person("manager", "other")
    User.objects.filter(pk=other.pk).update(is_active=False)
    assert manager.post(page(lead, act), said(**more)).status_code == 422
    User.objects.filter(pk=other.pk).update(is_active=True)
    assert manager.post(page(lead, act), said(**more)).status_code == 302


def test_the_last_manager_may_be_given_the_role_that_they_have(manager: Client) -> None:
    lead = User.objects.get(username="manager")
    assert manager.post(page(lead, "role"), said(role="manager")).status_code == 302


@pytest.mark.parametrize("act", ["detail", "role", "close", "open"])
def test_only_managers_change_people(
    act: str, manager: Client, mira: User, make_user: Any, client_for: Any
) -> None:
    address = page(mira, act)
    assert_sent_to_sign_in(Client().get(address))
    officer = client_for(make_user("officer", group="quality officer"))
    assert officer.get(address).status_code == 403
    assert officer.post(address, said(role="manager")).status_code in {403, 405}
    assert not Operation.objects.exists()
    assert_page(manager.get(address))
    line = User.objects.get(username="command-line")
    for pk in (line.pk, 0):
        assert (
            manager.get(reverse(f"kitting:person-{act}", args=[pk])).status_code == 404
        )


@pytest.mark.parametrize("role", ["", "king"])
def test_a_role_that_is_none_is_not_given(
    role: str, manager: Client, mira: User
) -> None:
    assert manager.post(page(mira, "role"), said(role=role)).status_code == 422
    assert [group.name for group in mira.groups.all()] == ["checker"]
