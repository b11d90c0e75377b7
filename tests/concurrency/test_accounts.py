"""Two managers close each other's account at once: one of them stays."""

from __future__ import annotations

from uuid import uuid4

import pytest
from django.db import connection, transaction

from kitting.ledger.operations import Sign
from kitting.ledger.setup import ensure_workshop
from kitting.models import User
from kitting.people.services.accounts import change_role, open_account
from tests import factories
from tests.concurrency.threads import meeting, times
from tests.concurrency.twins import Meet

pytestmark = pytest.mark.django_db(transaction=True)


def managers() -> list[User]:
    ensure_workshop("Harrow Lane Workshop")
    return [factories.make_person("manager", name=f"lead-{n}") for n in range(2)]


def left() -> int:
    return User.objects.filter(groups__name="manager", is_active=True).count()


def test_of_two_managers_who_close_each_other_one_stays() -> None:
    lead = managers()
    found = times(
        2,
        lambda n: open_account(
            name=lead[1 - n].username,
            open=False,
            sign=Sign(lead[n], uuid4(), factories.NOW),
        ),
    )
    assert left() == 1
    assert len(found.values) == 1
    assert {error.code for error in found.errors} <= {"last_manager", "account_closed"}


def test_of_two_managers_who_take_the_role_from_each_other_one_keeps_it() -> None:
    lead = managers()
    found = times(
        2,
        lambda n: change_role(
            name=lead[1 - n].username,
            role="packer",
            sign=Sign(lead[n], uuid4(), factories.NOW),
        ),
    )
    assert left() == 1
    assert len(found.values) == 1
    assert {error.code for error in found.errors} == {"last_manager"}


def close_without_the_lock(person: User, meet: Meet) -> None:
    """The same reads and writes as the service's, no lock."""
    with transaction.atomic(durable=True):
        others = User.objects.filter(groups__name="manager", is_active=True)
        assert others.exclude(pk=person.pk).exists()
        meet()
        User.objects.filter(pk=person.pk).update(is_active=False)


@pytest.mark.skipif(
    connection.vendor == "sqlite",
    reason="SQLite lets one writer in at a time: the race cannot happen there",
)
def test_without_the_lock_nobody_would_be_left() -> None:
    lead = managers()
    meet = meeting(2)
    times(2, lambda n: close_without_the_lock(lead[1 - n], meet))
    assert left() == 0
