"""A password that a manager gives opens the choice of one's own, and nothing else."""

from __future__ import annotations

import re
import uuid
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from kitting.domain.errors import Refused
from kitting.ledger import clock
from kitting.models import Link, Operation, RowSeal, User
from kitting.people.services.accounts import open_account
from kitting.people.services.passwords import (
    GIVEN_H,
    choose_password,
    give_password,
)
from tests import factories
from tests.assertions import assert_page, assert_sent_to_sign_in, text_of
from tests.factories import sign
from tests.kitting.people.first_passwords import NEW, OWN, chosen, shown_in, sign_in

pytestmark = pytest.mark.django_db

PASSWORD = "a pass phrase"
"""Of whoever ``make_user`` makes."""
LOTS = reverse("kitting:lots")


@pytest.fixture
def manager(make_user: Any, client_for: Any) -> Client:
    return client_for(make_user("manager", group="manager"))  # type: ignore[no-any-return]


@pytest.fixture
def mira(make_user: Any) -> User:
    return make_user("mira", group="checker")  # type: ignore[no-any-return]


def page(person: User) -> str:
    return reverse("kitting:person-password", args=[person.pk])


def asked(**changes: Any) -> dict[str, Any]:
    return {"op_key": str(uuid.uuid4()), "password": PASSWORD, **changes}


@pytest.mark.smoke
def test_who_lost_it_signs_in_with_one_that_is_given_and_chooses_their_own(
    manager: Client, mira: User, client_for: Any
) -> None:
    tablet, once = client_for(mira), asked()
    assert_page(manager.get(page(mira)))
    given = shown_in(manager.post(page(mira), once))
    assert shown_in(manager.post(page(mira), once)) == given  # the answer was lost
    assert re.fullmatch("([a-z2-9]{4}-){2}[a-z2-9]{4}", given)
    assert_sent_to_sign_in(tablet.get(LOTS))
    assert sign_in(Client(), "mira", PASSWORD).status_code == 422
    theirs = Client()
    assert sign_in(theirs, "mira", given).status_code == 302
    for address in (LOTS, "/", reverse("home"), reverse("kitting:account-pin")):
        assert theirs.get(address)["Location"] == OWN
    part = theirs.get(LOTS, headers={"HX-Request": "true"})
    assert part.headers["HX-Redirect"] == OWN
    own = theirs.get(OWN)
    assert_page(own)
    assert "that a manager gave you" in text_of(own)
    assert theirs.post(OWN, chosen(given))["Location"] == reverse("home")
    assert theirs.get(LOTS).status_code == 200
    assert sign_in(Client(), "mira", given).status_code == 422
    assert sign_in(Client(), "mira", NEW).status_code == 302
    done = Operation.objects.order_by("pk").values_list("name", "by_name")
    assert list(done) == [("give_password", "manager"), ("choose_password", "mira")]
    assert factories.prove() == []


def test_no_record_holds_a_password(manager: Client, mira: User) -> None:
    given = shown_in(manager.post(page(mira), asked()))
    theirs = Client()
    sign_in(theirs, "mira", given)
    theirs.post(OWN, chosen(given))
    kept = [
        *Link.objects.values_list("outcome", flat=True),
        *RowSeal.objects.values_list("text", flat=True),
        *Operation.objects.values_list("mark", flat=True),
    ]
    assert len(kept) > 3
    assert not [text for text in kept if given in str(text) or NEW in str(text)]


def test_it_is_good_for_a_day(
    manager: Client, mira: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    given = shown_in(manager.post(page(mira), asked()))
    mira.refresh_from_db()
    assert mira.password_until is not None
    end = mira.password_until
    assert abs(end - clock.now() - timedelta(hours=GIVEN_H)) < timedelta(minutes=5)
    monkeypatch.setattr(clock, "now", lambda: end + timedelta(seconds=1))
    late = sign_in(Client(), "mira", given)
    assert late.status_code == 422
    assert "no longer good" in text_of(late)
    monkeypatch.setattr(clock, "now", lambda: end)
    assert sign_in(Client(), "mira", given).status_code == 302


def test_the_manager_types_their_own_password(manager: Client, mira: User) -> None:
    assert manager.post(page(mira), asked(password="another")).status_code == 422
    assert manager.post(page(mira), asked(password="")).status_code == 422
    assert not Operation.objects.exists()
    assert sign_in(Client(), "mira", PASSWORD).status_code == 302


def test_who_gets_none(manager: Client, mira: User, make_user: Any) -> None:
    lead = User.objects.get(username="manager")
    answer = manager.post(page(lead), asked())
    assert answer.status_code == 422
    assert "you choose yourself" in text_of(answer)
    detail = reverse("kitting:person-detail", args=[mira.pk])
    assert page(mira) in text_of(manager.get(detail))
    open_account(name="mira", open=False, sign=sign())
    answer = manager.post(page(mira), asked())
    assert answer.status_code == 422
    assert "is closed" in text_of(answer)
    assert page(mira) not in text_of(manager.get(detail))
    assert not Operation.objects.filter(name="give_password").exists()


@pytest.mark.parametrize("role", ["packer", "quality officer"])
def test_only_managers_give_one(
    role: str, mira: User, make_user: Any, client_for: Any
) -> None:
    assert_sent_to_sign_in(Client().get(page(mira)))
    other = client_for(make_user("other", group=role))
    assert other.get(page(mira)).status_code == 403
    assert other.post(page(mira), asked()).status_code == 403
    assert not Operation.objects.exists()


def test_ones_own_is_changed_at_any_time(mira: User, client_for: Any) -> None:
    browser, elsewhere = client_for(mira), client_for(mira)
    account = reverse("kitting:account")
    assert OWN in text_of(browser.get(account))
    for wrong, words in (
        (chosen("not it"), "not the password"),
        (chosen(PASSWORD, same="another"), "not the same"),
        (chosen(PASSWORD, "short"), "too weak"),
        (chosen(PASSWORD, PASSWORD), "that you have"),
        (chosen("", NEW), "your password"),
    ):
        answer = browser.post(OWN, wrong)
        assert answer.status_code in (409, 422)
        assert words in text_of(answer)
        assert wrong["new_password"] not in answer.content.decode()
    assert not Operation.objects.exists()
    assert browser.post(OWN, chosen(PASSWORD))["Location"] == account
    assert browser.get(account).status_code == 200
    assert_sent_to_sign_in(elsewhere.get(account))
    assert sign_in(Client(), "mira", NEW).status_code == 302


def test_one_that_a_service_gives_lasts_until_another_is_chosen(mira: User) -> None:
    give_password(user_id=mira.pk, sign=factories.sign_by_another())
    choose_password(user_id=mira.pk, password=NEW, sign=sign())
    mira.refresh_from_db()
    assert mira.password_until is None
    with pytest.raises(Refused, match="password_weak"):
        choose_password(user_id=mira.pk, password="12345678", sign=sign())
