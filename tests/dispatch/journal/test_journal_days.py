"""The journal of a workshop that has just begun: its days, and acts that wrote much."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest
from django.test import Client
from django.urls import reverse

from dispatch.journal.queries import acts
from kitting.lots.services import lots
from kitting.models import Link, Operation, Workshop
from tests import factories
from tests.assertions import assert_problem, text_of
from tests.dispatch.journal.reading import EXPORT, JOURNAL, body_of, lines_of
from tests.factories import sign

pytestmark = pytest.mark.django_db

NOON = datetime(2026, 1, 14, 12, tzinfo=UTC)


def take_in(at: datetime, bags: int = 1) -> None:
    new = factories.new_lot(
        factories.make_revision(),
        made_on=date(2026, 1, 1),
        bags=(lots.NewBag(pieces=5),) * bags,
    )
    lots.take_in(lots=[new], sign=sign(now=at))


def test_an_empty_journal_says_so(officer: Client) -> None:
    assert "Nothing was done yet." in text_of(officer.get(JOURNAL))
    assert EXPORT not in text_of(officer.get(JOURNAL))


def test_days_are_those_of_the_workshop(officer: Client) -> None:
    Workshop.objects.update(time_zone="Australia/Sydney")  # UTC + 11 in January
    for minute in (59, 60):  # 23:59 on the 13th, and midnight
        take_in(datetime(2026, 1, 13, 12, tzinfo=UTC) + timedelta(minutes=minute))
    day13 = {"from": "2026-01-13", "to": "2026-01-13"}
    day14 = {"from": "2026-01-14", "to": "2026-01-14"}
    early, late = lines_of(officer, **day13), lines_of(officer, **day14)
    assert (len(early), len(late)) == (1, 1)
    assert early[0].link.seq == late[0].link.seq - 1
    backwards = {"from": "2026-01-14", "to": "2026-01-13"}
    assert_problem(officer.get(JOURNAL, backwards), "days_reversed")
    assert "No act matches." in text_of(officer.get(JOURNAL, {"to": "2025-01-01"}))


def test_of_many_rows_some_are_shown_and_the_rest_counted(
    officer: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(acts, "ROWS", 2)
    take_in(NOON, bags=5)
    seq = Link.objects.get(operation__name="take_in").seq
    answer = officer.get(reverse("dispatch:journal-act", args=[seq]))
    tables = {table.name: table for table in answer.context["act"].tables}
    assert (len(tables["movement"].rows), tables["movement"].more) == (2, 3)
    assert "3 rows more are in the journal as a file." in text_of(answer)


def test_days_as_a_file(officer: Client) -> None:
    for days in (0, 1, 1, 2):
        take_in(NOON + timedelta(days=days))
    day = (NOON + timedelta(days=1)).date().isoformat()
    header, *links = body_of(
        officer.get(EXPORT, {"as": "jsonl", "from": day, "to": day})
    )
    made = Operation.objects.filter(at__date=day)
    assert [link["seq"] for link in links] == [each.link.seq for each in made]
    assert header["first"] == links[0]["seq"]
    assert len(links) == 2
