"""The demo, built once for all tests of commands."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from django.conf import LazySettings
from django.core.management import call_command
from django.test import override_settings
from pytest_django import DjangoDbBlocker

from lotward.demo import room
from tests.conftest import once
from tests.demo import NAME, TODAY, Demo, copy_of, working_on


@pytest.fixture(scope="session")
def built(shared: Path, django_db_blocker: DjangoDbBlocker) -> Demo:
    """One build for all workers of this run."""
    folder = shared / room.FOLDER
    said = folder / "said"
    with once(shared, "demo") as mine:
        if mine:
            folder.mkdir()
            at_home = override_settings(DATA_DIR=folder, ALLOWED_HOSTS=["localhost"])
            at_work = working_on(folder)
            with django_db_blocker.unblock(), at_home, at_work, said.open("w") as out:
                call_command("demo", "--no-serve", "--today", TODAY, stdout=out)
    return Demo(folder / NAME, said.read_text())


@pytest.fixture
def demo(
    built: Demo,
    tmp_path: Path,
    settings: LazySettings,
    django_db_blocker: DjangoDbBlocker,
) -> Iterator[Demo]:
    """A copy of the demo, as the database of this test."""
    folder = tmp_path / room.FOLDER
    copy_of(built.file, folder)
    settings.DATA_DIR = folder
    settings.ALLOWED_HOSTS = ["localhost", "127.0.0.1"]
    with django_db_blocker.unblock(), working_on(folder) as file:
        yield Demo(file, built.said)
