"""Names that people chose, in what is said after an act."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from functools import partial
from urllib.parse import urlencode

import pytest
from django.test import Client
from django.urls import reverse

from kitting.lots.services.lots import NewBag
from kitting.models import Operation, User
from tests import factories
from tests.assertions import text_of

pytestmark = pytest.mark.django_db

NAME = "Visor, 100 % recycled at 50%s"
SOURCE = "Print bench, 2 % sampled, 5%d"


@pytest.fixture
def officer(client_for: Callable[[User], Client]) -> Client:
    return client_for(factories.make_person("quality officer"))


def test_a_per_cent_sign_in_a_name_is_said_as_it_is(officer: Client) -> None:
    revision = factories.sampled_revision(code="HB", name=NAME)
    of = f"?{urlencode({'part': 'HB', 'source': SOURCE})}"

    def lots(count: int, fate: Callable[..., object]) -> None:
        for _ in range(count):
            fate(factories.make_lot(revision, source=SOURCE, bags=(NewBag(500),)))

    def says(words: str, page: str, query: str = "", **sent: str) -> None:
        to = reverse(f"kitting:{page}", args=[] if query else ["HB"]) + query
        before = Operation.objects.count()
        values = {"op_key": str(uuid.uuid4()), **sent}
        assert words in text_of(officer.post(to, values, follow=True)), page
        assert Operation.objects.count() == before + 1, page

    plan = {"level": "II", "aql_major": "1000", "aql_minor": "2500"}
    words = f"{NAME} is checked in this way from now on."
    says(words, "part-set", way="sample", **plan)
    says(f"The largest dose of {NAME} is recorded.", "part-dose", dose="1234.5")
    from_source = f"{NAME} from {SOURCE}"
    lots(10, factories.accept)
    words = f"{from_source} is on reduced inspection from its next lot on."
    major = f"{of}&grade=major"
    says(words, "inspection-reduce", major, steady="on", reason="Good", password="pass")
    words = f"{from_source} is on normal inspection from its next lot on."
    says(words, "inspection-restore", major, reason="Printer moved")
    lots(7, partial(factories.reject, found=4))
    words = f"{from_source} may be accepted again."
    says(words, "inspection-resume", of, reason="New nozzle")
