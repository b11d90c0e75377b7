"""The demo, built once for all tests of commands."""

from __future__ import annotations

import io
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.conf import LazySettings
from django.core.management import call_command
from django.test import override_settings
from pytest_django import DjangoDbBlocker

from lotward.demo import room
from tests.demo import Demo, copy_of, working_on


@pytest.fixture(scope="session")
def built(
    tmp_path_factory: pytest.TempPathFactory, django_db_blocker: DjangoDbBlocker
) -> Demo:
    folder = tmp_path_factory.mktemp("data") / room.FOLDER
    folder.mkdir()
    said = io.StringIO()
    at_home = override_settings(DATA_DIR=folder, ALLOWED_HOSTS=["localhost"])
    with django_db_blocker.unblock(), at_home, working_on(folder) as file:
        call_command("demo", "--no-serve", stdout=said)
    return Demo(file, said.getvalue())


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
