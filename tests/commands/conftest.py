"""What the tests of backup and restore share."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.backups import Line, make_line


@pytest.fixture
def line(own: Path) -> Line:
    """Work at a line of the database that may be lost."""
    return make_line()
