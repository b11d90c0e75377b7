"""Printers in a workshop's catalogue: loaded by the rules of their page, and written."""

from __future__ import annotations

from typing import Any

import pytest

from kitting.ledger.listing import written_catalogue
from tests.commands.test_catalogue import WHOLE, load, refused

pytestmark = pytest.mark.django_db
NEEDED = {name: WHOLE[name] for name in ("places", "benches", "stocks")}


def printer(**changes: Any) -> dict[str, Any]:
    return {
        "code": "BENCH-1",
        "name": "Printer at bench 1",
        "address": "ipp://192.0.2.7/ipp/print",  # RFC 5737: for documents
        "head_um": 25_400,
        "head_dots": 203,
        "stock": WHOLE["stocks"][0]["code"],
        "bench": WHOLE["benches"][0]["code"],
        **changes,
    }


def test_printers_are_loaded_by_the_rules_of_their_page_and_written_again() -> None:
    rows = [
        printer(),
        printer(code="STORE", name="Store", active=False, head_dots=300),
    ]
    del rows[1]["bench"]
    assert load({**NEEDED, "printers": rows}).printers == 2
    assert written_catalogue()["printers"] == rows
    assert load({**NEEDED, "printers": rows}).printers == 0
    assert refused({"printers": [rows[1] | {"bench": rows[0]["bench"]}]}) == {
        "printers[1].bench": "catalogue_differs"
    }
    wrong = [
        {"code": "FIRST", "address": "http://192.0.2.7/"},
        {"code": "SECOND", "stock": "NONE"},
        {"code": "THIRD", "bench": "NONE"},
        {"code": "FOURTH", "head_dots": 0},
        {"code": "fifth one"},
        {"code": "SIXTH", "asleep_until": "2026-01-05"},
    ]
    assert refused({"printers": [printer(**each) for each in wrong]}) == {
        "printers[1]": "printer_address_wrong",
        "printers[2].stock": "catalogue_no_such",
        "printers[3].bench": "catalogue_no_such",
        "printers[4]": "head_out_of_range",
        "printers[5].code": "code_malformed",
        "printers[6].asleep_until": "catalogue_name",
    }
