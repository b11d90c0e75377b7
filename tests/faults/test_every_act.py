"""Whatever goes wrong around an act: it is there once when it was answered, or not at all."""

from __future__ import annotations

import itertools
import os
import random
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import mkdtemp

import pytest
from django.db import connection
from django.test import override_settings

from dispatch.journal.acts import ACTS
from kitting.ledger.backup.connecting import standing_in
from kitting.models import Operation
from tests import factories
from tests.backups import ON_SQLITE, mounted
from tests.demo import NAME, pointed_at, working_on
from tests.faults.everything import ELSEWHERE
from tests.faults.walk import (
    Call,
    Harm,
    Walk,
    by_a_clock_set_back,
    by_two_servers,
    kill_the_database,
    killed_after,
    on_a_full_disk,
    unanswered,
    walk_through,
)

ours_alone = pytest.mark.skipif(
    not ON_SQLITE and "LOTWARD_TEST_FAULTS" not in os.environ,
    reason="make faults has a server of PostgreSQL of its own",
)
SEED = os.environ.get("LOTWARD_TEST_FAULT_SEED", "9")


def left_out(walk: Walk) -> set[str]:
    """Kinds of act that were not met."""
    keys = [key.bytes for key in walk.met.values()]
    met = Operation.objects.filter(key__in=keys).values_list("name", flat=True)
    return set(ACTS) - set(met)


def killed_somewhere(call: Call) -> None:
    statements = random.Random(f"{SEED} {call.kind}").randint(1, 25)
    assert killed_after(call, statements) in {0, 1}


def killed_everywhere(call: Call) -> None:
    """Before it is answered, too: at last all its statements have run."""
    for statements in itertools.count(1):
        if killed_after(call, statements):
            break
    assert statements > 2, call.kind


def by_two_servers_if_it_is_new(call: Call) -> None:
    if not call.on_record():
        by_two_servers(call)


HARMS = (by_a_clock_set_back, killed_somewhere, by_two_servers_if_it_is_new)


def each_in_turn(call: Call) -> None:
    for harm in HARMS:
        harm(call)


@pytest.mark.long
@ours_alone
@pytest.mark.usefixtures("own")
@pytest.mark.parametrize("harm", [each_in_turn, killed_everywhere])
def test_servers_are_killed_or_two_and_the_clock_is_back(harm: Harm) -> None:
    assert left_out(walk_through(harm)) == set(ELSEWHERE)
    assert factories.prove() == []


@pytest.fixture
def durable(own: Path) -> Iterator[None]:
    """The server of the tests may lose what it acknowledged; an act's must not.

    The database is a copy of one with sequences that were in use. What such a one gives
    out is on record for that one alone, until it is written anew after a checkpoint.
    """
    tell("CHECKPOINT")
    options = dict(connection.settings_dict["OPTIONS"])
    options["options"] += " -c synchronous_commit=on"
    with pointed_at({**connection.settings_dict, "OPTIONS": options}):
        yield


def by_a_database_that_is_killed(call: Call) -> None:
    statements = random.Random(f"{SEED} {call.kind}").randint(1, 25)
    if not killed_after(call, statements, kill_the_database):
        assert unanswered(call, kill_the_database) == 1, call.kind


@pytest.mark.long
@ours_alone
@pytest.mark.skipif(ON_SQLITE, reason="its database is part of the server")
@pytest.mark.usefixtures("durable")
def test_the_database_is_killed() -> None:
    assert left_out(walk_through(by_a_database_that_is_killed)) == set(ELSEWHERE)
    assert factories.prove() == []


@pytest.fixture
def disk(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Path]:
    """A small file system on which this test's own database is."""
    make = small_on_sqlite if ON_SQLITE else small_on_the_server
    with make(request, tmp_path) as folder:
        yield folder


@contextmanager
def small_on_sqlite(request: pytest.FixtureRequest, beside: Path) -> Iterator[Path]:
    migrated = request.getfixturevalue("migrated")
    blocker = request.getfixturevalue("django_db_blocker")
    with mounted(beside / "small", "size=24m") as folder:
        shutil.copy(migrated, folder / NAME)
        at_home = override_settings(DATA_DIR=folder)
        with blocker.unblock(), at_home, working_on(folder):
            yield folder


@contextmanager
def small_on_the_server(request: pytest.FixtureRequest, beside: Path) -> Iterator[Path]:
    """For its tables alone: when its log finds no room, PostgreSQL ends and recovers."""
    request.getfixturevalue("own")
    name = connection.settings_dict["NAME"]
    with connection.cursor() as cursor:
        cursor.execute("SHOW data_directory")
        owner = Path(cursor.fetchone()[0]).stat().st_uid
    folder = Path(mkdtemp())
    folder.chmod(0o755)
    with mounted(folder / "small", f"size=64m,mode=700,uid={owner}") as disk:
        (disk / "tables").mkdir(mode=0o700)
        os.chown(disk / "tables", owner, -1)
        tell(f"CREATE TABLESPACE small LOCATION '{disk}/tables'")
        tell(f'ALTER DATABASE "{name}" SET TABLESPACE small')
        yield disk
        tell(f'ALTER DATABASE "{name}" SET TABLESPACE pg_default')
        tell("DROP TABLESPACE small")
    shutil.rmtree(folder)


def tell(sql: str) -> None:
    connection.close()
    with standing_in(NAME="template1"), connection.cursor() as cursor:
        cursor.execute(sql)


@ours_alone
def test_one_thing_goes_wrong_with_each_kind_of_act(disk: Path) -> None:
    """The gate's; each of them with every kind: ``make faults``."""
    harms = (*HARMS, on_a_full_disk(disk, always=ON_SQLITE))
    chosen = dict.fromkeys(harms, 0)

    def one_of_them(call: Call) -> None:
        harm = random.Random(f"{SEED} {call.kind}").choice(harms)
        chosen[harm] += 1
        harm(call)

    assert left_out(walk_through(one_of_them)) == set(ELSEWHERE)
    assert factories.prove() == []
    assert min(chosen.values()) > 10


@pytest.mark.long
@ours_alone
def test_the_disk_is_full(disk: Path) -> None:
    harm = on_a_full_disk(disk, always=ON_SQLITE)
    assert left_out(walk_through(harm)) == set(ELSEWHERE)
    assert factories.prove() == []
