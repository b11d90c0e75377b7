"""The proof is shown to fail: each kind of tampering is found, and the row is named."""

from __future__ import annotations

import pytest
from django.db import transaction

from kitting.ledger.proof import CHECKS
from kitting.ledger.proof.faults import Fault, Tally
from tests.commands.tampering import (
    boxes,
    checks,
    evidence,
    journal,
    measuring,
    places,
    printing,
    stock,
)
from tests.commands.tampering.ways import TAMPERERS, Tamperer
from tests.databases import guards_away
from tests.ledgers import History

pytestmark = pytest.mark.django_db


def faults_of(names: set[str]) -> list[Fault]:
    """What some of the checks find; each of them asks for nothing that others found."""
    assert names <= {name for name, _of, _check in CHECKS}
    tallies = [(Tally(name, of), check) for name, of, check in CHECKS if name in names]
    for tally, check in tallies:
        check(tally)
    return [fault for tally, _check in tallies for fault in tally.faults]


def test_there_are_ways_of_tampering_with_everything() -> None:
    rooms = {way.__module__ for way in TAMPERERS}
    known = (boxes, checks, evidence, journal, measuring, places, printing, stock)
    assert rooms == {module.__name__ for module in known}


@pytest.mark.parametrize("tamper", TAMPERERS, ids=lambda f: f.__name__)
def test_tampering_is_found_and_named(tamper: Tamperer, history: History) -> None:
    with transaction.atomic():
        with guards_away():
            expected = tamper(history)
        asked = {check for check, _table, _pk in expected}
        found = {
            (fault.check, fault.table, fault.pk)
            for fault in faults_of(asked | {"schema"})
        }
        transaction.set_rollback(True)
    assert expected
    for check, table, pk in expected:
        name = table if isinstance(table, str) else table._meta.db_table
        assert (check, name, pk) in found
    assert "schema" not in {check for check, _table, _pk in found}
