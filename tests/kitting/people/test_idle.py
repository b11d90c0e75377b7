"""Whoever does nothing for as long as the workshop allows has to sign in again."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.contrib.sessions.models import Session
from django.db import DatabaseError
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from kitting.models import Workshop
from kitting.web import idle
from tests import factories
from tests.assertions import assert_sent_to_sign_in, text_of

pytestmark = pytest.mark.django_db

BY_ITSELF = {idle.BY_ITSELF: "yes"}


@pytest.fixture
def later(monkeypatch: pytest.MonkeyPatch) -> Any:
    """Let minutes pass."""
    at = [factories.NOW]
    monkeypatch.setattr(timezone, "now", lambda: at[0])

    def passes(minutes: float) -> None:
        at[0] += timedelta(minutes=minutes)

    return passes


@pytest.fixture
def client(later: Any, make_user, client_for) -> Client:
    return client_for(make_user("packer", group="packer"))


def lots() -> str:
    return reverse("kitting:lots")


@pytest.mark.smoke
def test_whoever_did_nothing_signs_in_again(client: Client, later) -> None:
    assert Workshop.objects.get().idle_min == 60
    later(60)
    assert client.get(lots()).status_code == 200
    later(60)
    assert client.get(lots()).status_code == 200, "what was done meanwhile counts"
    later(60.1)
    answer = client.get(lots())
    assert_sent_to_sign_in(answer)
    assert not Session.objects.exists()
    said = text_of(client.get(answer.headers["Location"]))
    assert "because nothing was done for 60 minutes." in said
    assert "was not done" not in said


def test_what_is_sent_after_that_does_nothing(client: Client, later, hx) -> None:
    bench = factories.make_bench()
    later(61)
    address = reverse("kitting:bench-scan", args=[bench.code])
    answer = client.post(address, {"scan": "ACT-BOX-6"}, headers=hx)
    assert "/sign-in/" in answer.headers["HX-Redirect"]
    said = text_of(client.get(answer.headers["HX-Redirect"]))
    assert "What you sent then was not done: sign in and do it again." in said


def test_a_page_that_asks_by_itself_keeps_nobody_signed_in(
    client: Client, later
) -> None:
    address = reverse("kitting:bench-holds", args=[factories.make_bench().code])
    for _minute in range(60):
        later(1)
        assert client.get(address, headers=BY_ITSELF).status_code == 200
    later(1)
    assert_sent_to_sign_in(client.get(address, headers=BY_ITSELF))


def test_what_is_sent_is_never_by_itself(client: Client, later) -> None:
    later(40)
    address = reverse("kitting:bench-scan", args=[factories.make_bench().code])
    client.post(address, {"scan": "?"}, headers=BY_ITSELF)
    later(40)
    assert client.get(lots()).status_code == 200


def test_a_workshop_may_keep_them_signed_in(client: Client, later) -> None:
    Workshop.objects.update(idle_min=0)
    later(600)
    assert client.get(lots()).status_code == 200


def test_it_is_written_once_a_minute(client: Client, later) -> None:
    client.get(lots())
    before = Session.objects.get().session_data
    later(0.9)
    client.get(lots())
    assert Session.objects.get().session_data == before
    later(0.2)
    client.get(lots())
    assert Session.objects.get().session_data != before


def test_on_a_disk_that_takes_nothing_pages_are_read_on(
    client: Client, later, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_sent: object, **_named: object) -> None:
        raise DatabaseError("database or disk is full")

    monkeypatch.setattr("lotward.sessions.SessionStore.save", full)
    monkeypatch.setattr("lotward.sessions.SessionStore.delete", full)
    for _hour in range(2):
        later(61)
        assert client.get(lots()).status_code == 200


@pytest.mark.parametrize("minutes", ["-1", "721", "", "x"])
def test_other_minutes_are_refused(minutes: str, make_user, client_for) -> None:
    manager = client_for(make_user("manager", group="manager"))
    page = reverse("kitting:workshop")
    form = manager.get(page).context["form"]
    sent = {name: form[name].value() or "" for name in form.fields}
    answer = manager.post(page, sent | {"idle_min": minutes})
    assert answer.status_code == 422
    assert "idle_min" in answer.context["form"].errors
    assert manager.post(page, sent | {"idle_min": "30"}).status_code == 302
    assert Workshop.objects.get().idle_min == 30
