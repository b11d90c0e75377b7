"""Whether a server or print worker of this data folder runs: the system knows.

A lock on a file ends with the process that has it, however that process ends.
"""

from __future__ import annotations

import fcntl
import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from django.conf import settings

FILE = "serving.lock"
RESTORING = "A backup is being restored. Start again when that is done."
_held: list[int] = []


def hold() -> bool:
    """Be one of those that run, until this process ends.

    Returns:
        Whether it may run: nobody does while a backup is being restored.
    """
    with suppress(OSError):  # On a disk that is full or read-only reading goes on.
        handle = _open()
        try:
            fcntl.flock(handle, fcntl.LOCK_SH | fcntl.LOCK_NB)
        except BlockingIOError:
            os.close(handle)
            return False
        _held.append(handle)
    return True


@contextmanager
def nobody() -> Iterator[bool]:
    """Keep everybody from starting to run, if nobody does.

    Yields:
        Whether nobody runs.
    """
    handle = _open()
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        os.close(handle)
        yield False
        return
    try:
        yield True
    finally:
        os.close(handle)


def _open() -> int:
    return os.open(
        Path(settings.DATA_DIR) / FILE,
        os.O_RDONLY | os.O_CREAT | os.O_NOFOLLOW,
        0o644,
    )
