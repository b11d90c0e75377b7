"""The journal: who did what, by person, thing and day; one act whole; a file."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from datetime import UTC, datetime

import pytest
from django.db import connection
from django.db.models import ForeignKey, Max
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from dispatch.journal.queries import acts, things
from dispatch.shipments import services
from kitting.ledger import holds
from kitting.ledger.proof.chain import sealed_models
from kitting.ledger.seals import sealed_models as changing
from kitting.models import Hold, JournalHead, Link, Operation, RowSeal, User, Workshop
from tests import factories
from tests.assertions import assert_page, assert_problem, text_of
from tests.dispatch.journal.reading import EXPORT, JOURNAL, body_of, lines_of
from tests.factories import sign, sign_by_another
from tests.ledgers import History

pytestmark = pytest.mark.django_db


def names(lines: list[acts.Line]) -> list[str]:
    return [line.operation.name for line in lines]


def numbers(lines: list[acts.Line]) -> list[int]:
    return [line.link.seq for line in lines]


# -- The list --------------------------------------------------------------------------


@pytest.mark.parametrize("role", ["quality officer", "manager", "clerk"])
def test_who_may_recall_may_read_it(
    role: str, client_for: Callable[[User], Client]
) -> None:
    client = client_for(factories.make_person(role))
    assert_page(client.get(JOURNAL))
    assert_page(client.get(EXPORT))


def test_who_may_not_recall_may_not_read_it(
    client_for: Callable[[User], Client],
) -> None:
    client = client_for(factories.make_person("packer"))
    assert client.get(JOURNAL).status_code == 403
    lot = factories.make_lot()
    page = client.get(reverse("kitting:lot-detail", args=[lot.number]))
    assert JOURNAL not in text_of(page)


def test_the_newest_act_comes_first_with_all_that_a_line_says(
    officer: Client, history: History
) -> None:
    person = factories.make_person("clerk", name="Robin")
    now = datetime(2099, 1, 14, 12, tzinfo=UTC)
    holds.place_hold(
        target="lot",
        value=history.band_lot.pk,
        reason="Doubt",
        sign=sign(by=person, now=now),
    )
    Workshop.objects.update(time_zone="Australia/Sydney")
    answer = officer.get(JOURNAL)
    newest = JournalHead.objects.get()
    first = answer.context["lines"][0]
    assert first.link.seq == newest.seq
    row = answer.content.decode().split("<tbody>")[1].split("</tr>")[0]
    for told in (
        reverse("dispatch:journal-act", args=[newest.seq]),
        "2099-01-14 23:00",
        "Hold placed",
        str(person),
        reverse("kitting:lot-detail", args=[history.band_lot.number]),
    ):
        assert told in row
    digits = bytes(newest.hash).hex()
    assert first.mark == digits[:16]
    assert "".join(re.findall('four">([0-9a-f]{4})<', row)[-4:]) == digits[:16]


def test_an_act_that_wrote_no_row_is_told_by_its_outcome(
    officer: Client, history: History
) -> None:
    assert history
    (line,) = lines_of(officer, act="load_bag")
    gave = json.loads(line.link.outcome)
    told = {str(each.kind.word): each.name for each in line.about}
    assert told == {"carrier": gave["carrier"], "bag": gave["bag"]}
    page = officer.get(JOURNAL, {"act": "load_bag"})
    assert reverse("kitting:bag-detail", args=[gave["bag"]]) in text_of(page)


def test_pages_follow_without_gap_or_repetition(
    officer: Client, history: History, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert history
    monkeypatch.setattr(acts, "ROWS", 40)
    met: list[int] = []
    before: dict[str, object] = {}
    for _page in range(9):
        answer = officer.get(JOURNAL, before)
        met += numbers(answer.context["lines"])
        older = answer.context["page"].older
        assert ("Newest" in text_of(answer)) == bool(before)
        assert (f'?older={older}"' in text_of(answer)) == bool(older)
        if not older:
            break
        before = {"older": older}
    assert met == list(range(JournalHead.objects.get().seq, 0, -1))


# -- Filters ---------------------------------------------------------------------------


def test_acts_of_one_person(officer: Client, history: History) -> None:
    assert history
    robin = factories.make_person("clerk", name="Robin")
    whom = factories.make_consignee().pk
    services.begin_shipment(consignee_id=whom, reference="", sign=sign(by=robin))
    found = lines_of(officer, by=robin.username)
    assert names(found) == ["begin_shipment"]
    assert_problem(officer.get(JOURNAL, {"by": "nobody"}), "invalid_choice")


def test_acts_of_one_kind(officer: Client, history: History) -> None:
    assert history
    found = lines_of(officer, act="close_box")
    assert names(found) == ["close_box"] * 5
    assert numbers(found) == sorted(numbers(found), reverse=True)
    assert_problem(officer.get(JOURNAL, {"act": "made_up"}), "invalid_choice")


@pytest.mark.smoke
def test_acts_with_one_thing_of_any_kind(officer: Client, history: History) -> None:
    """Each thing's acts are those whose rows name it, and no other's."""
    bag = history.band_lot.bags.earliest("pk")
    wanted = {
        bag.number: {"take_in", "bring_bag", "start_box"},
        history.band_lot.number: {"take_in", "give_verdict", "start_box"},
        history.released.number: {"open_run", "put_on", "close_run"},
        str(history.voided): {"start_box", "close_box", "see_label", "void_box"},
        history.gone.number: {"begin_shipment", "load_box", "send_shipment"},
        f"{history.retired.code}/{history.retired.version}": {
            *("sign_protocol", "retire_protocol"),
        },
    }
    by_hand = _by_hand([things.things_named(number)[0] for number in wanted])
    for (number, some), links in zip(wanted.items(), by_hand, strict=True):
        found = lines_of(officer, about=number)
        assert some <= set(names(found)), number
        assert set(numbers(found)) == links, number
    assert lines_of(officer, about=history.gone.number.lower())


def _by_hand(wanted: list[object]) -> list[set[int]]:
    """Links of acts with a row that names each thing, found row by row."""
    found: list[set[int]] = [set() for _ in wanted]
    for model in sealed_models():
        for row in model._default_manager.all():
            named = {
                getattr(row, field.name)
                for field in model._meta.concrete_fields
                if isinstance(field, ForeignKey)
            }
            beyond = {
                getattr(each, field.name)
                for each in named
                if type(each) in sealed_models()
                for field in type(each)._meta.concrete_fields
                if isinstance(field, ForeignKey)
            }
            if isinstance(row, RowSeal):
                named = _sealed_names(row)
            for thing, links in zip(wanted, found, strict=True):
                if thing in named | beyond:
                    links.add(row.operation.link.seq)
    return found


def _sealed_names(seal: RowSeal) -> set[object]:
    """The thing that a seal is of, or those that a row joins which is none itself."""
    model = changing()[seal.of]
    row = model._default_manager.filter(pk=seal.row).first()
    if model in {kind.model for kind in things.KINDS} or row is None:
        return {row}
    return {
        getattr(row, field.name)
        for field in model._meta.concrete_fields
        if isinstance(field, ForeignKey)
    }


def test_lifting_a_hold_is_an_act_with_what_was_held(
    officer: Client, history: History
) -> None:
    hold = Hold.objects.filter(lift__isnull=False, lot__isnull=False).first()
    if hold is None:
        placed = holds.place_hold(
            target="lot", value=history.band_lot.pk, reason="Doubt", sign=sign()
        )
        holds.lift_hold(
            hold_id=placed.hold_id, reason="Looked at", sign=sign_by_another()
        )
        hold = Hold.objects.get(pk=placed.hold_id)
    assert hold.lot is not None
    assert "lift_hold" in names(lines_of(officer, about=hold.lot.number))


@pytest.mark.smoke
def test_what_names_nothing_is_said(officer: Client, history: History) -> None:
    assert history
    answer = officer.get(JOURNAL, {"about": "NOTHING-1"})
    assert_problem(answer, "nothing_has_number")
    assert "so nothing is shown" in text_of(answer)
    assert officer.get(JOURNAL, {"about": "A/99999999999999999999"}).status_code == 422
    newest = numbers(lines_of(officer))
    for odd in ("10" * 40, "-1", "x", "\x00", "٣"):
        assert numbers(lines_of(officer, older=odd)) == newest


def test_filters_go_together_and_older_acts_keep_them(
    officer: Client, history: History, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(acts, "ROWS", 2)
    number = str(history.sent)
    page = officer.get(JOURNAL, {"about": number, "act": ""})
    older = page.context["page"].older
    assert f"about={number}&amp;act=&amp;older={older}" in text_of(page)
    (all_of_it,) = _by_hand([history.sent])
    following = lines_of(officer, about=number, older=older)
    newest = sorted(all_of_it, reverse=True)
    assert numbers(following) == newest[2:4]
    assert names(lines_of(officer, about=number, act="close_box")) == ["close_box"]


@pytest.mark.parametrize("kind", ["lot", "bag", "run", "box", "shipment", "protocol"])
def test_each_thing_leads_to_its_own_acts(
    kind: str, officer: Client, history: History
) -> None:
    thing, args = {
        "lot": ("kitting:lot-detail", [history.band_lot.number]),
        "bag": ("kitting:bag-detail", [history.band_lot.bags.earliest("pk").number]),
        "run": ("kitting:run-detail", [history.released.number]),
        "box": ("kitting:box-detail", [str(history.sent)]),
        "shipment": ("dispatch:shipment-detail", [history.gone.number]),
        "protocol": (
            "kitting:protocol-detail",
            [history.retired.code, history.retired.version],
        ),
    }[kind]
    text = text_of(officer.get(reverse(thing, args=args)))
    (link,) = re.findall(f'href="({JOURNAL}[^"]+)"', text)
    assert lines_of(officer, **dict([link.split("?")[1].split("=")]))


def test_an_open_shipment_leads_to_its_own_acts(
    officer: Client, history: History
) -> None:
    number = history.waiting.number
    page = officer.get(reverse("dispatch:shipment-detail", args=[number]))
    assert f"{JOURNAL}?about={number}" in text_of(page)


# -- What it costs ---------------------------------------------------------------------


def test_it_asks_the_same_for_any_number_of_acts(
    officer: Client, history: History, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert history
    asked = []
    for rows in (3, 50):
        monkeypatch.setattr(acts, "ROWS", rows)
        with CaptureQueriesContext(connection) as queries:
            assert len(lines_of(officer)) == rows
        asked.append(len(queries))
    assert asked[0] == asked[1] <= 12


@pytest.mark.smoke
def test_no_act_asks_more_than_a_page_may(officer: Client, history: History) -> None:
    assert history
    newest = Operation.objects.values("name").annotate(seq=Max("link__seq"))
    seqs = {1, *newest.values_list("seq", flat=True)}  # one of each name, and the first
    assert len(seqs) > 40
    for seq in sorted(seqs):
        with CaptureQueriesContext(connection) as queries:
            assert_page(officer.get(reverse("dispatch:journal-act", args=[seq])))
        assert len(queries) <= 15, seq


# -- One act ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "words", "wrote"),
    [
        ("void_box", "Box voided", {"box event", "movement"}),
        ("close_box", "Box closed", {"box event", "box"}),
    ],
)
def test_an_act_shows_its_link_and_all_that_it_wrote(
    officer: Client, history: History, name: str, words: str, wrote: set[str]
) -> None:
    its = history.voided.events.values("operation")
    link = Link.objects.get(operation__name=name, operation__in=its)
    before = Link.objects.get(seq=link.seq - 1)
    answer = officer.get(reverse("dispatch:journal-act", args=[link.seq]))
    assert_page(answer)
    text = text_of(answer)
    plain = re.sub("<[^>]*>", "", text).replace(" ", "")
    assert bytes(link.hash).hex() in plain
    assert bytes(before.hash).hex() in plain
    assert words in text
    assert reverse("kitting:box-detail", args=[str(history.voided)]) in text
    written = {
        str(model._meta.verbose_name): model._default_manager.filter(
            operation=link.operation
        ).count()
        for model in sealed_models()
        if model is not RowSeal
    }
    tables = answer.context["act"].tables
    shown = {each.name: len(each.rows) for each in tables if not each.changed}
    assert shown == {name: count for name, count in written.items() if count}
    seals = RowSeal.objects.filter(operation=link.operation)
    left = {each.name: each for each in tables if each.changed}
    assert sum(len(each.rows) for each in left.values()) == seals.count()
    assert wrote <= {each.name for each in tables}
    for seal in seals:
        table = left[str(changing()[seal.of]._meta.verbose_name)]
        (row,) = (row for row in table.rows if row[0] == str(seal.row))
        said = json.loads(seal.text or "{}")
        assert {name: acts.plain(value) for name, value in said.items()}.items() <= (
            dict(zip(table.columns, row, strict=True)).items()
        )
    for seq in (link.seq - 1, link.seq + 1):
        assert reverse("dispatch:journal-act", args=[seq]) in text


def test_the_first_and_the_newest_act_lead_one_way(
    officer: Client, history: History
) -> None:
    assert history
    newest = JournalHead.objects.get().seq
    first = officer.get(reverse("dispatch:journal-act", args=[1])).context["act"]
    last = officer.get(reverse("dispatch:journal-act", args=[newest])).context["act"]
    assert (first.seq_before, first.before, first.seq_after) == (0, "", 2)
    assert (last.seq_before, last.seq_after) == (newest - 1, 0)
    none = reverse("dispatch:journal-act", args=[newest + 1])
    assert officer.get(none).status_code == 404
    assert officer.get(f"{JOURNAL}{'9' * 30}/").status_code == 404


# -- A file ----------------------------------------------------------------------------


def test_all_of_it_or_some_acts_as_a_file(officer: Client, history: History) -> None:
    assert history
    newest = JournalHead.objects.get().seq
    for asked, first, last in (
        ({}, 1, newest),
        ({"first": 3, "last": 5}, 3, 5),
        ({"first": 3}, 3, newest),
        ({"last": 2}, 1, 2),
    ):
        answer = officer.get(EXPORT, {"as": "jsonl", **asked})
        name = f'attachment; filename="journal-1-{first}-{last}.jsonl"'
        assert answer["Content-Disposition"] == name
        header, *links = body_of(answer)
        assert (header["first"], header["last"]) == (first, last)
        assert [link["seq"] for link in links] == list(range(first, last + 1))


@pytest.mark.parametrize(
    ("asked", "code"),
    [
        ({"first": "x"}, "invalid"),
        ({"first": 0}, "min_value"),
        ({"first": 5, "last": 4}, "no_such_links"),
        ({"first": 10**6}, "no_such_links"),
        ({"from": "2026-01-01", "first": 2}, "days_and_links"),
        ({"to": "2001-01-01"}, "nothing_done"),
        ({"from": "soon"}, "invalid"),
        ({"from": "2026-01-02", "to": "2026-01-01"}, "days_reversed"),
    ],
)
def test_what_cannot_be_chosen_is_said(
    officer: Client, history: History, asked: dict[str, object], code: str
) -> None:
    assert history
    assert_problem(officer.get(EXPORT, {"as": "jsonl", **asked}), code)


def test_the_page_offers_the_checker(officer: Client, history: History) -> None:
    assert history
    text = text_of(officer.get(EXPORT))
    assert '/static/dispatch/journal/check_journal.py" download' in text
