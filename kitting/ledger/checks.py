"""System check: every guard stands in the database."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.core.checks import CheckMessage, Error, Tags, register
from django.db import connections

from kitting.ledger.guards import guarded_models, missing_guards


@register(Tags.database)
def guards_stand(
    *, databases: Sequence[str] | None = None, **_: Any
) -> list[CheckMessage]:
    """kitting.E001: a guard of the database is missing or altered."""
    found: list[CheckMessage] = []
    for alias in databases or []:
        connection = connections[alias]
        tables = set(connection.introspection.table_names())
        if any(m._meta.db_table not in tables for m in guarded_models()):
            continue  # not migrated yet: migrate installs them
        missing = missing_guards(connection)
        if missing:
            found.append(
                Error(
                    f"Guards missing in database {alias!r}: {', '.join(missing)}.",
                    hint="Find out who removed them, then run manage.py migrate.",
                    id="kitting.E001",
                )
            )
    return found
