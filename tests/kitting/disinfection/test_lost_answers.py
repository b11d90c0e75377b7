"""An act whose answer was lost is answered like the first time, though its page is gone."""

from __future__ import annotations

import uuid
from typing import Any
from urllib.parse import urlencode

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from kitting.models import Operation, Protocol, Run
from kitting.models.catalogue import PlaceKind
from tests import factories
from tests.fuzz.forms import forms_in

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _today(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(timezone, "now", lambda: factories.NOW)


@pytest.fixture
def client(make_user: Any, client_for: Any) -> Client:
    found: Client = client_for(make_user("quality", group="quality officer"))
    return found


def test_a_draft_that_is_discarded_is_discarded_once(
    client: Client,
) -> None:
    draft = factories.make_protocol(signed_by="")
    address = reverse("kitting:protocol-discard", args=[draft.code, draft.version])
    sent = {"op_key": str(uuid.uuid4())}
    answers = [client.post(address, sent) for _ in range(2)]
    assert {(each.status_code, each["Location"]) for each in answers} == {
        (302, reverse("kitting:protocols"))
    }
    assert not Protocol.objects.filter(pk=draft.pk).exists()
    assert Operation.objects.filter(name="discard_draft").count() == 1
    other = {"op_key": str(uuid.uuid4())}
    assert client.post(address, other).status_code == 404
    assert client.get(address).status_code == 404


def test_a_run_that_was_opened_is_not_opened_on_the_next_free_line(
    make_user: Any, client_for: Any
) -> None:
    """The page chose the first free line; by the second time that is another one."""
    client = client_for(make_user("line", group="line operator"))
    factories.make_protocol(
        required_top_uj_cm2=1
    )  # of whatever the form is filled with
    factories.make_meter()
    lines = [factories.make_place(PlaceKind.LINE) for _ in range(2)]
    page = reverse("kitting:run-open")
    html = client.get(page).content.decode()
    [form] = [
        each
        for each in forms_in(html, page)
        if each.method == "post" and "meter" in each.names
    ]
    # As uncertain as it is long, a zone would be refused.
    body = urlencode([each for each in form.filled() if each[0] != "zone_u"])
    kind = "application/x-www-form-urlencoded"
    first, again = (client.post(form.action, body, kind) for _ in range(2))
    assert (first.status_code, again.status_code) == (302, 302)
    assert first["Location"] == again["Location"]
    assert Run.objects.get().line_id in {line.pk for line in lines}
