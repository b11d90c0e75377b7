from __future__ import annotations

import csv
import json
from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from dispatch.trace.queries import trace
from dispatch.trace.written import as_json
from tests import factories

pytestmark = pytest.mark.django_db


def run(*arguments: str) -> str:
    out = StringIO()
    call_command("trace", *arguments, stdout=out)
    return out.getvalue()


def sent_box() -> str:
    box = factories.make_labelled_box()
    whom = factories.make_consignee("=Farrow Health Centre")
    factories.send(factories.make_shipment(box, consignee=whom))
    return str(box.serial)


def test_json_is_the_trace_as_one_object() -> None:
    serial = sent_box()
    printed = json.loads(run(serial, "--json"))
    assert printed == json.loads(json.dumps(as_json(trace(serial))))
    assert printed["boxes"][0]["consignee"] == "=Farrow Health Centre"


def test_csv_is_safe_against_spreadsheet_formulas() -> None:
    serial = sent_box()
    rows = list(csv.DictReader(StringIO(run(serial, "--csv"))))
    assert [row["serial"] for row in rows] == [serial]
    assert rows[0]["consignee"] == "'=Farrow Health Centre"


def test_words_name_balance_box_and_consignee() -> None:
    serial = sent_box()
    lot = trace(serial).lots[0].number
    words = run(lot)
    assert "difference 0 (piece)" in words
    assert serial in words
    assert "=Farrow Health Centre, boxes: 1, pieces: 6" in words


def test_an_unknown_number_is_refused_in_a_sentence() -> None:
    with pytest.raises(CommandError, match="NOTHING-1"):
        run("NOTHING-1")
