"""Signing and retiring a protocol: whoever holds the tablet must know the password."""

from __future__ import annotations

import uuid
from datetime import date
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from kitting.models import Link, Operation, Protocol, Retirement, Signature, User
from tests import factories
from tests.assertions import assert_page, assert_part, assert_problem

pytestmark = pytest.mark.django_db

RIGHT, WRONG = "pass", "not it"


@pytest.fixture
def officer() -> User:
    return factories.make_person("quality officer", "officer")


@pytest.fixture
def tablet(officer: User, client_for: Any) -> Client:
    """A tablet on which the quality officer is signed in."""
    client: Client = client_for(officer)
    return client


@pytest.fixture
def draft() -> Protocol:
    later = date(2999, 1, 1)
    return factories.make_protocol(code="BELT", signed_by="", in_force_from=later)


@pytest.fixture
def signed() -> Protocol:
    return factories.make_protocol(code="BELT")


def post(client: Client, act: str, password: str, **more: Any) -> Any:
    address = reverse(f"kitting:protocol-{act}", args=["BELT", 1])
    form = client.get(address).context["form"]
    values = {
        "op_key": str(uuid.uuid4()),
        "password": password,
        "meaning": "Approved for use",
        "reason": "Superseded",
        "mark": form.initial.get("mark", ""),
    }
    return client.post(address, values, **more)


def counts() -> tuple[int, ...]:
    return tuple(row.objects.count() for row in (Operation, Signature, Retirement))


@pytest.mark.smoke
def test_the_right_password_signs(tablet: Client, draft: Protocol) -> None:
    assert post(tablet, "sign", RIGHT).status_code == 302
    draft.refresh_from_db()
    assert draft.signed_by == "officer"
    assert RIGHT not in Link.objects.latest("pk").outcome


def test_the_right_password_retires(tablet: Client, signed: Protocol) -> None:
    assert post(tablet, "retire", RIGHT).status_code == 302
    assert Retirement.objects.get().protocol == signed


@pytest.mark.parametrize("act", ["sign", "retire"])
@pytest.mark.parametrize(
    ("password", "code"),
    [(WRONG, "password_wrong"), ("", "required"), ("PASS", "password_wrong")],
)
def test_another_password_does_nothing(
    act: str, password: str, code: str, tablet: Client, request: Any
) -> None:
    request.getfixturevalue("draft" if act == "sign" else "signed")
    before = counts()
    response = post(tablet, act, password)
    assert response.context["form"].has_error("password", code)
    assert_page(response, status=422)
    assert counts() == before
    assert f'value="{password}"' not in response.content.decode() or not password


def test_another_ones_password_does_nothing(tablet: Client, draft: Protocol) -> None:
    other = factories.make_person("quality officer", "other")
    other.set_password("a word of its own")
    other.save()
    response = post(tablet, "sign", "a word of its own")
    assert response.context["form"].has_error("password", "password_wrong")
    assert Signature.objects.count() == 0


def test_blanks_belong_to_a_password(tablet: Client, draft: Protocol) -> None:
    assert post(tablet, "sign", f" {RIGHT} ").status_code == 422
    assert Signature.objects.count() == 0


def test_a_wrong_password_is_said_in_place(
    tablet: Client, draft: Protocol, hx: dict[str, str]
) -> None:
    response = post(tablet, "sign", WRONG, headers=hx)
    assert_part(response, "protocol-sign", status=422)
    assert "not the password of officer" in response.content.decode()


@pytest.mark.smoke
def test_guessing_is_locked_as_at_signing_in(tablet: Client, draft: Protocol) -> None:
    codes = []
    for _ in range(5):
        response = post(tablet, "sign", WRONG)
        assert response.status_code == 422
        codes += [e.code for e in response.context["form"].errors.as_data()["password"]]
    assert codes == ["password_wrong"] * 4 + ["password_locked"]
    late = post(tablet, "sign", RIGHT)
    assert late.context["form"].has_error("password", "password_locked")
    assert Signature.objects.count() == 0
    entry = {"username": "officer", "password": RIGHT}
    assert Client().post("/sign-in/", entry).status_code == 429
    # Who is signed in already goes on working.
    assert tablet.get("/protocols/").status_code == 200


def test_the_stale_page_is_refused_only_to_who_knows_the_password(
    tablet: Client, draft: Protocol
) -> None:
    address = reverse("kitting:protocol-sign", args=["BELT", 1])
    values = {"op_key": str(uuid.uuid4()), "meaning": "Approved", "mark": "0" * 64}
    response = tablet.post(address, {**values, "password": RIGHT})
    assert_problem(response, "page_is_old", status=409)
