"""Migrations agree with the models, have names of their own and stand in one line."""

from __future__ import annotations

import re
from io import StringIO

import pytest
from django.core.management import call_command
from django.db import connection
from django.db.migrations.loader import MigrationLoader

from tests.trees import ROOT

APPS = ("kitting", "dispatch")
NUMBERED = re.compile(r"\d{4}_[a-z0-9_]+")


@pytest.mark.django_db
def test_no_migration_is_missing() -> None:
    out = StringIO()
    call_command("makemigrations", "--check", "--dry-run", stdout=out)
    assert "No changes detected" in out.getvalue()


@pytest.mark.parametrize("app", APPS)
def test_migrations_are_numbered_in_one_line_and_named_by_intent(app: str) -> None:
    names = sorted(path.stem for path in (ROOT / app / "migrations").glob("0*.py"))
    assert names
    assert [int(name[:4]) for name in names] == list(range(1, len(names) + 1))
    assert all(NUMBERED.fullmatch(name) and "auto" not in name for name in names)


@pytest.mark.django_db
def test_each_app_ends_in_one_migration_and_all_are_applied() -> None:
    loader = MigrationLoader(connection)
    assert loader.detect_conflicts() == {}
    ours = {key for key in loader.disk_migrations if key[0] in APPS}
    assert ours
    assert ours <= set(loader.applied_migrations)
