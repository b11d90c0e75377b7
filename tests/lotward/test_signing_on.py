"""Signing on at a tied tablet by badge and PIN: who gets in, how far, and until when."""

from __future__ import annotations

import logging
import re
import uuid
from typing import Any

import pytest
from django.contrib.sessions.models import Session
from django.test import Client
from django.urls import reverse

from kitting.models import Bench, Operation
from kitting.packing.services.tablets import code_of, give_code, untie_tablet
from kitting.people.services.accounts import open_account, sign_out_everywhere
from kitting.people.services.badges import revoke_badge
from kitting.people.services.pins import set_pin
from kitting.web import idle
from lotward.sessions import SessionStore
from tests import factories
from tests.assertions import assert_problem, text_of
from tests.tablets import (
    ON,
    PIN,
    at,
    badge_of,
    clock_of_machine,
    is_on,
    newest_badge,
    packer,
    sign_on,
    tied,
)
from tests.test_security import ADDRESSES

pytestmark = pytest.mark.django_db

DAY = reverse("kitting:day")


@pytest.fixture(autouse=True)
def moments(monkeypatch: pytest.MonkeyPatch) -> Any:
    return clock_of_machine(monkeypatch)


@pytest.fixture
def bench() -> Bench:
    return factories.make_bench()


@pytest.fixture
def tablet(bench: Bench) -> Client:
    """A browser that is tied to the bench, with nobody on."""
    return tied(bench)


# -- Signing on ------------------------------------------------------------------------


@pytest.mark.smoke
def test_a_badge_and_its_pin_sign_on_and_the_badge_signs_off(
    tablet: Client, bench: Bench
) -> None:
    person, token = packer("petra")
    assert "Scan your badge" in text_of(tablet.get(at(bench), follow=True))
    assert tablet.post(ON, {"badge": token}).headers["Location"] == ON
    answer = tablet.get(ON)
    assert "Enter your PIN" in text_of(answer)
    assert "petra" not in text_of(answer)  # whoever found it would learn whose it is
    assert tablet.post(ON, {"pin": PIN}).headers["Location"] == at(bench)
    assert "petra" in text_of(tablet.get(at(bench)))
    assert tablet.get(ON).headers["Location"] == at(bench)
    person.refresh_from_db()
    assert person.last_login is not None
    assert "signed out" in text_of(tablet.post(ON, {"badge": token}, follow=True))
    assert not is_on(tablet, bench)


@pytest.mark.smoke
def test_who_has_no_pin_yet_sets_one_from_the_tablet(
    tablet: Client, bench: Bench
) -> None:
    _person, token = packer("petra", pin="")
    tablet.post(ON, {"badge": token})
    page = tablet.get(ON).content.decode()
    (to,) = re.findall(r'href="([^"]*)">\s*No PIN yet\?', page)
    sent = {"username": "petra", "password": "pass", "next": to.partition("next=")[2]}
    answer = tablet.post(to.partition("?")[0], sent)
    assert answer.headers["Location"] == reverse("kitting:account-pin")
    form = {
        "pin": PIN,
        "same_pin": PIN,
        "password": "pass",
        "op_key": str(uuid.uuid4()),
    }
    answer = tablet.post(answer.headers["Location"], form, follow=True)
    assert "Your PIN is set" in text_of(answer)
    tablet.post(reverse("sign-out"))
    assert sign_on(tablet, token).headers["Location"] == at(bench)


@pytest.mark.smoke
def test_another_badge_takes_over_and_who_was_on_is_off_at_once(
    tablet: Client, bench: Bench
) -> None:
    (_petra, first), (_oskar, second) = packer("petra"), packer("oskar", "8352")
    sign_on(tablet, first)
    tablet.post(ON, {"badge": second})
    assert not is_on(tablet, bench)
    assert tablet.post(ON, {"pin": PIN}).status_code == 422
    assert tablet.post(ON, {"pin": "8352"}).status_code == 422  # too soon after it
    assert not is_on(tablet, bench)


def test_a_hand_over_gives_a_session_that_is_new(tablet: Client, bench: Bench) -> None:
    (_petra, first), (_oskar, second) = packer("petra"), packer("oskar", "8352")
    keys = set()
    for token, pin in ((first, PIN), (second, "8352")):
        tablet.post(ON, {"badge": token})
        keys.add(tablet.cookies["lotward_session"].value)
        tablet.post(ON, {"pin": pin})
        keys.add(tablet.cookies["lotward_session"].value)
        assert is_on(tablet, bench)
    assert len(keys) == 4
    assert Session.objects.count() == 1


def test_a_session_that_was_planted_before_is_not_the_one_that_signs_on(
    tablet: Client, bench: Bench
) -> None:
    """Session fixation: who chose the key before knows nothing afterwards."""
    _person, token = packer("petra")
    tablet.post(ON, {"badge": token})
    planted, thief = tablet.cookies["lotward_session"].value, Client()
    tablet.post(ON, {"pin": PIN})
    thief.cookies["lotward_session"] = planted
    thief.cookies["lotward_tablet"] = tablet.cookies["lotward_tablet"].value
    assert not is_on(thief, bench)


def test_the_session_is_worth_nothing_without_the_tablet(
    tablet: Client, bench: Bench, moments: Any
) -> None:
    _person, token = packer("petra")
    sign_on(tablet, token)
    thief = Client()
    thief.cookies["lotward_session"] = tablet.cookies["lotward_session"].value
    assert thief.get(at(bench)).headers["Location"].startswith("/sign-in/")
    assert not is_on(tablet, bench)  # and it is over for whoever has it


def test_a_browser_that_is_not_tied_signs_nobody_on(bench: Bench) -> None:
    _person, token = packer("petra")
    for cookie in ("", "x", "0" * 64):
        stranger = Client()
        stranger.cookies["lotward_tablet"] = cookie
        for sent in ({"badge": token}, {"pin": PIN}, {}):
            assert stranger.post(ON, sent).headers["Location"] == "/sign-in/"
        assert stranger.get(ON).headers["Location"] == "/sign-in/"
    assert not Session.objects.exists()


def test_nothing_of_it_is_done_by_a_get_or_from_another_site(bench: Bench) -> None:
    sign = factories.sign(now=None)
    give_code(bench_id=bench.pk, sign=sign)
    strict = Client(enforce_csrf_checks=True)
    page = strict.get(reverse("kitting:tablet"))
    form = {"op_key": str(uuid.uuid4()), "code": code_of(sign.key)}
    form["csrfmiddlewaretoken"] = page.context["csrf_token"]
    assert strict.post(reverse("kitting:tablet"), form).status_code == 302
    _person, token = packer("petra")
    assert strict.post(ON, {"badge": token}).status_code == 403
    assert strict.post(ON, {"pin": PIN}).status_code == 403
    assert "Scan your badge" in text_of(strict.get(f"{ON}?pin={PIN}"))
    assert strict.get(f"{ON}?badge={token}").status_code == 422


@pytest.mark.smoke
def test_only_who_packs_signs_on(tablet: Client, bench: Bench) -> None:
    _person, token = packer("carl", role="clerk")
    assert_problem(sign_on(tablet, token), "may_not_pack")
    assert not is_on(tablet, bench)


def test_what_was_scanned_is_forgotten_after_a_minute(
    tablet: Client, bench: Bench, moments: Any
) -> None:
    _person, token = packer("petra")
    tablet.post(ON, {"badge": token})
    assert tablet.get(ON).headers["Refresh"] == "60"
    moments(seconds=61)
    answer = tablet.post(ON, {"pin": PIN}, follow=True)
    assert "Scan your badge" in text_of(answer)
    assert not is_on(tablet, bench)


def test_a_token_is_shown_logged_and_kept_nowhere(
    tablet: Client, bench: Bench, caplog: pytest.LogCaptureFixture
) -> None:
    _person, token = packer("petra")
    misread = token[:-1] + ("B" if token[-1] != "B" else "C")
    with caplog.at_level(logging.DEBUG):
        for scanned in (token, misread, token.lower(), f"{token} {token}"):
            answer = tablet.post(ON, {"badge": scanned}, follow=True)
            assert token[:24].lower() not in answer.content.decode().lower()
    kept = [SessionStore().decode(each.session_data) for each in Session.objects.all()]
    assert any(kept)
    assert token[:20] not in str(kept).upper() + caplog.text.upper()
    # In any other field it is refused as ever.
    assert tablet.post(ON, {"pin": token}).status_code == 422
    assert tablet.post(ON, {"badge": "x", "more": token}).status_code == 422


# -- How far it reaches ----------------------------------------------------------------

OPEN = {
    "dispatch:recall",
    "kitting:bench",
    "kitting:bench-holds",
    "kitting:bench-label",
    "kitting:bench-offline",
    "kitting:bench-scan",
    "kitting:bench-worker",
    "kitting:benches",
    "kitting:box-label",
    "kitting:find",
    "kitting:label-pdf",
    "kitting:practice",
    "kitting:scanner",
}


def test_what_is_open_to_a_badge_is_what_the_bench_needs() -> None:
    assert {one.name for one in ADDRESSES if getattr(one.view, "by_badge", 0)} == OPEN


def test_whatever_else_is_asked_for_takes_the_password(
    tablet: Client, bench: Bench, subtests: pytest.Subtests
) -> None:
    """Also of a manager, who may do all of it with a password."""
    _person, token = packer("lead", role="manager")
    sign_on(tablet, token)
    before = Operation.objects.count()
    for address in ADDRESSES:
        if getattr(address.view, "permission", "") and address.name not in OPEN:
            with subtests.test(address.name):
                for ask in (tablet.get, tablet.post):
                    to = ask(address.path).headers["Location"]
                    assert to.startswith("/sign-in/?next=")
                    del tablet.cookies["messages"]  # as a page that shows it does
    assert Operation.objects.count() == before
    assert is_on(tablet, bench)
    answer = tablet.get(DAY, follow=True)
    assert "This page asks for your password" in text_of(answer)
    other = factories.make_bench()
    assert tablet.get(at(other)).headers["Location"].startswith("/sign-in/")


def test_the_password_opens_the_rest(tablet: Client, bench: Bench) -> None:
    person, token = packer("lead", role="manager")
    sign_on(tablet, token)
    tablet.post("/sign-in/", {"username": person.username, "password": "pass"})
    assert tablet.get(DAY).status_code == 200
    assert is_on(tablet, bench)


# -- Until when ------------------------------------------------------------------------


@pytest.mark.parametrize(
    "how", ["revoke", "pin", "untie", "close", "everywhere", "again"]
)
def test_what_is_taken_away_ends_the_session_at_once(
    how: str, tablet: Client, bench: Bench
) -> None:
    person, token = packer("petra")
    sign_on(tablet, token)
    assert is_on(tablet, bench)
    sign = factories.sign()
    if how == "revoke":
        revoke_badge(badge_id=newest_badge(person), sign=sign)
    elif how == "pin":
        set_pin(user_id=person.pk, pin="8352", sign=sign)
    elif how == "untie":
        untie_tablet(bench_id=bench.pk, sign=sign)
    elif how == "close":
        open_account(name="petra", open=False, sign=sign)
    elif how == "everywhere":
        sign_out_everywhere(user_id=person.pk, sign=sign)
    else:
        assert tied(bench).get(ON).status_code == 200
    bag = factories.make_bag()
    before = Operation.objects.count()
    scan = {"op_key": str(uuid.uuid4()), "scan": bag.number}
    answer = tablet.post(reverse("kitting:bench-scan", args=[bench.code]), scan)
    assert answer.status_code == 302
    assert Operation.objects.count() == before
    assert not is_on(tablet, bench)


def test_another_badge_of_the_same_person_stays_good(
    tablet: Client, bench: Bench
) -> None:
    person, token = packer("petra")
    badge_of(person)
    sign_on(tablet, token)
    revoke_badge(badge_id=newest_badge(person), sign=factories.sign())  # the newer
    assert is_on(tablet, bench)


def test_who_does_nothing_is_off_and_the_tablet_asks_for_a_badge(
    tablet: Client, bench: Bench, moments: Any
) -> None:
    _person, token = packer("petra")
    sign_on(tablet, token)
    assert is_on(tablet, bench)
    moments(minutes=61)
    holds = reverse("kitting:bench-holds", args=[bench.code])
    by_itself = {"HX-Request": "true", idle.BY_ITSELF: "yes"}
    assert tablet.get(holds, headers=by_itself).headers["HX-Redirect"] == ON
    assert "Scan your badge" in text_of(tablet.get(ON))
    assert is_on(tablet, bench) is False


def test_signing_out_leaves_the_tablet_asking_for_a_badge(
    tablet: Client, bench: Bench
) -> None:
    _person, token = packer("petra")
    sign_on(tablet, token)
    answer = tablet.post(reverse("sign-out"), {"next": at(bench)})
    assert answer.headers["Location"] == ON
    assert not is_on(tablet, bench)
