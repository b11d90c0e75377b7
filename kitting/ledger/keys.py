"""The key of the journal: whoever has only the database cannot write its links anew.

Beside its plain hash each link carries one that was made with a key. The key is in a
file of the server's own, never in the database or a backup of it; keep a copy elsewhere.
A history that somebody rewrote follows from link to link, and fits no key.

The first act of a workshop makes the key, and the file of heads beside it, empty until
the first proof: so that it is missed where there is a key. Where the key is lost, links go on without it, and
a proof says so, until an act starts another one: a restore does, or ``startkey``.
"""

from __future__ import annotations

import hashlib
import hmac
import os
import secrets
from functools import lru_cache
from pathlib import Path

from django.conf import settings

FILE = "journal.key"
HEADS = "heads.txt"
START = "start_key"
"""The act from which on links carry another key; a restore may be one as well."""
LENGTH = 32
"""Bytes of a key, as many as SHA-256 gives (RFC 2104, section 3)."""


def path() -> Path:
    """Where the key is kept."""
    return Path(settings.DATA_DIR) / FILE


def key() -> bytes | None:
    """The key of this server; None where there is none.

    Returns:
        32 bytes.
    """
    file = path()
    try:
        found = file.stat()
    except FileNotFoundError:
        return None
    return _read(file, found.st_mtime_ns, found.st_ino)


@lru_cache(maxsize=4)
def _read(file: Path, _changed: int, _which: int) -> bytes | None:
    try:
        found = bytes.fromhex(file.read_text("ascii"))
    except (ValueError, UnicodeDecodeError):
        return None
    return found if len(found) == LENGTH else None


def make() -> None:
    """Make a key if there is none, for the server's eyes only."""
    file = path()
    fresh = file.with_name(f"{FILE}.{os.getpid()}.{secrets.token_hex(4)}")
    handle = os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    try:
        with os.fdopen(handle, "w", encoding="ascii") as text:
            text.write(secrets.token_hex(LENGTH))
            text.flush()
            os.fsync(text.fileno())
        # Linked into place, so that no other process can ever read half of it.
        os.link(fresh, file)
    except FileExistsError:
        pass  # Another process was faster; its key counts.
    finally:
        fresh.unlink()
    begin_heads()


def begin_heads() -> None:
    """Make the file of heads if there is none, for its owner's eyes only."""
    flags = os.O_WRONLY | os.O_CREAT | os.O_NOFOLLOW
    os.close(os.open(path().with_name(HEADS), flags, 0o600))


def keyed(of: bytes, by: bytes) -> bytes:
    """The keyed hash of a link: HMAC-SHA256 (RFC 2104) of its plain one.

    Args:
        of: The plain hash, which covers all that the link seals and all before it.
        by: The key.

    Returns:
        32 bytes.
    """
    return hmac.digest(by, of, hashlib.sha256)
