"""Acts on SQLite take turns: whoever waits longest is next.

SQLite lets a writer ask again after a while, the longer the more often it came too late:
with many benches somebody waits for seconds. Here the threads of a process queue, and
the first of each process asks every millisecond.
"""

from __future__ import annotations

import fcntl
import os
import threading
import time
from collections import deque
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

from django.db import OperationalError, connection

FILE: Final = "turns.lock"
ASKS_S: Final = 0.001
_guard = threading.Lock()
_waiting: deque[threading.Event] = deque()
"""Those of this process, the first of which has its turn or asks for it."""


class TooLong(OperationalError):
    """Others wrote for as long as SQLite itself would have waited."""

    sqlstate = "55P03"
    """A lock that is not available (PostgreSQL 15, Appendix A): the record is busy."""


@contextmanager
def turn() -> Iterator[None]:
    """Wait until no other act writes; at once on a server, which has its own order.

    Whatever writes without a turn, such as a session, is waited for by SQLite as ever.

    Raises:
        TooLong: If that takes longer than SQLite would wait.
    """
    file = Path(str(connection.settings_dict["NAME"]))
    if connection.vendor != "sqlite" or connection.in_atomic_block:
        yield
        return
    wait = float(connection.settings_dict["OPTIONS"].get("timeout", 5))
    until = time.monotonic() + wait
    mine = threading.Event()
    with _guard:
        _waiting.append(mine)
        _waiting[0].set()
    try:
        if not mine.wait(wait):
            raise TooLong
        with _before_others(file.with_name(FILE), until):
            yield
    finally:
        with _guard:
            _waiting.remove(mine)
            if _waiting:
                _waiting[0].set()


@contextmanager
def _before_others(file: Path, until: float) -> Iterator[None]:
    """Lock a file beside: closing another handle of the database would undo its locks."""
    try:
        handle = os.open(file, os.O_RDONLY | os.O_CREAT | os.O_NOFOLLOW, 0o600)
    except OSError:  # SQLite itself says what is wrong there
        yield
        return
    try:
        while not _locked(handle):
            if time.monotonic() > until:
                raise TooLong
            time.sleep(ASKS_S)
        yield
    finally:
        os.close(handle)


def _locked(handle: int) -> bool:
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    except OSError:  # no file system with such locks: SQLite alone decides
        pass
    return True
