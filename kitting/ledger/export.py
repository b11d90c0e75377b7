"""The journal as a file that anybody can check without the database.

One JSON object a line: the first says which links follow, then one for each link has
exactly what its hash covers. ``static/dispatch/journal/check_journal.py`` checks it.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from kitting.domain.errors import Missing
from kitting.ledger.proof.chain import START, written_by
from kitting.ledger.proof.heads import Head
from kitting.ledger.proof.streams import BATCH
from kitting.models import JournalHead, Link, Workshop

FORM: Final = "lotward-journal-1"


@dataclass(frozen=True)
class Span:
    """Links of the journal, one after the other."""

    site: int
    first: int
    last: int

    @property
    def head(self) -> str:
        """The last link, as papers print it."""
        return Head(self.site, self.last, _hash_of(self.site, self.last)).on_paper


def span(first: int = 1, last: int | None = None) -> Span:
    """Choose links of the journal.

    Args:
        first: Number of the first.
        last: Number of the last; the newest where none is given, or none is so new.

    Returns:
        The links that there are.

    Raises:
        Missing: ``no_such_links`` if there is none of these.
    """
    site = Workshop.objects.values_list("site", flat=True).get(pk=1)
    newest = JournalHead.objects.values_list("seq", flat=True).get(site=site)
    chosen = Span(site, max(first, 1), newest if last is None else min(last, newest))
    if chosen.first > chosen.last:
        raise Missing("no_such_links", newest=newest)
    return chosen


def lines(chosen: Span) -> Iterator[str]:
    """Write the lines of a file, some hundred links at a time.

    Links are never changed, so nothing needs to be locked or held open meanwhile.

    Args:
        chosen: From ``span``.

    Yields:
        The lines, each with its end.
    """
    workshop = Workshop.objects.values_list("name", flat=True).get(pk=1)
    yield _line(
        file=FORM,
        workshop=workshop,
        site=chosen.site,
        first=chosen.first,
        last=chosen.last,
        before=_hash_of(chosen.site, chosen.first - 1),
    )
    for first in range(chosen.first, chosen.last + 1, BATCH):
        last = min(first + BATCH - 1, chosen.last)
        yield from _some(chosen.site, first, last)


def _some(site: int, first: int, last: int) -> Iterator[str]:
    found = Link.objects.filter(site=site, seq__range=(first, last)).order_by("seq")
    links = list(found)
    written = written_by([link.operation_id for link in links] or [0])
    for link in links:
        operation = written.operations.get(link.operation_id, "null")
        entries = sorted(written.entries[link.operation_id])
        yield _line(
            seq=link.seq,
            form=link.form,
            operation=json.loads(operation),
            outcome=link.outcome,
            entries=[[label, pk, json.loads(row)] for label, pk, row in entries],
            hash=bytes(link.hash).hex(),
        )


def _line(**said: object) -> str:
    return json.dumps(said) + "\n"


def _hash_of(site: int, seq: int) -> str:
    found = Link.objects.filter(site=site, seq=seq).values_list("hash", flat=True)
    return bytes(found.first() or START).hex()
