"""The file that a backup is: a ZIP of the database and a manifest, sealed if asked for.

The name tells when it was made and of which head of the journal, the manifest the rest.
Neither holds a secret. A file is written under another name, brought to the disk and
only then named, so that a backup is whole wherever it has its name.
"""

from __future__ import annotations

import errno
import fcntl
import hashlib
import json
import os
import re
import shutil
import tempfile
import zipfile
import zlib
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path
from typing import IO, Any, Final

import pyrage

FORM: Final = 1
MEMBER: Final = "database"
MANIFEST: Final = "manifest.json"
MOMENT: Final = "%Y%m%dT%H%M%SZ"
SEALED: Final = ".age"
"""Of a file that only the holder of a key can read; the open format age, version 1."""
NAME: Final = re.compile(
    r"lotward-(?P<site>[1-9])-(?P<made>[0-9]{8}T[0-9]{6}Z)"
    r"-(?P<seq>[0-9]{1,18})-(?P<head>[0-9a-f]{16})(?P<faulty>-faulty)?\.zip(\.age)?"
)
_LARGEST_MANIFEST: Final = 1 << 16
_CANNOT: Final = frozenset({errno.EINVAL, errno.ENOSYS, errno.ENOTSUP})
_PIECE: Final = 1 << 20
_SCRATCH: Final = ".lotward-at-work-"


class Trouble(Exception):
    """A backup could not be made or restored; said in a plain sentence."""


@dataclass(frozen=True)
class Manifest:
    """What a backup says of itself."""

    form: int
    version: str
    workshop: str
    site: int
    made_at: str
    """In UTC, as ISO 8601."""
    vendor: str
    """Kind of the database."""
    migrations: dict[str, str]
    """The newest of each application."""
    seq: int
    """Number of the newest link of the journal."""
    head: str
    """The first digits of its hash."""
    faults: int
    """How many the proof found."""
    size: int
    """Bytes of the database in it."""
    sha256: str

    @property
    def moment(self) -> datetime:
        """When it was made."""
        return datetime.fromisoformat(self.made_at)

    @property
    def name(self) -> str:
        """Its file's name."""
        faulty = "-faulty" if self.faults else ""
        made = self.moment.strftime(MOMENT)
        return f"lotward-{self.site}-{made}-{self.seq}-{self.head}{faulty}.zip"


@contextmanager
def scratch(folder: Path) -> Iterator[Path]:
    """A folder of this process's own; what a dead one left behind is removed."""
    for left in folder.glob(f"{_SCRATCH}*"):
        with suppress(OSError), _locked(left, fcntl.LOCK_EX | fcntl.LOCK_NB):
            shutil.rmtree(left)
    made = Path(tempfile.mkdtemp(prefix=_SCRATCH, dir=folder))
    try:
        with ExitStack() as stack:
            with suppress(OSError):  # Disks in a network may know no locks of folders.
                stack.enter_context(_locked(made, fcntl.LOCK_SH))
            yield made
    finally:
        shutil.rmtree(made, ignore_errors=True)


@contextmanager
def _locked(folder: Path, how: int) -> Iterator[None]:
    handle = os.open(folder, os.O_RDONLY | os.O_NOFOLLOW)
    try:
        fcntl.flock(handle, how)
        yield
    finally:
        os.close(handle)


def to_disk(path: Path) -> None:
    """Bring a file or folder to the disk, to outlive a power cut."""
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    except OSError as error:  # Nor need they be able to do this with a folder.
        if not path.is_dir() or error.errno not in _CANNOT:
            raise
    finally:
        os.close(handle)


def private(path: Path) -> IO[bytes]:
    """Make a file for its owner's eyes only, and open it to write and read."""
    handle = os.open(path, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o600)
    return os.fdopen(handle, "w+b")


def pack(database: Path, manifest: Manifest, into: Path) -> None:
    """Pack a database with its manifest, and read it back."""
    with (
        private(into) as file,
        zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as packed,
    ):
        text = json.dumps(asdict(manifest), indent=2, sort_keys=True)
        packed.writestr(zipfile.ZipInfo(MANIFEST), text)
        entry = zipfile.ZipInfo(MEMBER)
        entry.compress_type, entry.file_size = zipfile.ZIP_DEFLATED, manifest.size
        with packed.open(entry, "w") as member, database.open("rb") as plain:
            shutil.copyfileobj(plain, member, _PIECE)
    with opened(into) as (_read, packed):
        unpack(packed, manifest, None)


def recipient(text: str) -> Any:
    """Read a public key that begins with ``age1``."""
    try:
        return pyrage.x25519.Recipient.from_str(text.strip())
    except pyrage.RecipientError as error:
        msg = f"{text!r} is not a recipient: give the public key that begins with age1."
        raise Trouble(msg) from error


def seal(file: Path, into: Path, recipients: Sequence[str]) -> None:
    """Encrypt a file for whoever holds the key of one of the recipients."""
    keys = [recipient(text) for text in recipients]
    try:
        with file.open("rb") as plain, private(into) as sealed:
            pyrage.encrypt_io(plain, sealed, keys)
    except pyrage.EncryptError as error:
        msg = f"The backup could not be encrypted: {error}."
        raise Trouble(msg) from error


def unseal(file: Path, into: Path, identity: Path | None) -> None:
    """Decrypt a file with the key in another, a line that begins AGE-SECRET-KEY-1."""
    if identity is None:
        msg = f"{file.name} is encrypted: name the file of its key with --identity."
        raise Trouble(msg)
    try:
        lines = identity.read_text("ascii").split()
        keys = [line for line in lines if line.startswith("AGE-SECRET-KEY-")]
        known = [pyrage.x25519.Identity.from_str(key) for key in keys]
    except (pyrage.IdentityError, UnicodeDecodeError):
        known = []
    if not known:
        msg = f"{identity} holds no key."
        raise Trouble(msg)
    try:
        with file.open("rb") as sealed, private(into) as plain:
            pyrage.decrypt_io(sealed, plain, known)
    except pyrage.DecryptError as error:
        msg = f"{file.name} does not open with this key, or it is damaged: {error}."
        raise Trouble(msg) from error


@contextmanager
def opened(file: Path) -> Iterator[tuple[Manifest, zipfile.ZipFile]]:
    """Open a backup that is not, or no longer, encrypted; with its manifest."""
    try:
        with zipfile.ZipFile(file) as packed:
            if sorted(packed.namelist()) != [MEMBER, MANIFEST]:
                msg = f"{file.name} is not a backup of Lotward."
                raise Trouble(msg)
            with packed.open(MANIFEST) as member:
                manifest = _manifest(file.name, member)
            yield manifest, packed
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError) as error:
        msg = f"{file.name} is damaged, or not a backup: {error}."
        raise Trouble(msg) from error


def _manifest(name: str, member: IO[bytes]) -> Manifest:
    try:
        manifest = Manifest(**json.loads(member.read(_LARGEST_MANIFEST)))
        whole = manifest.moment.utcoffset() is not None
    except (ValueError, TypeError, RecursionError) as error:
        msg = f"The manifest of {name} cannot be read."
        raise Trouble(msg) from error
    counts = (manifest.seq, manifest.size, manifest.faults)
    whole = whole and all(isinstance(count, int) for count in counts)
    if manifest.form != FORM or not whole or not isinstance(manifest.migrations, dict):
        msg = (
            f"{name} was made by version {manifest.version}, which writes other files."
        )
        raise Trouble(msg)
    return manifest


def unpack(packed: zipfile.ZipFile, manifest: Manifest, into: Path | None) -> None:
    """Compare the database in a backup with the manifest, and take it out if asked."""
    digest, size = hashlib.sha256(), 0
    with ExitStack() as stack:
        member = stack.enter_context(packed.open(MEMBER))
        out = stack.enter_context(private(into)) if into else None
        while size <= manifest.size and (piece := member.read(_PIECE)):
            digest.update(piece)
            size += len(piece)
            if out:
                out.write(piece)
    if (size, digest.hexdigest()) != (manifest.size, manifest.sha256):
        msg = "The backup is damaged: its database is not the one that was written."
        raise Trouble(msg)
