"""Heads of the journal recorded outside the database, where its owner cannot cut.

Cutting off the tail of a chain leaves a chain that holds. So each proof that finds no
fault adds the newest link to a file in the data folder, one line ``site/seq hash`` a
head, and the next proof looks every line up again.
"""

from __future__ import annotations

import os
import re
from collections.abc import Collection, Iterable, Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from pathlib import Path
from typing import NamedTuple

from django.conf import settings

from kitting.ledger import clock, keys
from kitting.ledger.operations import RESTORE
from kitting.ledger.proof.acts import done
from kitting.ledger.proof.faults import Tally
from kitting.ledger.proof.streams import batched
from kitting.models import JournalHead, Link, Workshop

FILE = keys.HEADS
LINK = Link._meta.db_table
_LINE = re.compile(r"(?P<site>[1-9])/(?P<seq>[0-9]{1,18}) (?P<hash>[0-9a-f]{64})")
_ON_PAPER = re.compile(
    r"(?:(?P<site>[1-9])/)?(?P<seq>[0-9]{1,18}):(?P<hash>[0-9a-f]{16,64})"
)

_looked_up: ContextVar[Sequence[str] | None] = ContextVar("looked_up", default=None)
_expected: ContextVar[Sequence[Head]] = ContextVar("expected", default=())

DIGITS = 16
"""So many hexadecimal digits of a hash stand on paper and are typed."""


class Head(NamedTuple):
    """A link that was the newest of its site once."""

    site: int
    seq: int
    hash: str
    """In hexadecimal; on paper its first digits alone."""

    @property
    def on_paper(self) -> str:
        """As papers print it and ``prove --expect`` reads it: ``1/1432:9f3a…``."""
        return f"{self.site}/{self.seq}:{self.hash[:DIGITS]}"

    def __str__(self) -> str:
        return f"{self.site}/{self.seq} {self.hash}"


def path() -> Path:
    """Where heads are recorded."""
    return Path(settings.DATA_DIR) / FILE


def current() -> list[Head]:
    """The newest link of each site as its journal head says; empty journals left out."""
    found = JournalHead.objects.filter(seq__gt=0).order_by("site")
    return [Head(head.site, head.seq, bytes(head.hash).hex()) for head in found]


def of_workshop(workshop: Workshop) -> str:
    """The newest link for paper, as it was read along with the workshop.

    Args:
        workshop: As ``clock.at_the_workshop`` gives it.

    Returns:
        As ``prove --expect`` reads it; empty before the first act.
    """
    if not workshop.newest_seq or workshop.newest_hash is None:
        return ""
    digest = bytes(workshop.newest_hash).hex()
    return Head(workshop.site, workshop.newest_seq, digest).on_paper


def of_acts(operations: Collection[int]) -> dict[int, str]:
    """The links that seal acts, for paper that says what an act wrote.

    Args:
        operations: Ids of the acts.

    Returns:
        By these, each as ``of_workshop``.
    """
    return {
        link.operation_id: Head(link.site, link.seq, bytes(link.hash).hex()).on_paper
        for link in Link.objects.filter(operation__in=operations)
    }


def record(found: Iterable[Head], file: Path) -> None:
    """Add heads to the file, for its owner's eyes only; known ones are left out.

    Args:
        found: Heads of a journal that was proved.
        file: The file; made with mode 0600 if it is not there.
    """
    known = set(lines(file))
    fresh = [str(head) for head in found if str(head) not in known]
    if not fresh:
        return
    flags = os.O_WRONLY | os.O_APPEND | os.O_CREAT | os.O_NOFOLLOW
    handle = os.open(file, flags, 0o600)
    with os.fdopen(handle, "a", encoding="ascii") as text:
        os.fchmod(text.fileno(), 0o600)
        text.write("".join(f"{line}\n" for line in fresh))
        text.flush()
        os.fsync(text.fileno())


def remember(found: Iterable[Head]) -> None:
    """Note when the whole record held, and with which newest link.

    Args:
        found: Heads of a journal that was proved, and recorded.
    """
    workshop = Workshop.objects.get()
    seq = max((head.seq for head in found if head.site == workshop.site), default=0)
    noted = Workshop.objects.filter(pk=workshop.pk)
    noted.update(proved_at=clock.now(), proved_seq=seq, fault_at=None)


def remember_newest() -> None:
    """Note when the newest acts were checked, and held."""
    Workshop.objects.update(checked_at=clock.now())


def remember_fault() -> None:
    """Note when a proof found a fault; a whole one that finds none takes it back."""
    Workshop.objects.update(fault_at=clock.now())


def recorded(tally: Tally) -> None:
    """Every head on record is still a link of the chain.

    Args:
        tally: Where recorded heads are counted and faults noted.
    """
    given = _looked_up.get()
    left = None
    for some in batched(lines(path()) if given is None else given):
        found = [(line, read(line)) for line in some]
        there = in_chain(*(head for _line, head in found if head is not None))
        for line, head in found:
            tally.count += 1
            if head is None:
                words = "A line cannot be read."
                tally.add(FILE, None, words, "site/seq hash", line[:100])
            elif head not in there:
                left = left_behind() if left is None else left
                if line not in left:
                    _not_there(tally, head)


def _not_there(tally: Tally, head: Head) -> None:
    link = Link.objects.filter(site=head.site, seq=head.seq).first()
    tally.same(
        LINK,
        None if link is None else link.pk,
        f"Link {head.site}/{head.seq} was on record and has gone or changed: the"
        " journal was cut off or rewritten, or an older copy was restored.",
        head.hash,
        "none" if link is None else bytes(link.hash).hex(),
    )


def on_file(tally: Tally) -> None:
    """The file of heads is there, and as new as the newest proof that was recorded.

    It is made with the key, so that it is missed also where the database knows of no
    proof, or was made to forget it.

    Args:
        tally: Where it is counted and a fault noted.
    """
    workshop = Workshop.objects.first()
    proved, there = workshop and workshop.proved_seq, path().exists()
    if workshop is None or (not proved and (there or keys.key() is None)):
        return
    tally.count = 1
    found = [head for head in map(read, lines(path())) if head is not None]
    newest = max((head.seq for head in found if head.site == workshop.site), default=0)
    if not there or newest < (proved or 0):
        tally.add(
            FILE,
            None,
            "The file of heads is missing, or older than the newest proof on record:"
            " put its copy back, and ask who took it away.",
            f"{workshop.site}/{proved or 0}",
            f"{workshop.site}/{newest}" if newest else "none",
        )


def expected(tally: Tally) -> None:
    """Every head that somebody has on paper is a link of the chain.

    Args:
        tally: Where heads are counted and faults noted.
    """
    for head in _expected.get():
        tally.count += 1
        link = Link.objects.filter(site=head.site, seq=head.seq).first()
        found = "none" if link is None else bytes(link.hash).hex()[: len(head.hash)]
        words = (
            f"Link {head.site}/{head.seq} is another than the one on paper: the journal"
            " was cut off or rewritten, or an older copy was restored."
        )
        tally.same(LINK, None if link is None else link.pk, words, head.hash, found)


def from_paper(text: str, site: int) -> Head | None:
    """Read a head as a paper prints it; None if it is none.

    Args:
        text: ``1/1432:9f3a0b1c2d3e4f50``, with or without the site.
        site: The site, where the text names none.

    Returns:
        The head, its hash in as many digits as were given.
    """
    plain = "".join(text.split()).lower()
    found = _ON_PAPER.fullmatch(plain)
    if found is None:
        return None
    return Head(int(found["site"] or site), int(found["seq"]), found["hash"])


def left_behind() -> set[str]:
    """Lines of heads that lay behind the backups from which was restored."""
    return {line for act in done(RESTORE) for line in act.gave.get("left", ())}


def in_chain(*found: Head) -> set[Head]:
    """Which heads are links of this database's journal; all are asked for at once."""
    sites, numbers = {head.site for head in found}, {head.seq for head in found}
    links = Link.objects.filter(site__in=sites, seq__in=numbers).order_by()
    sealed = {
        Head(site, seq, bytes(digest).hex())
        for site, seq, digest in links.values_list("site", "seq", "hash")
    }
    return sealed.intersection(found)


def read(line: str) -> Head | None:
    """Read a line of recorded heads; None if it is none."""
    found = _LINE.fullmatch(line)
    if found is None:
        return None
    return Head(int(found["site"]), int(found["seq"]), found["hash"])


@contextmanager
def looked_up(on_record: Sequence[str] | None) -> Iterator[None]:
    """Let ``recorded`` look up these lines; those on record now, where none are given."""
    chosen = lines(path()) if on_record is None else on_record
    before = _looked_up.set(chosen)
    try:
        yield
    finally:
        _looked_up.reset(before)


@contextmanager
def expecting(on_paper: Sequence[Head]) -> Iterator[None]:
    """Let ``expected`` look up these heads."""
    before = _expected.set(on_paper)
    try:
        yield
    finally:
        _expected.reset(before)


def lines(file: Path) -> list[str]:
    """The lines of a file of recorded heads; none if there is no file."""
    if not file.exists():
        return []
    text = file.read_text(encoding="utf-8", errors="replace")
    return [line for line in text.splitlines() if line.strip()]
