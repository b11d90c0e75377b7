"""Migrations agree with the models, have names of their own and stand in one line."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
from django.db import connection
from django.db.migrations.loader import MigrationLoader

from tests.patience import PATIENCE_S
from tests.trees import ROOT

APPS = ("kitting", "dispatch")
NUMBERED = re.compile(r"\d{4}_[a-z0-9_]+")


def test_no_migration_is_missing(tmp_path: Path) -> None:
    """Asked in a process of its own, whose models no test has touched."""
    command = [sys.executable, "manage.py", "makemigrations", "--check", "--dry-run"]
    own = {**os.environ, "LOTWARD_DATA_DIR": str(tmp_path)}
    done = subprocess.run(
        command, cwd=ROOT, env=own, capture_output=True, text=True, timeout=PATIENCE_S
    )
    assert "No changes detected" in done.stdout, done.stdout + done.stderr
    assert done.returncode == 0


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
