"""PINs: which are taken, what is kept of them, how often they are tried."""

from __future__ import annotations

import re
import uuid
from typing import Any

import pytest
from axes.models import AccessAttempt
from django.test import Client
from django.urls import reverse

from kitting.domain import pins
from kitting.domain.errors import LotwardError
from kitting.ledger import clock
from kitting.models import Badge, Bench, Link, Operation, RowSeal, Tablet, User
from kitting.packing.services.tablets import give_code
from kitting.people.services import pins as services
from kitting.people.services.accounts import open_account
from kitting.people.services.badges import issue_badges, revoke_badge
from kitting.people.services.pins import allow_pin, set_pin, try_pin
from tests import factories
from tests.assertions import assert_problem, text_of
from tests.tablets import (
    PIN,
    clock_of_machine,
    newest_badge,
    packer,
    refusal,
    sign_on,
    tied,
)

pytestmark = pytest.mark.django_db


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


# -- PINs ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "pin", ["1111", "000000", "1234", "4321", "7890", "1212", "908908"]
)
def test_a_pin_that_is_tried_first_is_refused(pin: str) -> None:
    """Common practice: the same digit, digits in a row, digits that repeat."""
    assert refusal(lambda: pins.need_good_pin(pin)).code == "pin_easy"


@pytest.mark.parametrize(
    "pin", ["", "123", "40715" * 3, "40 71", "४०७१", "407a", "4071\n"]
)
def test_a_pin_has_four_to_twelve_digits(pin: str) -> None:
    assert refusal(lambda: pins.need_good_pin(pin)).code == "pin_malformed"


def test_waits_double_up_to_a_minute() -> None:
    waits = [pins.wait_s(wrong) for wrong in range(9)]
    assert waits == [0, 1, 2, 4, 8, 16, 32, 64, 64]


def own(client_for: Any, name: str = "petra") -> tuple[User, Client]:
    person = factories.make_person("packer", name=name)
    person.set_password(PASSWORD)
    person.save()
    return person, client_for(person)


PASSWORD = "three blue kettles"


def chosen(pin: str = PIN, again: str = "", password: str = PASSWORD) -> Any:
    said = {"pin": pin, "same_pin": again or pin, "password": password}
    return {"op_key": str(uuid.uuid4()), **said}


def test_a_person_sets_their_pin_on_their_own_page_with_the_password(
    client_for: Any,
) -> None:
    person, browser = own(client_for)
    page = reverse("kitting:account-pin")
    assert "You have no PIN" in text_of(browser.get(reverse("kitting:account")))
    for wrong, code in (
        (chosen(password="another one"), "password_wrong"),
        (chosen(again="4072"), "invalid"),
        (chosen(pin="1234"), "pin_easy"),
        (chosen(pin="12"), "pin_malformed"),
    ):
        answer = browser.post(page, wrong)
        assert answer.status_code == 422, code
        assert PIN not in text_of(answer)
    person.refresh_from_db()
    assert person.pin == ""
    assert "Your PIN is set" in text_of(browser.post(page, chosen(), follow=True))
    person.refresh_from_db()
    assert person.pin.startswith(("md5$", "pbkdf2_"))
    assert factories.prove() == []


def test_no_record_holds_a_pin_or_what_it_can_be_tried_against() -> None:
    """A backup has the hash; the key by which it was made first is the server's."""
    person, _token = packer("petra")
    person.refresh_from_db()
    kept = [
        *RowSeal.objects.filter(of="kitting_user").values_list("text"),
        *Link.objects.values_list("outcome"),
        *Operation.objects.values_list("mark"),
    ]
    assert person.pin not in str(kept)
    assert PIN not in str([row for row in kept if "petra" in str(row)])
    assert not services.check_password(PIN, person.pin)


# -- Wrong PINs ------------------------------------------------------------------------


@pytest.mark.smoke
def test_badge_and_pin_are_wrong_in_the_same_words(tablet: Client) -> None:
    (_petra, token), (_nick, without) = packer("petra"), packer("nick", "")
    (lost,) = issue_badges(user_ids=[_petra.pk], sign=factories.sign())
    revoke_badge(badge_id=lost.badge_id, sign=factories.sign())
    unknown = "BDGBBBCBDBFBGBHBJBKBLBNBPBRBSBTBVBXL"
    answers = []
    for badge, pin in (
        (token, "4072"),
        (without, PIN),
        (lost.token, PIN),
        (unknown, PIN),
    ):
        Tablet.objects.update(pin_tries=0, tried_at=None)
        answer = sign_on(tablet, badge, pin)
        assert_problem(answer, "pin_wrong")
        answers.append(re.sub('value="[^"]{64}"', "", text_of(answer)))
    assert len(set(answers)) == 1


@pytest.mark.parametrize("known", [True, False])
def test_a_pin_is_hashed_and_compared_whether_the_badge_is_known_or_not(
    known: bool, tablet: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    person, token = packer("petra")
    if not known:
        open_account(name=person.username, open=False, sign=factories.sign())
    compared = []

    def check(pin: str, kept: str) -> bool:
        compared.append(kept)
        return False

    monkeypatch.setattr(services, "check_password", check)
    sign_on(tablet, token)
    assert len(compared) == 1
    person.refresh_from_db()
    assert compared[0].partition("$")[0] == person.pin.partition("$")[0]
    assert (compared == [person.pin]) == known


def test_after_eight_wrong_pins_a_badge_is_blocked_until_somebody_says_so(
    bench: Bench, moments: Any
) -> None:
    """Wherever it was tried: the count is the badge's, and outlasts the server."""
    person, _token = packer("petra")
    badge = newest_badge(person)
    tablets = [make_tablet() for _ in range(2)]

    def tried(pin: str, n: int = 0) -> str:
        try:
            try_pin(
                badge_id=badge, tablet_id=tablets[n], pin=pin, now=clock.of_machine()
            )
        except LotwardError as error:
            return error.code
        return "right"

    assert tried("abc") == "pin_malformed"
    for n in range(pins.BADGE_TRIES):
        assert tried("9999", n % 2) == "pin_wrong"
        assert tried(PIN, n % 2) in ("pin_wait", "pin_blocked")
        moments(seconds=pins.wait_s(n + 1))
    moments(days=2)
    assert [tried(PIN), tried(PIN, 1)] == ["pin_blocked", "pin_blocked"]
    allow_pin(user_id=person.pk, sign=factories.sign())
    assert tried(PIN) == "right"
    Badge.objects.update(pin_tries=pins.BADGE_TRIES)
    set_pin(user_id=person.pk, pin="8352", sign=factories.sign())
    assert [tried("8352", 1)] == ["right"]
    assert factories.prove() == []


def make_tablet() -> int:
    at = factories.make_bench()
    give_code(bench_id=at.pk, sign=factories.sign())
    return Tablet.objects.get(bench=at).pk


def test_unknown_badges_count_at_the_tablet_and_a_right_pin_starts_anew(
    moments: Any,
) -> None:
    person, _token = packer("petra")
    tablet, badge = make_tablet(), newest_badge(person)
    of = {"tablet_id": tablet, "pin": PIN}
    for n in range(pins.TABLET_TRIES):
        wrong = refusal(lambda: try_pin(badge_id=0, now=clock.of_machine(), **of))
        assert wrong.code == "pin_wrong"
        moments(seconds=pins.wait_s(n + 1))
    blocked = refusal(lambda: try_pin(badge_id=badge, now=clock.of_machine(), **of))
    assert blocked.code == "tablet_blocked"
    Tablet.objects.update(pin_tries=3)
    moments(minutes=2)
    assert try_pin(badge_id=badge, now=clock.of_machine(), **of).user == person
    assert Tablet.objects.get(pk=tablet).pin_tries == 0


def test_a_clock_that_is_set_back_makes_nobody_wait_for_hours(moments: Any) -> None:
    person, _token = packer("petra")
    of = {"badge_id": newest_badge(person), "tablet_id": make_tablet()}
    refusal(lambda: try_pin(pin="9999", now=clock.of_machine(), **of))
    moments(hours=-5)
    wait = refusal(lambda: try_pin(pin=PIN, now=clock.of_machine(), **of))
    assert wait.code == "pin_wait"
    assert wait.params["seconds"] <= pins.LONGEST_WAIT_S


def test_a_right_pin_does_not_open_the_lock_of_wrong_passwords(tablet: Client) -> None:
    """Else who has badge and PIN of somebody could try their password for ever."""
    person, token = packer("petra")
    for _ in range(3):
        tablet.post("/sign-in/", {"username": person.username, "password": "wrong"})
    before = list(AccessAttempt.objects.values_list("failures_since_start"))
    assert before == [(3,)]
    sign_on(tablet, token)
    assert list(AccessAttempt.objects.values_list("failures_since_start")) == before


def test_a_manager_sees_that_a_pin_is_blocked_and_allows_it_again(
    client_for: Any,
) -> None:
    person, _token = packer("petra")
    lead = client_for(factories.make_person("manager"))
    detail = reverse("kitting:person-detail", args=[person.pk])
    page = reverse("kitting:person-pin", args=[person.pk])
    assert "Allow the PIN again" not in text_of(lead.get(detail))
    Badge.objects.update(pin_tries=pins.BADGE_TRIES)
    assert "wrong too often" in text_of(lead.get(detail))
    answer = lead.post(page, {"op_key": str(uuid.uuid4())}, follow=True)
    assert "may be tried again" in text_of(answer)
    assert Badge.objects.get().pin_tries == 0
