"""The page that prints command labels: for every bench and desk, and what each does."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse
from django.utils.html import escape

from kitting.models import Print, User
from kitting.packing.queries.commands import command_list, desk_commands, size_commands
from tests import factories
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


def test_who_does_not_pack_reads_what_each_command_does(
    client_for: Callable[[User], Client], at: Packing
) -> None:
    operator = client_for(factories.make_person("line operator"))
    assert operator.get(reverse("kitting:benches")).status_code == 403
    room = operator.get("/labels/").content.decode()
    assert 'href="/labels/print/command/?all=1"' in room
    page = words(operator.get("/labels/print/command/", {"all": "1"}))
    for command, does in (*size_commands(), *command_list(), *desk_commands()):
        assert f" {command} {' '.join(escape(does).split())} " in page
