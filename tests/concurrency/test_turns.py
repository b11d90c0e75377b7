"""Acts on SQLite are done in the order of their coming, by one process at a time."""

from __future__ import annotations

import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from django.db import connection

from kitting.ledger import failing, turns
from kitting.lots.services.blanks import give_out_numbers
from tests import factories
from tests.demo import pointed_at
from tests.patience import until

pytestmark = [
    pytest.mark.django_db(transaction=True),
    pytest.mark.skipif(
        connection.vendor != "sqlite", reason="a server has an order of its own"
    ),
]


def test_who_waits_longest_is_next() -> None:
    order: list[int] = []

    def waits(nth: int) -> None:
        with turns.turn():
            order.append(nth)

    with turns.turn():
        threads = [threading.Thread(target=waits, args=(nth,)) for nth in range(8)]
        for nth, thread in enumerate(threads):
            thread.start()
            assert until(lambda nth=nth: len(turns._waiting) == nth + 2)
        assert order == []
    for thread in threads:
        thread.join()
    assert order == [*range(8)]


OTHER = """
import fcntl, os, sys
fcntl.flock(os.open(sys.argv[1], os.O_RDONLY | os.O_CREAT), fcntl.LOCK_EX)
print("has it", flush=True)
sys.stdin.read()
"""


@contextmanager
def another_process_has_it(folder: Path) -> Iterator[subprocess.Popen[bytes]]:
    other = subprocess.Popen(
        [sys.executable, "-c", OTHER, str(folder / turns.FILE)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
    )
    assert other.stdout is not None
    assert other.stdout.readline() == b"has it\n"
    try:
        yield other
    finally:
        other.communicate()


@pytest.mark.parametrize("ends", ["gives it up", "is killed"])
def test_an_act_waits_for_another_process_however_that_ends(
    tmp_path: Path, ends: str
) -> None:
    had = threading.Event()

    def waits() -> None:
        with turns.turn():
            had.set()

    with pointed_at({**connection.settings_dict, "NAME": str(tmp_path / "lots")}):
        thread = threading.Thread(target=waits)
        with another_process_has_it(tmp_path) as other:
            thread.start()
            assert not had.wait(0.3)
            if ends == "is killed":
                other.kill()
                other.wait()
                assert until(had.is_set)
        thread.join()
    assert had.is_set()


@pytest.mark.parametrize("who", ["this process", "another process"])
def test_what_waits_too_long_for_its_turn_is_told_that_the_record_is_busy(
    who: str,
) -> None:
    """And goes on as soon as it is not."""
    sign = factories.sign()
    options = {**connection.settings_dict["OPTIONS"], "timeout": 0.2}
    folder = Path(connection.settings_dict["NAME"]).parent
    taken = turns.turn if who == "this process" else None
    with pointed_at({**connection.settings_dict, "OPTIONS": options}):
        with (
            taken() if taken else another_process_has_it(folder),
            pytest.raises(turns.TooLong) as caught,
        ):
            give_out_numbers(count=1, sign=sign)
        refused = failing.why(caught.value)
        assert refused is not None
        assert refused.code == "database_busy"
        assert len(give_out_numbers(count=1, sign=sign).numbers) == 1
