"""A box for practice: every step of the bench, and nothing of it in the database."""

from __future__ import annotations

from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urlsplit
from uuid import uuid4

import pytest
from django.db import connection
from django.test import Client
from django.urls import reverse

from kitting.ledger import holds, keys
from kitting.models import Box, JournalHead, Operation, Part, Recipe
from kitting.models.catalogue import Per
from kitting.packing.services.practice import SAID, practise
from tests import factories
from tests.assertions import assert_problem, assert_sent_to_sign_in
from tests.benches import Packing, state, step, words
from tests.factories import sign

pytestmark = pytest.mark.django_db

PAGE = reverse("kitting:practice")


def everything() -> dict[str, list[Any]]:
    """Every row of every table, but of what signing in and looking writes."""
    found = {}
    with connection.cursor() as cursor:
        for table in connection.introspection.table_names(cursor):
            if not table.startswith(("django_session", "axes_")):
                cursor.execute(f'SELECT * FROM "{table}"')
                found[table] = sorted(map(repr, cursor.fetchall()))
    assert len(found) > 40
    return found


class Packer:
    """Somebody who practises, with the screen that they see."""

    def __init__(self, client: Client) -> None:
        self.client = client
        self.address = PAGE
        self.shown = client.get(PAGE)

    def scan(self, text: str) -> Any:
        answer = self.client.post(
            self.address, {"scan": text, "op_key": uuid4(), "box": "X"}
        )
        if answer.status_code == 302:
            self.address = answer.url
            answer = self.client.get(self.address)
        self.shown = answer
        assert "Practice: nothing counts" in words(answer)
        return answer


@pytest.fixture
def practising(client: Client, at: Packing) -> Packer:
    return Packer(client)


def pack(practising: Packer) -> list[str]:
    """Pack a whole box; give the steps that the screen went through."""
    steps = [step(practising.shown)]
    for text in ("ACT-BOX-6", SAID, SAID, SAID, "ACT-CLOSE", SAID):
        shown = practising.scan(text)
        assert shown.status_code == 200
        steps.append(step(shown))
    return steps


@pytest.mark.smoke
def test_a_whole_box_is_packed_and_the_database_is_as_it_was(
    practising: Packer, at: Packing
) -> None:
    before = everything()
    steps = pack(practising)
    assert steps == ["choose", "fill", "fill", "fill", "close", "label", "choose"]
    assert "Box TEST labelled" in words(practising.shown)
    assert everything() == before
    assert not Box.objects.exists()
    assert factories.prove() == []


def test_a_real_box_packed_after_it_gets_the_number_that_it_would_have(
    practising: Packer, at: Packing
) -> None:
    pack(practising)
    box = factories.make_closed_box(at.size, at.bench)
    assert (str(box.serial)[2:8], str(box.number)[2:8]) == ("000001", "000001")
    assert str(box.sscc)[:-1].endswith("1")


def test_no_screen_shows_a_number(practising: Packer, at: Packing) -> None:
    import re

    number = re.compile(r"\b[BLXK]1[0-9]{6,}[0-9A-Z]\b")
    for text in ("ACT-BOX-6", SAID, SAID, SAID, "ACT-CLOSE", "ACT-PRINT", SAID):
        shown = practising.scan(text)
        plain = shown.content.decode().replace('</span><span class="four">', "")
        assert not number.search(plain), text
        assert reverse("kitting:box-label", args=[SAID]) not in plain
    wrong = practising.scan("ACT-CLOSE")
    assert wrong.status_code == 422
    assert not number.search(wrong.content.decode())


def test_the_rules_are_those_of_the_bench(practising: Packer, at: Packing) -> None:
    assert_problem(practising.scan("ACT-CLOSE"), "bench_has_no_box", status=422)
    assert parse_qs(urlsplit(practising.address).query) == {}
    practising.scan("ACT-BOX-6")
    refused = practising.scan("ACT-CLOSE")
    assert (state(refused), refused.status_code) == ("wrong", 422)
    assert "Headband" in words(refused)
    assert_problem(practising.scan("ACT-BOX-6"), "bench_has_a_box", status=409)
    assert step(practising.scan("ACT-CANCEL-SIZE")) == "choose"
    practising.scan("ACT-BOX-6")
    practising.scan(SAID)
    assert step(practising.scan("ACT-TAKE-OFF")) == "fill"


def test_a_hold_that_comes_meanwhile_stops_what_was_practised(
    practising: Packer, at: Packing
) -> None:
    """The bags of practice are of the revision, so that it reaches them as well."""
    for text in ("ACT-BOX-6", SAID, SAID):
        practising.scan(text)
    assert practising.shown.context["screen"].asked.part == "Manual"
    holds.place_hold(target="revision", value=at.band.pk, reason="Torn", sign=sign())
    before = everything()
    refused = practising.scan(SAID)
    assert (refused.status_code, state(refused)) == (422, "wrong")
    assert "Bag TEST is on hold by" in words(refused)
    practising.address = refused.context["scan_url"]  # Where its keys and scans go.
    assert step(practising.scan("ACT-CANCEL-SIZE")) == "choose"
    assert everything() == before


def test_a_real_bag_is_judged_and_stays_where_it_is(
    practising: Packer, at: Packing
) -> None:
    before = everything()
    practising.scan("ACT-BOX-6")
    practising.scan(at.band_bag.number)
    assert everything() == before
    holds.place_hold(target="bag", value=at.visor_bag.pk, reason="Doubt", sign=sign())
    assert practising.scan(at.visor_bag.number).status_code == 422
    assert "Doubt" in words(practising.shown)


def test_what_must_be_checked_and_disinfected_is_there_for_practice(
    client: Client,
) -> None:
    part = factories.make_part(name="Visor", needs_check=True, needs_clearing=True)
    recipe = factories.make_recipe([(factories.make_revision(part), 1, Per.SET)])
    factories.make_size(recipe, 6)
    practising = Packer(client)
    before = everything()
    practising.scan("ACT-BOX-6")
    assert step(practising.scan(SAID)) == "close"
    assert step(practising.scan("ACT-CLOSE")) == "label"
    assert everything() == before


def test_an_empty_journal_stays_empty_and_gets_no_key(
    make_user: Any, settings: Any, tmp_path: Path
) -> None:
    revision = factories.make_revision(factories.make_part())
    factories.make_size(factories.make_recipe([(revision, 1, Per.SET)]), 6)
    assert JournalHead.objects.get().seq == 0
    settings.DATA_DIR = tmp_path
    scans = ["ACT-BOX-6", SAID, "ACT-CLOSE", SAID]
    done = practise(by=make_user("new"), scans=scans, key=uuid4())
    assert (done.refusal, len(done.kept)) == (None, 4)
    assert not keys.path().exists()
    assert not Operation.objects.exists()


def test_without_a_recipe_there_is_nothing_to_practise(
    client: Client, at: Packing
) -> None:
    Recipe.objects.update(in_force=False)
    factories.make_recipe()  # In force, but there is no box of it.
    answer = client.get(PAGE, follow=True)
    assert answer.redirect_chain == [(reverse("kitting:benches"), 302)]
    assert "there is no box to practise with" in words(answer)


def test_what_no_longer_holds_is_left_out_of_the_address(
    practising: Packer, at: Packing
) -> None:
    practising.scan("ACT-BOX-6")
    address = practising.address
    at.size.active = False
    at.size.save()
    factories.make_size(at.recipe, 60)
    answer = practising.client.get(address)
    assert (answer.status_code, answer.url) == (302, PAGE)


@pytest.mark.parametrize("text", ["\0", "x" * 9_000, "]C1", "<b>", SAID])
def test_whatever_is_scanned_is_answered(practising: Packer, text: str) -> None:
    assert practising.scan(text).status_code in {404, 422}
    assert practising.client.get(PAGE, {"s": text}).status_code == 302


def test_so_many_scans_are_done_again_and_no_more(practising: Packer) -> None:
    asked = {"s": ["ACT-NEXT"] * 70}
    answer = practising.client.get(PAGE, asked)
    assert answer.status_code == 302
    assert answer.url.count("ACT-NEXT") == 60


def test_who_may_not_pack_does_not_practise(
    at: Packing, outsider: Any, client_for: Any
) -> None:
    assert_sent_to_sign_in(Client().get(PAGE))
    assert client_for(outsider).get(PAGE).status_code == 403
    clerk = client_for(factories.make_person("clerk"))
    assert clerk.post(PAGE, {"scan": "ACT-BOX-6"}).status_code == 403
    assert Part.objects.exists()
