"""Some checks in a process of their own, so that a long journal takes half the time.

That process reads a snapshot of its own, no older than this one's: what is written
meanwhile is proved along.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from contextlib import contextmanager
from multiprocessing import get_context
from typing import Any

import django
from django.db import connection, connections

from kitting.ledger import locking
from kitting.ledger.proof.faults import Tally
from kitting.models import JournalHead

LONG = 200_000
"""Acts of a journal for which it pays to start another process."""


def worth_it() -> bool:
    """Whether another process would help, and would see what this one sees."""
    if connection.in_atomic_block or (os.cpu_count() or 1) < 2:
        return False
    return JournalHead.objects.filter(seq__gte=LONG).exists()


@contextmanager
def another_process(names: Sequence[str]) -> Iterator[Future[list[Tally]]]:
    """Let checks run beside this process; their snapshot is taken from now on.

    Args:
        names: Names of the checks.

    Yields:
        What gives their tallies, in that order.
    """
    database = {name: connection.settings_dict[name] for name in _OF_THE_DATABASE}
    # Applications first: what is to be done can be read only when they are there.
    ready = django.setup
    with ProcessPoolExecutor(1, get_context("spawn"), initializer=ready) as pool:
        yield pool.submit(_check, database, list(names))


_OF_THE_DATABASE = ("ENGINE", "NAME", "USER", "PASSWORD", "HOST", "PORT", "OPTIONS")


def _check(database: dict[str, Any], names: list[str]) -> list[Tally]:
    from kitting.ledger import proof  # its rooms register when the apps are ready

    connections.settings["default"].update(database)
    del connections["default"]
    chosen = {name: (of, check) for name, of, check in proof.CHECKS if name in names}
    tallies = []
    with locking.snapshot():
        for name in names:
            of, check = chosen[name]
            tally = Tally(name, of)
            check(tally)
            tallies.append(tally)
    return tallies
