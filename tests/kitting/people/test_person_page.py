"""A manager adds people on a page; nothing keeps their password."""

from __future__ import annotations

import uuid
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from kitting.models import Link, Operation, RowSeal, User
from tests import factories
from tests.assertions import assert_page, assert_sent_to_sign_in, text_of

pytestmark = pytest.mark.django_db

NEW = reverse("kitting:person-new")
SECRET = "four lamps at dusk"
MIRA = {"name": "mira", "role": "checker", "new_password": SECRET, "same": SECRET}


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
def test_who_is_added_signs_in_with_the_rights_of_the_role(
    manager: Client, django_assert_max_num_queries: Any
) -> None:
    with django_assert_max_num_queries(15):
        assert_page(manager.get(NEW))
    once = sent()
    for _ in range(2):  # the same key: once
        answer = manager.post(NEW, once)
        assert answer["Location"] == reverse("kitting:badges")
    assert "mira may sign in as checker." in text_of(manager.get(answer["Location"]))
    assert Operation.objects.filter(name="add_person").count() == 1
    theirs = Client()
    said = {"username": "mira", "password": SECRET}
    assert theirs.post(reverse("sign-in"), said).status_code == 302
    assert theirs.get(reverse("kitting:lot-new")).status_code == 200
    assert theirs.get(NEW).status_code == 403
    for text in (
        *Link.objects.values_list("outcome", flat=True),
        *RowSeal.objects.values_list("text", flat=True),
    ):
        assert SECRET not in text
    assert factories.prove() == []


@pytest.mark.smoke
def test_what_is_wrong_is_said_and_no_password_comes_back(manager: Client) -> None:
    User.objects.create_user(username="there")
    for changes, words in (
        ({"name": ""}, "the name to sign in with"),
        ({"name": "two words"}, "two words"),
        ({"name": "THERE"}, "there"),
        ({"role": ""}, "the role"),
        ({"role": "king"}, "the role"),
        ({"same": "something else"}, "Enter both once more"),
        ({"new_password": "", "same": ""}, "the password"),
        ({"new_password": "short", "same": "short"}, "too weak"),
    ):
        answer = manager.post(NEW, sent(**changes))
        assert answer.status_code in (409, 422), changes
        assert words.lower() in text_of(answer).lower(), changes
        assert SECRET not in answer.content.decode()
    assert not Operation.objects.filter(name="add_person").exists()
