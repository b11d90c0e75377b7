from __future__ import annotations

from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from kitting.ledger import holds
from kitting.models import User, Workshop
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
