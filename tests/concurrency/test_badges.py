"""Two people at once at the same badges."""

from __future__ import annotations

from uuid import uuid4

import pytest

from kitting.domain.errors import Conflict
from kitting.models import Badge, Operation
from kitting.operations import Sign
from kitting.services.badges import issue_badges, revoke_badge
from kitting.setup import ensure_workshop
from tests import factories
from tests.concurrency.threads import times

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


def test_of_one_act_sent_twice_at_once_one_shows_badges() -> None:
    ensure_workshop("Harrow Lane Workshop")
    packer = factories.make_person("packer")
    sign = factories.sign()
    found = times(4, lambda n: issue_badges(user_ids=[packer.pk], sign=sign))
    assert len(found.values) == 1
    assert {error.code for error in found.errors} == {"badge_made_already"}
    assert Badge.objects.count() == 1
