"""Sessions: what stands in front of one finds a person, and decides nothing."""

from __future__ import annotations

import pytest
from django.contrib.sessions.models import Session
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from kitting.models import User
from tests import factories

pytestmark = pytest.mark.django_db
PAGE = "/bench/"
WORKER = f"{PAGE}worker.js"


@pytest.fixture
def packer() -> User:
    return factories.make_person("packer")


@pytest.fixture
def client(packer: User) -> Client:
    client = Client()
    client.force_login(packer, backend="lotward.rights.RightsBackend")
    return client


def in_front(told: str) -> None:
    row = Session.objects.get()
    row.session_data = f"{told}{row.session_data.partition(':')[2]}"
    row.save()


@pytest.mark.parametrize("told", ["0:", "clerk", "nobody", ""])
def test_whoever_stands_in_front_the_one_who_signed_in_is_on(
    client: Client, packer: User, told: str
) -> None:
    clerk = factories.make_person("clerk")
    in_front({"clerk": f"{clerk.pk}:", "nobody": f"{clerk.pk + 1}:"}.get(told, told))
    for _ in range(2):
        assert client.get(PAGE).wsgi_request.user == packer


def test_what_is_not_signed_signs_nobody_in(client: Client, packer: User) -> None:
    row = Session.objects.get()
    row.session_data = f"{packer.pk}:{row.session_data.partition(':')[2][::-1]}"
    row.save()
    assert client.get(PAGE).status_code == 302


def test_the_session_the_person_and_their_rights_are_one_question(
    client: Client,
) -> None:
    client.get(WORKER)  # the first notes when it was
    with CaptureQueriesContext(connection) as asked:
        assert client.get(WORKER).status_code == 200
    assert len(asked) == 1


def test_a_right_or_an_account_that_is_taken_away_counts_at_once(
    client: Client, packer: User
) -> None:
    assert client.get(PAGE).status_code == 200
    packer.groups.clear()
    assert client.get(PAGE).status_code == 403
    User.objects.filter(pk=packer.pk).update(is_active=False)
    assert client.get(PAGE).status_code == 302
