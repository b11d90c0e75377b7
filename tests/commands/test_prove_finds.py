"""The proof is shown to fail: each kind of tampering is found, and the row is named."""

from __future__ import annotations

import copy

import pytest
from django.db import transaction
from django.db.models import Model

from kitting.ledger.proof import CHECKS
from kitting.ledger.proof.faults import Fault, Tally
from tests.commands.tampering import (
    boxes,
    cases,
    checks,
    complaints,
    drills,
    effectiveness,
    evidence,
    journal,
    measuring,
    notices,
    places,
    printing,
    stock,
)
from tests.commands.tampering.ways import TAMPERERS
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
    known = (
        boxes,
        cases,
        checks,
        complaints,
        drills,
        effectiveness,
        evidence,
        journal,
        measuring,
        notices,
        places,
        printing,
        stock,
    )
    assert rooms == {module.__name__ for module in known}


def test_tampering_is_found_and_named(history: History) -> None:
    missed = {}
    with guards_away():
        for tamper in TAMPERERS:
            with transaction.atomic():
                expected = tamper(copy.deepcopy(history))
                found = {
                    (fault.check, fault.table, fault.pk)
                    for fault in faults_of({check for check, _table, _pk in expected})
                }
                transaction.set_rollback(True)
            named = {(check, named_so(table), pk) for check, table, pk in expected}
            if not named or named - found:
                missed[tamper.__name__] = named - found
    assert missed == {}
    assert faults_of({"schema"}) == []


def named_so(table: type[Model] | str) -> str:
    return table if isinstance(table, str) else table._meta.db_table
