"""The page that prints command labels: for every bench and desk, and what each does."""

from __future__ import annotations

import pytest
from django.test import Client

from kitting.models import Print
from tests.benches import Packing, make_packing
from tests.databases import once_a_module
from tests.kitting.printing.pages.asking import keyed, words

pytestmark = pytest.mark.django_db


@once_a_module
def at() -> Packing:
    return make_packing()


def test_a_second_set_of_command_labels_is_printed_like_the_first(
    client: Client, at: Packing
) -> None:
    address = "/labels/print/command/?n=ACT-CLOSE"
    for copy in (1, 2):
        page = client.get(address)
        assert not {"reason", "destroyed"} & set(page.context["form"].fields)
        assert "reprint" not in words(page)
        sent = keyed(n=["ACT-CLOSE"], where="pdf")
        for _ in range(2):  # sent twice, done once
            assert client.post(address, sent).status_code == 302
        assert Print.objects.filter(kind="command").count() == copy
