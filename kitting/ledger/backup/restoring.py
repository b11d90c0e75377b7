"""Restoring a backup: checked, taken up by an act, proved, and only then put in place."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from django.apps import apps
from django.conf import settings
from django.contrib.sessions.models import Session
from django.core.management import call_command
from django.db import DatabaseError, connection
from django.db.migrations.loader import MigrationLoader
from django.db.models import Max, Min

from kitting.domain import gs1
from kitting.domain.errors import CodeError
from kitting.domain.stages import PRINT_OVER, PrintState
from kitting.ledger import clock, gaps, keys, serving
from kitting.ledger.backup import files
from kitting.ledger.backup.files import Manifest, Trouble
from kitting.ledger.backup.making import Database, database
from kitting.ledger.counters import SSCC
from kitting.ledger.operations import RESTORE, Act, Sign, perform
from kitting.ledger.proof import Proof, examine, heads
from kitting.models import (
    Counter,
    JournalHead,
    Link,
    Operation,
    PrintJob,
    Workshop,
)

LEAST_A_DAY = 10_000
"""Numbers passed over for each day since the backup: a whole file of bags, and far more
than people pack."""
TIMES_THE_USUAL = 10
"""At least so many times what a day has used up to now."""
REPLACED = "%Y%m%dT%H%M%S%fZ"
"""How the replaced database is dated: no two restores are of one moment."""
_DAY = timedelta(days=1)
_SHOWN = 5


@dataclass(frozen=True)
class Restored:
    """What the journal says of a restore."""

    file: str
    sha256: str
    made_at: str
    seq: int
    head: str
    skipped: dict[str, list[int]]
    """The first number passed over and the first after them, by counter."""
    left: list[str]
    """Recorded heads that lie behind the backup."""
    jobs: int
    """Print jobs of which nobody knows whether they came out."""
    despite_faults: bool


@dataclass(frozen=True)
class Done:
    """A restore that is done."""

    restored: Restored
    proof: Proof
    kept: str
    """Where the replaced database is; empty if there was none."""


@dataclass(frozen=True)
class _Live:
    """What is known of the database that is to be replaced."""

    name: str
    origin: str
    """Hash of its first link; empty if it has none."""
    counters: dict[str, int]
    explained: frozenset[str]
    """Recorded heads that it has, or has left behind itself."""


@dataclass(frozen=True)
class Asked:
    """What somebody asks for besides the file."""

    sign: Callable[[], Sign]
    identity: Path | None = None
    skip: int | None = None
    despite_faults: bool = False


def restore(file: Path, asked: Asked) -> Done:
    """Put what is in a backup in the place of the workshop's database.

    Args:
        file: The backup.
        asked: Who signs, and how.

    Returns:
        What was done.

    Raises:
        Trouble: If it is not done; then nothing has changed.
    """
    own = database()
    with (
        _nobody_works(own) as readable,
        files.scratch(own.place()) as work,
        _plain(file, asked.identity, work) as plain,
    ):
        on_record = heads.lines(heads.path())
        live = _live(on_record) if readable else None
        with files.opened(plain) as (manifest, packed):
            _need_known(manifest, own.vendor)
            files.unpack(packed, manifest, work / "database")
        with own.loaded(work / "database"), clock.at_the_workshop():
            restored = _take_up(file.name, manifest, live, on_record, asked)
            stamp = clock.now().strftime(REPLACED)
            proof = _prove(own, despite_faults=asked.despite_faults)
        kept = own.replace(stamp)
    return Done(restored, proof, kept)


@contextmanager
def _nobody_works(own: Database) -> Iterator[bool]:
    with serving.nobody() as quiet:
        if not quiet:
            msg = "The server, a print worker or another restore is running. Stop it."
            raise Trouble(msg)
        with own.alone() as readable:
            yield readable


@contextmanager
def _plain(file: Path, identity: Path | None, work: Path) -> Iterator[Path]:
    if not file.is_file():
        msg = f"There is no file {file}."
        raise Trouble(msg)
    if file.suffix != files.SEALED:
        yield file
        return
    files.unseal(file, work / "plain.zip", identity)
    yield work / "plain.zip"


def _live(on_record: list[str]) -> _Live | None:
    """Read what the replaced database knows; nothing of one that is damaged."""
    try:
        workshop = Workshop.objects.get(pk=1)
        counted = Counter.objects.filter(site=workshop.site)
        return _Live(
            name=workshop.name,
            origin=_origin(workshop.site),
            counters=dict(counted.values_list("name", "next")),
            explained=frozenset(filter(_had, on_record)) | heads.left_behind(),
        )
    except (DatabaseError, Workshop.DoesNotExist):
        return None


def _origin(site: int) -> str:
    first = Link.objects.filter(site=site, seq=1).first()
    return "" if first is None else bytes(first.hash).hex()


def _had(line: str) -> bool:
    head = heads.read(line)
    return head is not None and bool(heads.in_chain(head))


def _need_known(manifest: Manifest, vendor: str) -> None:
    if manifest.vendor != vendor:
        msg = f"The backup is of {manifest.vendor}, and the settings name {vendor}."
        raise Trouble(msg)
    known = MigrationLoader(None).disk_migrations
    if any(each not in known for each in manifest.migrations.items()):
        msg = (
            f"The backup was made by version {manifest.version} with a later schema:"
            " install that version."
        )
        raise Trouble(msg)


def _take_up(
    name: str,
    manifest: Manifest,
    live: _Live | None,
    on_record: list[str],
    asked: Asked,
) -> Restored:
    """Check what was loaded, bring it to this version, and do the act."""
    call_command("migrate", interactive=False, verbosity=0)
    _need_same_tables(manifest)
    workshop = Workshop.objects.get(pk=1)
    _need_same(manifest, workshop)
    if live is not None and live.origin and live.origin != _origin(workshop.site):
        msg = (
            f"The backup is of another workshop ({manifest.workshop}), and the database"
            f" is of {live.name}. To restore it, move that database away first."
        )
        raise Trouble(msg)
    sign = asked.sign()
    now = sign.now or clock.now()
    _need_later(manifest, now)
    left = [line for line in on_record if _left(line, manifest, live)]
    counters = {} if live is None else live.counters
    to = _onwards(manifest, workshop, counters, asked, now)

    def work(act: Act) -> Restored:
        skipped = gaps.skip(act, to)
        waiting = PrintJob.objects.exclude(state__in=PRINT_OVER)
        jobs = waiting.update(
            state=PrintState.FAILED,
            ended_at=act.now,
            trouble="printer_unsure",
            told={},
            unsure=True,
            next_try=None,
            worked_until=None,
        )
        Session.objects.all().delete()  # who was signed out since stays signed out
        Workshop.objects.filter(pk=act.workshop.pk).update(
            backup_at=manifest.moment, proved_at=None, proved_seq=None
        )
        return Restored(
            file=name,
            sha256=manifest.sha256,
            made_at=manifest.made_at,
            seq=manifest.seq,
            head=manifest.head,
            skipped=skipped,
            left=left,
            jobs=jobs,
            despite_faults=asked.despite_faults,
        )

    if keys.key() is None:
        keys.make()  # the links of before keep the one of their own server
    keys.begin_heads()  # a disk that was lost took it along
    return perform(RESTORE, work, Restored, sign, sha256=manifest.sha256)


def _need_same_tables(manifest: Manifest) -> None:
    """Until versions are released one name of a migration may mean many schemas."""
    with connection.cursor() as cursor:
        for model in apps.get_models():
            table = model._meta.db_table
            found = set()
            with suppress(DatabaseError):  # no such table
                name = connection.ops.quote_name(table)
                cursor.execute(f"SELECT * FROM {name} LIMIT 0")  # noqa: S608 - ours
                found = {column[0] for column in cursor.description}
            if found != {field.column for field in model._meta.concrete_fields}:
                msg = (
                    f"The backup was made by version {manifest.version} with another"
                    f" schema: its table {table} is not that of version"
                    f" {settings.VERSION}."
                )
                raise Trouble(msg)


def _need_same(manifest: Manifest, workshop: Workshop) -> None:
    head = JournalHead.objects.get(site=workshop.site)
    found = (workshop.site, head.seq, bytes(head.hash).hex()[: heads.DIGITS])
    if found != (manifest.site, manifest.seq, manifest.head):
        raise Trouble("The backup is damaged: its journal ends elsewhere than it says.")


def _need_later(manifest: Manifest, now: datetime) -> None:
    newest = Operation.objects.aggregate(at=Max("at"))["at"] or manifest.moment
    latest = max(newest, manifest.moment)
    if now < latest:
        msg = (
            f"It is {now:%Y-%m-%d %H:%M} UTC by this machine's clock, and the backup is"
            f" of {latest:%Y-%m-%d %H:%M} UTC. Set the clock right first."
        )
        raise Trouble(msg)


def _left(line: str, manifest: Manifest, live: _Live | None) -> bool:
    """Whether a recorded head lies behind the backup, for a reason that is known."""
    head = heads.read(line)
    if head is None or head.site != manifest.site or heads.in_chain(head):
        return False
    explained = live is not None and line in live.explained
    return explained or head.seq > manifest.seq


def _onwards(
    manifest: Manifest,
    workshop: Workshop,
    known: dict[str, int],
    asked: Asked,
    now: datetime,
) -> dict[str, int]:
    """Where each counter goes on: past whatever can have been given out since."""
    begun = Operation.objects.aggregate(at=Min("at"))["at"] or manifest.moment
    worked = max(1, (manifest.moment - begun) // _DAY)
    since = 1 + (now - manifest.moment) // _DAY
    to = {}
    for counter in Counter.objects.filter(site=workshop.site):
        usual = TIMES_THE_USUAL * (counter.next // worked)
        ahead = since * max(LEAST_A_DAY, usual) if asked.skip is None else asked.skip
        to[counter.name] = max(counter.next, known.get(counter.name, 0)) + ahead
    if workshop.gs1_prefix:
        try:
            gs1.sscc(workshop.gs1_prefix, to[SSCC])
        except CodeError as error:
            msg = (
                "The company prefix leaves too few SSCCs to pass over so many: say how"
                " many numbers can have been given out since the backup with --skip."
            )
            raise Trouble(msg) from error
    return to


def _prove(own: Database, *, despite_faults: bool) -> Proof:
    proof = examine()
    found = [*own.damage(), *(str(fault) for fault in proof.faults)]
    if found and not despite_faults:
        told = "\n".join(f"    {fault}" for fault in found[:_SHOWN])
        msg = f"{len(found)} faults were found in the backup:\n{told}"
        raise Trouble(msg)
    return proof
