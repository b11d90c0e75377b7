from __future__ import annotations

from collections.abc import Callable

import pytest
from django.test import Client

from kitting.models import User
from tests import factories


@pytest.fixture
def officer(client_for: Callable[[User], Client]) -> Client:
    return client_for(factories.make_person("quality officer"))
