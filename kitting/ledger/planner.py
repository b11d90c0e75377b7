"""What the planner of an SQLite database is told of its tables.

Every hot query is quick without it, and tests hold it to that; with it SQLite also
chooses well among indexes that it would take for equal. PostgreSQL sees to its own.
"""

from __future__ import annotations

from typing import Final

from django.db import connection, transaction

MOST_ROWS: Final = 400
"""Rows of each index that are looked at: milliseconds, however large the table."""

EMPTY: Final = """
INSERT INTO sqlite_stat1 (tbl, stat)
SELECT name, '100' FROM sqlite_schema WHERE type = 'table'
AND name NOT LIKE 'sqlite_%' AND name NOT IN (SELECT tbl FROM sqlite_stat1)
"""
"""SQLite tells itself nothing of an empty table, takes it for one of a million rows, and
would walk all operations to find that nothing is on hold."""


@transaction.atomic
def refresh() -> None:
    """Look at every table anew.

    ``PRAGMA optimize`` would look only at tables that its own connection has asked
    before, and a connection lives for one request here: somebody's scan would pay. So what
    serves nobody does it, once a day: the print worker, and the nightly backup.
    """
    if connection.vendor != "sqlite":
        return
    with connection.cursor() as cursor:
        cursor.execute(f"PRAGMA analysis_limit = {MOST_ROWS}")
        cursor.execute("ANALYZE")
        cursor.execute(EMPTY)
        cursor.execute("ANALYZE sqlite_schema")
