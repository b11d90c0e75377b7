"""Lotward's SQLite: a statement is rewritten once, and as Django rewrites it."""

from __future__ import annotations

import pytest
from django.db import connection
from django.db.backends.sqlite3.base import SQLiteCursorWrapper

from lotward.sqlite.base import Cursor

PLAIN = [
    "SELECT 1",
    "SELECT %s, %s",
    "SELECT '%%' || %s",
    "SELECT %s WHERE 'a' LIKE '%%s' AND %s",
]


@pytest.mark.parametrize("query", PLAIN)
def test_question_marks_go_where_django_puts_them(query: str) -> None:
    django = SQLiteCursorWrapper.convert_query
    for _ in range(2):
        assert Cursor.convert_query(None, query) == django(None, query)


@pytest.mark.django_db
@pytest.mark.skipif(connection.vendor != "sqlite", reason="this is SQLite's cursor")
def test_a_connection_asks_with_marks_and_names() -> None:
    with connection.cursor() as cursor:
        assert isinstance(cursor.cursor, Cursor)
        cursor.execute("SELECT %s || '%%', %s", ["a", 2])
        assert cursor.fetchall() == [("a%", 2)]
        cursor.execute("SELECT %(n)s + %(n)s, %(of)s", {"n": 2, "of": "b"})
        assert cursor.fetchall() == [(4, "b")]
