"""A tablet that is tied to a bench, and people who sign on there."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from kitting.domain.errors import LotwardError
from kitting.ledger import clock
from kitting.models import Badge, Bench, User
from kitting.packing.services.tablets import code_of, give_code
from kitting.people.services.badges import issue_badges
from kitting.people.services.pins import set_pin
from tests import factories

ON = reverse("sign-on")
PIN = "4071"


def clock_of_machine(monkeypatch: pytest.MonkeyPatch) -> Callable[..., None]:
    """Stop the machine's clock; what is given moves it on."""
    at = {"now": datetime.now(UTC)}
    monkeypatch.setattr(clock, "of_machine", lambda: at["now"])

    def later(**how: int) -> None:
        at["now"] += timedelta(**how)

    return later


def code_for(bench: Bench) -> str:
    """Give a code that ties a tablet, without the page of it."""
    sign = factories.sign(now=None)
    give_code(bench_id=bench.pk, sign=sign)
    return code_of(sign.key)


def tied(bench: Bench) -> Client:
    browser = Client()
    form = {"op_key": str(uuid.uuid4()), "code": code_for(bench)}
    answer = browser.post(reverse("kitting:tablet"), form)
    assert answer.headers["Location"] == ON
    return browser


def badge_of(person: User) -> str:
    (new,) = issue_badges(user_ids=[person.pk], sign=factories.sign())
    return new.token


def packer(name: str, pin: str = PIN, role: str = "packer") -> tuple[User, str]:
    """Somebody with a badge and a PIN, and the token of the badge."""
    person = factories.make_person(role, name=name)
    if pin:
        set_pin(user_id=person.pk, pin=pin, sign=factories.sign())
    return person, badge_of(person)


def sign_on(tablet: Client, token: str, pin: str = PIN) -> Any:
    assert tablet.post(ON, {"badge": token}).headers["Location"] == ON
    return tablet.post(ON, {"pin": pin})


def at(bench: Bench) -> str:
    return reverse("kitting:bench", args=[bench.code])


def is_on(tablet: Client, bench: Bench) -> bool:
    return tablet.get(at(bench)).status_code == 200


def refusal(act: Any) -> LotwardError:
    with pytest.raises(LotwardError) as caught:
        act()
    return caught.value


def newest_badge(person: User) -> int:
    return Badge.objects.filter(user=person).latest("pk").pk
