"""Some checks in a process of their own, so that a long journal takes half the time.

That process reads a snapshot of its own, no older than this one's: what is written
meanwhile is proved along.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from contextlib import contextmanager
from multiprocessing import get_context
from typing import Any, TypeAlias

import django
from django.db import connection, connections

from kitting.ledger import locking
from kitting.ledger.proof.faults import Tally
from kitting.models import JournalHead

LONG = 200_000
"""Acts of a journal for which it pays to start another process."""


def sees_the_same() -> bool:
    """Whether another process would see what this one does: nothing is half written."""
    return not connection.in_atomic_block


def worth_it() -> bool:
    """Whether another process would help."""
    several = (os.cpu_count() or 1) > 1
    return several and JournalHead.objects.filter(seq__gte=LONG).exists()


Work: TypeAlias = Callable[[Sequence[str]], list[Tally]]
"""Makes the checks of some names; another process can read where it stands."""


@contextmanager
def another_process(work: Work, names: Sequence[str]) -> Iterator[Future[list[Tally]]]:
    """Let checks run beside this process; their snapshot is taken from now on.

    Args:
        work: Makes them.
        names: Names of the checks.

    Yields:
        What gives their tallies.
    """
    database = {name: connection.settings_dict[name] for name in _OF_THE_DATABASE}
    # Applications first: what is to be done can be read only when they are there.
    ready = django.setup
    with ProcessPoolExecutor(1, get_context("spawn"), initializer=ready) as pool:
        yield pool.submit(_check, database, work, list(names))


_OF_THE_DATABASE = ("ENGINE", "NAME", "USER", "PASSWORD", "HOST", "PORT", "OPTIONS")


def _check(database: dict[str, Any], work: Work, names: list[str]) -> list[Tally]:
    connections.settings["default"].update(database)
    del connections["default"]
    with locking.snapshot():
        return work(names)
