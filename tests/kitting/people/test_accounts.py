"""Accounts: the last manager stays, sessions end everywhere, closed ones act no more."""

from __future__ import annotations

import uuid
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from kitting.domain.errors import LotwardError, Refused
from kitting.ledger import holds
from kitting.ledger.operations import Sign
from kitting.ledger.setup import COMMAND_LINE
from kitting.models import Hold, Operation, User
from kitting.people.services.accounts import open_account, sign_out_everywhere
from tests import factories
from tests.assertions import assert_page, assert_sent_to_sign_in, text_of

pytestmark = pytest.mark.django_db

ACCOUNT = "/account/"


@pytest.fixture
def robin() -> User:
    return factories.make_person("packer", "robin")


@pytest.fixture
def manager() -> User:
    return factories.make_person("manager", "lead")


def close(person: User, by: User) -> None:
    open_account(name=person.username, open=False, sign=factories.sign(by))
    person.refresh_from_db()


def signed_in(person: User) -> Client:
    """A browser in which somebody has signed in by the page."""
    client = Client()
    values = {"username": person.username, "password": "pass"}
    assert client.post("/sign-in/", values).status_code == 302
    return client


# -- The last manager -----------------------------------------------------------------


def test_the_last_manager_cannot_be_closed(manager: User, robin: User) -> None:
    before = Operation.objects.count()
    with pytest.raises(Refused) as refusal:
        close(manager, manager)
    assert refusal.value.code == "last_manager"
    assert (Operation.objects.count(), manager.is_active) == (before, True)
    close(robin, manager)
    assert not robin.is_active


def test_an_account_that_is_closed_keeps_no_manager(manager: User) -> None:
    other = factories.make_person("manager", "other")
    close(other, manager)
    close(other, manager)  # again changes nothing, and is nobody's last one
    with pytest.raises(Refused):
        close(manager, manager)
    open_account(name="other", open=True, sign=factories.sign(manager))
    close(manager, manager)
    assert not manager.is_active


def test_the_command_line_has_no_account_to_close(manager: User) -> None:
    with pytest.raises(LotwardError) as refusal:
        close(User.objects.get(username=COMMAND_LINE), manager)
    assert refusal.value.code == "person_unknown"


# -- Sessions -------------------------------------------------------------------------


@pytest.mark.smoke
def test_a_person_ends_all_their_sessions_by_their_own_page(robin: User) -> None:
    here, there = signed_in(robin), signed_in(robin)
    neighbour = signed_in(factories.make_person("packer"))
    assert ACCOUNT in text_of(here.get("/bench/"))
    assert_page(here.get(ACCOUNT))
    sent = {"op_key": str(uuid.uuid4())}
    assert here.post(ACCOUNT, sent)["Location"] == "/sign-in/"
    for tablet in (here, there):
        assert_sent_to_sign_in(tablet.get("/bench/"))
        assert "_auth_user_id" not in tablet.session
    assert neighbour.get("/bench/").status_code == 200
    act = Operation.objects.get(name="sign_out_everywhere")
    assert act.by == robin
    assert signed_in(robin).get("/bench/").status_code == 200


def test_the_form_without_its_key_ends_nothing(robin: User) -> None:
    here = signed_in(robin)
    assert here.post(ACCOUNT, {}).status_code == 422
    assert here.get("/bench/").status_code == 200


def test_a_manager_ends_those_of_anybody(manager: User, robin: User) -> None:
    tablet, desk = signed_in(robin), signed_in(manager)
    page = reverse("kitting:person-sign-out", args=[robin.pk])
    person = reverse("kitting:person-detail", args=[robin.pk])
    assert person in text_of(desk.get("/set-up/badges/"))
    assert page in text_of(desk.get(person))
    assert "robin works here as packer" in text_of(desk.get(page))
    assert tablet.post(page, {"op_key": str(uuid.uuid4())}).status_code == 403
    answer = desk.post(page, {"op_key": str(uuid.uuid4())}, follow=True)
    assert "robin is signed out everywhere." in text_of(answer)
    assert_sent_to_sign_in(tablet.get("/bench/"))
    assert desk.get("/set-up/").status_code == 200


def test_nobody_is_signed_out_who_is_not_there(manager: User) -> None:
    line = User.objects.get(username=COMMAND_LINE)
    for pk in (0, line.pk):
        page = reverse("kitting:person-sign-out", args=[pk])
        assert signed_in(manager).get(page).status_code == 404
    with pytest.raises(LotwardError):
        sign_out_everywhere(user_id=0, sign=factories.sign(manager))


def test_sessions_of_a_closed_account_stay_ended_when_it_opens(
    manager: User, robin: User
) -> None:
    tablet = signed_in(robin)
    close(robin, manager)
    open_account(name="robin", open=True, sign=factories.sign(manager))
    assert_sent_to_sign_in(tablet.get("/bench/"))
    assert factories.prove() == []


# -- Closed in the middle of an act ---------------------------------------------------


def test_an_act_that_was_on_its_way_when_the_account_was_closed_is_refused(
    manager: User, robin: User
) -> None:
    lot = factories.make_lot()
    on_its_way = Sign(by=User.objects.get(pk=robin.pk), key=uuid.uuid4())
    close(robin, manager)
    before = Operation.objects.count()
    values: dict[str, Any] = {"target": "lot", "value": lot.pk, "reason": "Crack"}
    with pytest.raises(Refused) as refusal:
        holds.place_hold(**values, sign=on_its_way)
    assert refusal.value.code == "account_closed"
    assert Operation.objects.count() == before
    assert not Hold.objects.exists()
