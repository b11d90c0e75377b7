"""What ``docs/`` says about running Lotward is so."""

from __future__ import annotations

import configparser
import re
import shlex
from datetime import timedelta
from pathlib import Path

import pytest
from django.conf import settings
from django.core.management import get_commands, load_command_class
from gunicorn.config import Config

from kitting.printing.beat import MISSED
from lotward import env
from tests.trees import ROOT

DOCS = ROOT / "docs"
PAGE = (DOCS / "deploying.md").read_text()
BACKUP = DOCS / "lotward-backup.service"
NEWEST = DOCS / "lotward-prove.service"
UNITS = sorted(set(DOCS.glob("*.service")) - {BACKUP, NEWEST})


def unit(path: Path) -> configparser.ConfigParser:
    """Read a unit; its syntax is that of systemd.syntax(7), near to an INI file's."""
    read = configparser.ConfigParser(interpolation=None)
    read.optionxform = str  # type: ignore[assignment,method-assign]
    read.read(path)
    return read


@pytest.mark.parametrize("path", UNITS, ids=lambda path: path.stem)
def test_a_unit_starts_what_is_there_and_starts_it_again(path: Path) -> None:
    read = unit(path)
    assert read.sections() == ["Unit", "Service", "Install"]
    service = read["Service"]
    assert service["Restart"] == "always"
    stands_where_the_page_says(path, service)


def stands_where_the_page_says(path: Path, service: configparser.SectionProxy) -> None:
    assert service["User"] == "lotward"
    # StateDirectory is under /var/lib (systemd.exec(5)); the settings name the same.
    assert f"LOTWARD_DATA_DIR=/var/lib/{service['StateDirectory']}\n" in PAGE
    assert f"`{service['EnvironmentFile']}`" in PAGE
    assert f"`{service['WorkingDirectory']}`" in PAGE
    assert f"`{path.name}`" in PAGE


def test_the_backup_is_a_command_that_a_timer_starts() -> None:
    service = unit(BACKUP)["Service"]
    stands_where_the_page_says(BACKUP, service)
    assert service["Type"] == "oneshot"
    program, script, name, *options = shlex.split(service["ExecStart"])
    assert (Path(program).name, script, name) == ("python", "manage.py", "backup")
    command = load_command_class(get_commands()[name], name)
    told = command.create_parser("manage.py", name).parse_args(options)
    assert service["ReadWritePaths"] == told.to
    assert unit(BACKUP)["Unit"]["AssertPathIsMountPoint"] == told.to
    assert f"`{told.to}`" in PAGE
    assert f"newest {told.keep} are kept" in PAGE
    timer = DOCS / "lotward-backup.timer"
    assert f"`{timer.name}`" in PAGE
    assert timer.stem == BACKUP.stem  # systemd.timer(5): the service of the same name
    assert unit(timer)["Install"]["WantedBy"] == "timers.target"
    assert re.fullmatch(r"\*-\*-\* \d\d:\d\d:00", unit(timer)["Timer"]["OnCalendar"])
    a_night = timedelta(hours=24)
    assert a_night < timedelta(hours=settings.BACKUP_HOURS) < 2 * a_night


def test_the_newest_acts_are_checked_each_hour() -> None:
    service = unit(NEWEST)["Service"]
    stands_where_the_page_says(NEWEST, service)
    assert service["Type"] == "oneshot"
    program, script, name, *options = shlex.split(service["ExecStart"])
    assert (Path(program).name, script, name) == ("python", "manage.py", "prove")
    command = load_command_class(get_commands()[name], name)
    assert command.create_parser("manage.py", name).parse_args(options).newest
    timer = DOCS / "lotward-prove.timer"
    assert f"`{timer.name}`" in PAGE
    assert timer.stem == NEWEST.stem
    assert unit(timer)["Install"]["WantedBy"] == "timers.target"
    when = re.fullmatch(r"\*-\*-\* \*:(\d\d):00", unit(timer)["Timer"]["OnCalendar"])
    assert when is not None
    nightly = unit(DOCS / "lotward-backup.timer")["Timer"]["OnCalendar"]
    assert when[1] != nightly.split(":")[1]


def test_the_worker_is_a_command_with_time_to_end() -> None:
    service = unit(DOCS / "lotward-printworker.service")["Service"]
    program, script, name, *options = shlex.split(service["ExecStart"])
    assert (Path(program).name, script, options) == ("python", "manage.py", [])
    command = load_command_class(get_commands()[name], name)
    assert command.create_parser("manage.py", name).parse_args([])
    assert int(service["TimeoutStopSec"]) >= MISSED.total_seconds()


def test_the_server_is_started_as_the_readme_says() -> None:
    service = unit(DOCS / "lotward.service")["Service"]
    program, *options = shlex.split(service["ExecStart"])
    assert Path(program).name == "gunicorn"
    told = Config().parser().parse_args(options)
    assert (told.args, told.workers, told.threads) == (["lotward.wsgi"], 2, 4)
    assert told.bind == ["127.0.0.1:8000"]
    readme = (ROOT / "README.md").read_text()
    started = re.search(r"^\.venv/bin/gunicorn (.*)$", readme, re.MULTILINE)
    assert started
    assert set(shlex.split(started[1])) <= set(options)
    assert ".venv/bin/python manage.py printworker" in readme
    assert "docs/deploying.md" in readme


def test_it_names_no_setting_that_is_not_there() -> None:
    assert set(re.findall(r"LOTWARD_[A-Z_]+", PAGE)) <= env.KNOWN
    assert "for two minutes" in PAGE
    assert MISSED.total_seconds() == 120
