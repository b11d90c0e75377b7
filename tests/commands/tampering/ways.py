"""What ways of tampering share: how rows are changed, and where the ways are listed."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.db import connection
from django.db.models import Model

from kitting.models import Link
from tests.ledgers import History

Named = tuple[str, type[Model] | str, int | None]
"""Check, table, and id of the row that must be named."""
Tamperer = Callable[[History], list[Named]]
TAMPERERS: list[Tamperer] = []


def tamperer(function: Tamperer) -> Tamperer:
    TAMPERERS.append(function)
    return function


def change(row: Model, **values: Any) -> None:
    """Change a row as SQL would: past the services, past save()."""
    changed = type(row)._default_manager.filter(pk=row.pk).update(**values)
    assert changed == 1


def remove(row: Model) -> None:
    with connection.cursor() as cursor:
        table = row._meta.db_table
        cursor.execute(f'DELETE FROM "{table}" WHERE id = %s', [row.pk])
        assert cursor.rowcount == 1


def link_of(row: Any) -> int:
    """Id of the link that seals the act that wrote a row."""
    return Link.objects.get(operation=row.operation_id).pk
