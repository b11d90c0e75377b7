from __future__ import annotations

import uuid
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from io import StringIO

import pytest
from django.core.management import call_command
from django.db import IntegrityError, transaction
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from kitting.ledger import clock, holds
from kitting.models import Operation, User, Workshop
from tests import factories

pytestmark = pytest.mark.django_db


def test_moments_are_shown_by_the_workshops_clock(
    client_for: Callable[[User], Client],
) -> None:
    Workshop.objects.update(time_zone="Australia/Sydney")  # UTC + 11 in January
    lot = factories.make_lot()
    holds.place_hold(target="lot", value=lot.pk, reason="Crack", sign=factories.sign())
    client = client_for(factories.make_person("quality officer"))
    text = client.get(reverse("dispatch:recall")).content.decode()
    assert "2026-01-14 15:00" in text


def test_a_demo_lives_on_a_day_of_its_own(
    client_for: Callable[[User], Client],
) -> None:
    """Its pages show that day as today, and whatever is done there bears its date."""
    there = datetime(2031, 7, 9, 23, 30, tzinfo=UTC)  # in Sydney it is the tenth
    ahead = (there - timezone.now()).total_seconds()
    Workshop.objects.update(
        demo=True, ahead_s=round(ahead), time_zone="Australia/Sydney"
    )
    client = client_for(factories.make_person("manager"))
    assert "2031-07-10" in client.get("/").content.decode()
    sent = {"count": 1, "op_key": str(uuid.uuid4())}
    response = client.post(reverse("kitting:bag-numbers"), sent)
    assert response.status_code in {200, 302}
    late = Operation.objects.latest("pk").at - there
    assert timedelta(seconds=-1) <= late < timedelta(minutes=5)
    assert abs(clock.now() - timezone.now()) < timedelta(seconds=1)


def test_a_command_goes_by_the_clock_of_its_demo() -> None:
    there = datetime(2019, 3, 4, 12, tzinfo=UTC)
    ahead = (there - timezone.now()).total_seconds()
    Workshop.objects.update(demo=True, ahead_s=round(ahead))
    factories.make_person("packer", name="somebody")
    call_command("person", "somebody", "--off", stdout=StringIO())
    assert Operation.objects.latest("pk").at.date() == there.date()


def test_the_clock_of_a_real_workshop_is_this_machines() -> None:
    with pytest.raises(IntegrityError), transaction.atomic():
        Workshop.objects.update(ahead_s=-1)
