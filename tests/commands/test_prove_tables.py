"""A check is passed over only while it could find nothing: its tables have no row."""

from __future__ import annotations

from collections.abc import Iterable

import pytest
from django.db import connection, transaction
from django.db.models import Model

from kitting.ledger.proof import CHECKS, TABLES, examine
from kitting.ledger.proof.faults import Tally
from kitting.ledger.proof.streams import filled
from tests.databases import guards_away
from tests.factories import seal_set_up
from tests.ledgers import History

pytestmark = pytest.mark.django_db

NAMED = {model for tables in TABLES.values() for model in tables}


def each_asked() -> tuple[Tally, ...]:
    """What the checks find of which none is passed over."""
    tallies = [(Tally(name, of), check) for name, of, check in CHECKS]
    for tally, check in tallies:
        check(tally)
    return tuple(tally for tally, _check in tallies)


def empty(models: Iterable[type[Model]]) -> None:
    with connection.cursor() as cursor:
        for model in models:
            cursor.execute(f'DELETE FROM "{model._meta.db_table}"')


def test_a_proof_of_little_finds_what_each_check_finds() -> None:
    seal_set_up()
    assert len(filled([*NAMED])) < len(NAMED)
    assert examine().tallies == each_asked()


def test_a_proof_of_much_finds_what_each_check_finds(history: History) -> None:
    assert set(filled([*NAMED])) == NAMED
    assert examine().tallies == each_asked()


def test_a_check_finds_nothing_while_its_tables_are_empty(history: History) -> None:
    """Whatever all the other tables hold."""
    found = {}
    with guards_away():
        for name, of, check in CHECKS:
            if name in TABLES:
                tally = Tally(name, of)
                with transaction.atomic():
                    empty(TABLES[name])
                    check(tally)
                    transaction.set_rollback(True)
                found[name] = tally
    assert found.keys() == TABLES.keys()
    assert found == {name: Tally(name, found[name].of) for name in found}
