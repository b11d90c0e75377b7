"""What is set up, by a word and a name: the acts that changed it, and the way there."""

from __future__ import annotations

import re
from collections.abc import Callable
from urllib.parse import unquote, unquote_plus

import pytest
from django.test import Client
from django.urls import reverse

from dispatch.journal.queries import things
from kitting.disinfection.services import lamps
from kitting.models import Bench, Lamp, Meter, Method, Printer, RowSeal, User
from kitting.models.catalogue import PlaceKind
from kitting.packing.services.benches import change_bench
from kitting.printing.services import label_words
from tests import factories
from tests.assertions import assert_problem, text_of
from tests.dispatch.journal.reading import JOURNAL, lines_of
from tests.factories import TODAY, sign
from tests.ledgers import History

pytestmark = pytest.mark.django_db


def test_what_is_set_up_leads_to_the_acts_that_changed_it(
    officer: Client, history: History, client_for: Callable[[User], Client]
) -> None:
    bench, printer = Bench.objects.earliest("pk"), Printer.objects.earliest("pk")
    factories.make_method()
    kind = factories.make_kind()
    factories.seal_set_up()
    change_bench(code=bench.code, name="By the door", active=True, sign=sign())
    client = client_for(factories.make_person("manager"))
    for page, thing in {
        "kitting:meter-detail": Meter.objects.earliest("pk").serial,
        "kitting:place-detail": bench.place.code,
        "kitting:bench-change": bench.code,
        "kitting:kind-change": kind.code,
        "kitting:part-detail": history.band.part.code,
        "kitting:product-detail": history.size.product.code,
        "kitting:method-detail": Method.objects.earliest("pk").code,
        "kitting:printer-detail": printer.code,
        "kitting:stock-change": printer.stock.code,
        "dispatch:consignee-detail": history.gone.consignee.code,
        "kitting:person-detail": User.objects.get(username="tester").pk,
        "kitting:workshop": None,
    }.items():
        args = [] if thing is None else [thing]
        text = text_of(client.get(reverse(page, args=args)))
        (link,) = re.findall(f'href="{JOURNAL}[?]about=([^"]+)"', text)
        about = unquote(link)
        (named,) = things.things_named(about)
        if isinstance(thing, str):
            assert thing in vars(named).values(), page
        sealed = RowSeal.objects.filter(of=named._meta.db_table, row=named.pk)
        changed = set(sealed.values_list("operation", flat=True))
        assert changed, page
        acts = {one["operation_id"] for one in things.acts_with([named])}
        assert changed <= acts, page
        assert lines_of(officer, about=about), page
    assert (
        lines_of(officer, about=f"bench {bench.code}")[0].operation.name
        == "change_bench"
    )


def test_a_line_of_a_table_leads_to_its_own_acts(
    officer: Client, client_for: Callable[[User], Client]
) -> None:
    line, other = (factories.make_place(PlaceKind.LINE) for _ in range(2))
    for place, name in ((line, "Top 1"), (line, "Top 2"), (other, "Top 1")):
        fit = {"line_id": place.pk, "name": name, "on": TODAY, "rated_hours": None}
        lamps.fit_lamp(**fit, sign=sign())
    lamp = Lamp.objects.get(line=line, name="Top 1")
    lamps.read_hours(lamp_id=lamp.pk, on=TODAY, hours=9, sign=sign())
    lamps.change_lamp(lamp_id=lamp.pk, on=TODAY, rated_hours=None, sign=sign())
    report = factories.make_protocol().evidence_rows.get().evidence
    for language in ("el", "fr"):
        words = {"language": language, "words": {"packed": "Συσκευάστηκε"}}
        label_words.keep_words(**words, reviewed_by="", sign=sign())
    emptied = {"language": "el", "words": {"packed": ""}}
    label_words.keep_words(**emptied, reviewed_by="", sign=sign())
    other_word = {"language": "el", "words": {"sets": "σετ"}}
    label_words.keep_words(**other_word, reviewed_by="", sign=sign())
    manager = client_for(factories.make_person("manager"))
    for page, about, done in (
        (["kitting:lamps"], f"lamp {lamp.line.code} Top 1", LAMP),
        (["kitting:evidence"], f"evidence {report.code}", EVIDENCE),
        (["kitting:label-words-in", ["el"]], "words el", ["keep_words"] * 3),
    ):
        text = text_of(manager.get(reverse(page[0], args=page[1:] and page[1])))
        links = re.findall(f'href="{JOURNAL}[?]about=([^"]+)"', text)
        assert about in map(unquote_plus, links)
        assert [each.operation.name for each in lines_of(officer, about=about)] == done
    packer = client_for(factories.make_person("packer"))
    for page in ("kitting:lamps", "kitting:evidence"):
        assert JOURNAL not in text_of(packer.get(reverse(page)))


LAMP = ["change_lamp", "read_hours", "fit_lamp"]
EVIDENCE = ["sign_protocol", "record_evidence"]


def test_a_word_before_a_name_that_nothing_has_is_said(officer: Client) -> None:
    for text in ("part NONE", "workshop 9", "stock"):
        assert_problem(officer.get(JOURNAL, {"about": text}), "nothing_has_number")
    assert officer.get(JOURNAL, {"about": "part \0"}).status_code == 422
