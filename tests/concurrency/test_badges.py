"""Two people at once at the same badges."""

from __future__ import annotations

from uuid import uuid4

import pytest
from django.db import connection, transaction

from kitting.domain.errors import Conflict
from kitting.ledger.operations import Sign
from kitting.ledger.setup import ensure_workshop
from kitting.models import Badge, Operation
from kitting.people.services.badges import issue_badges, revoke_badge
from tests import factories
from tests.concurrency.threads import meeting, times
from tests.concurrency.twins import Meet

pytestmark = pytest.mark.django_db(transaction=True)


def test_of_two_revocations_one_counts() -> None:
    ensure_workshop("Harrow Lane Workshop")
    packer = factories.make_person("packer")
    people = [factories.make_person("manager", name=f"lead-{n}") for n in range(4)]
    (new,) = issue_badges(user_ids=[packer.pk], sign=factories.sign())
    found = times(
        4,
        lambda n: revoke_badge(
            badge_id=new.badge_id, sign=Sign(people[n], uuid4(), factories.NOW)
        ),
    )
    assert len(found.values) == 1
    assert [type(error) for error in found.errors] == [Conflict] * 3
    assert {error.code for error in found.errors} == {"badge_revoked_before"}
    act = Operation.objects.get(name="revoke_badge")
    assert Badge.objects.get().revocation == act


def revoke_without_the_row_lock(badge_id: int, meet: Meet) -> None:
    """The same reads and writes as the service's, no lock."""
    with transaction.atomic(durable=True):
        badge = Badge.objects.get(pk=badge_id)
        if badge.revoked_at is not None:
            raise Conflict("badge_revoked_before", name="twin")
        meet()
        badge.revoked_at = factories.NOW
        badge.revocation = badge.issue
        badge.save(update_fields=["revoked_at", "revocation"])


@pytest.mark.skipif(
    connection.vendor == "sqlite",
    reason="SQLite lets one writer in at a time: the race cannot happen there",
)
def test_without_the_lock_more_than_one_revocation_counts() -> None:
    ensure_workshop("Harrow Lane Workshop")
    packer = factories.make_person("packer")
    (new,) = issue_badges(user_ids=[packer.pk], sign=factories.sign())
    meet = meeting(4)
    found = times(4, lambda _: revoke_without_the_row_lock(new.badge_id, meet))
    assert len(found.values) > 1


def test_of_one_act_sent_twice_at_once_one_shows_badges() -> None:
    ensure_workshop("Harrow Lane Workshop")
    packer = factories.make_person("packer")
    sign = factories.sign()
    found = times(4, lambda n: issue_badges(user_ids=[packer.pk], sign=sign))
    assert len(found.values) == 1
    assert {error.code for error in found.errors} == {"badge_made_already"}
    assert Badge.objects.count() == 1
