"""Making a backup: copied while people work, proved, packed, named; old ones removed."""

from __future__ import annotations

import hashlib
import os
import re
import shutil
from collections.abc import Sequence
from contextlib import ExitStack
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import TypeAlias

from django.conf import settings
from django.db import DatabaseError, connection
from django.db.migrations.recorder import MigrationRecorder

from kitting.ledger import clock
from kitting.ledger.backup import files
from kitting.ledger.backup.files import Manifest, Trouble
from kitting.ledger.backup.postgresql import Postgresql
from kitting.ledger.backup.sqlite import Sqlite
from kitting.ledger.proof import examine, heads
from kitting.ledger.proof.heads import Head
from kitting.models import JournalHead, Link, Workshop

_ROOM = 1.5
"""What is free is to be so many times the database: a copy, and that copy packed."""
_MEGABYTE = 10**6


@dataclass(frozen=True)
class Made:
    """A backup that was made."""

    file: Path
    manifest: Manifest
    faults: list[str]
    """What the proof found in it."""
    heads: list[Head]
    """The newest link of each site in it."""


Database: TypeAlias = Sqlite | Postgresql


def database() -> Database:
    """The workshop's database, of whichever kind."""
    return Sqlite() if connection.vendor == Sqlite.vendor else Postgresql()


def make(to: Path, recipients: Sequence[str]) -> Made:
    """Make a backup.

    Args:
        to: The folder; it is not made, for then it would not be on the disk that is
            meant.
        recipients: Public keys of those who may read it; all may if there are none.

    Returns:
        The backup. It is made of a database with faults too, and called faulty.

    Raises:
        Trouble: If it cannot be made.
    """
    if not to.is_dir():
        msg = f"There is no folder {to}. Is its disk connected?"
        raise Trouble(msg)
    for text in recipients:
        files.recipient(text)
    own = database()
    with ExitStack() as stack:
        # Nothing that is not encrypted touches a disk that is for encrypted ones.
        work = stack.enter_context(files.scratch(_work_folder(to, recipients)))
        _need_room(work, own)
        packed = work / "packed.zip"
        manifest, faults, newest = _copy(own, work / "copy", packed)
        name = manifest.name
        if recipients:
            sealed = stack.enter_context(files.scratch(to)) / "sealed"
            files.seal(packed, sealed, recipients)
            packed, name = sealed, f"{name}{files.SEALED}"
        files.to_disk(packed)
        packed.replace(to / name)
        files.to_disk(to)
    return Made(to / name, manifest, faults, newest)


def settle(made: Made, keep: int | None) -> list[str]:
    """Note that there is a new backup, and remove old ones; not for a faulty one.

    Args:
        made: The new one, which always stays.
        keep: How many to keep in its folder; all, where nothing is given.

    Returns:
        Names of those that were removed.
    """
    if made.faults:
        return []
    Workshop.objects.filter(pk=1).update(backup_at=made.manifest.moment)
    heads.record(made.heads, heads.path())
    heads.remember(made.heads)
    return _remove_older(made.file.parent, made.file.name, keep) if keep else []


def _work_folder(to: Path, recipients: Sequence[str]) -> Path:
    return Path(settings.DATA_DIR) if recipients else to


def _need_room(work: Path, own: Database) -> None:
    needed, free = int(own.size() * _ROOM), shutil.disk_usage(work).free
    if free < needed:
        msg = (
            f"The disk of {work.parent} has {free // _MEGABYTE} MB free, and"
            f" {needed // _MEGABYTE} MB are needed."
        )
        raise Trouble(msg)


def _copy(
    own: Database, copy: Path, packed: Path
) -> tuple[Manifest, list[str], list[Head]]:
    # A head that is recorded after the copy is not in it.
    on_record, now = heads.lines(heads.path()), clock.now()
    with own.copied(copy):
        faults = _faults(own, on_record)
        manifest = _manifest(now, own.vendor, len(faults))
        newest = heads.current()
    with copy.open("rb") as read:
        sha256 = hashlib.file_digest(read, "sha256").hexdigest()
    manifest = replace(manifest, size=copy.stat().st_size, sha256=sha256)
    files.pack(copy, manifest, packed)
    copy.unlink()
    return manifest, faults, newest


def _faults(own: Database, on_record: Sequence[str]) -> list[str]:
    try:
        found = [str(fault) for fault in examine(on_record).faults]
        return [*own.damage(), *found]
    except DatabaseError as error:
        return [f"The proof could not be finished: {error}."]


def _manifest(now: datetime, vendor: str, faults: int) -> Manifest:
    workshop = Workshop.objects.get(pk=1)
    head = JournalHead.objects.get(site=workshop.site)
    return Manifest(
        form=files.FORM,
        version=settings.VERSION,
        workshop=workshop.name,
        site=workshop.site,
        made_at=now.isoformat(timespec="seconds"),
        vendor=vendor,
        migrations=newest_migrations(),
        seq=head.seq,
        head=bytes(head.hash).hex()[: heads.DIGITS],
        faults=faults,
        size=0,
        sha256="",
    )


def newest_migrations() -> dict[str, str]:
    """The newest migration of each application that has run in this database."""
    newest: dict[str, str] = {}
    for app, name in MigrationRecorder(connection).applied_migrations():
        newest[app] = max(name, newest.get(app, ""))
    return newest


def _remove_older(to: Path, made: str, keep: int) -> list[str]:
    """Remove all but the newest of those whose head is a link of this journal."""
    with os.scandir(to) as entries:
        others = [e.name for e in entries if e.is_file(follow_symlinks=False)]
    read = [files.NAME.fullmatch(name) for name in others if name != made]
    ours = [found for found in read if found is not None and _ours(found)]
    # Its number in the journal knows no clock that was set back.
    ours.sort(key=lambda found: (int(found["seq"]), found["made"]), reverse=True)
    removed = [found.string for found in ours[keep - 1 :]]
    for name in removed:
        (to / name).unlink(missing_ok=True)
    return removed


def _ours(found: re.Match[str]) -> bool:
    if found["faulty"]:
        return False
    link = Link.objects.filter(site=int(found["site"]), seq=int(found["seq"])).first()
    return link is not None and bytes(link.hash).hex().startswith(found["head"])
