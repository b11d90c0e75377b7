"""Prints: the copies of every label, and what is on its way to the printers."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from typing import Any

from django.db.models import QuerySet

from kitting.ledger.proof import register
from kitting.ledger.proof.faults import Tally
from kitting.ledger.proof.streams import Asked, composed, rows
from kitting.models import Print, PrintJob
from kitting.printing.queries.labels import kept_in_many

PRINT = Print._meta.db_table
JOB = PrintJob._meta.db_table
ROLLING = frozenset({"test"})
"""Kinds that nobody counts the copies of."""


def copies(tally: Tally) -> None:
    """The copies of every label are counted from 1, each once; reprints tell why.

    Those of which many may be in use took the place of none.

    Args:
        tally: Where prints are counted and faults noted.
    """
    for printed in _copies():
        _count(tally, printed)


@composed
def _copies() -> Iterator[QuerySet[Any, Any]]:
    """The prints of things, and those of other labels, each by its label's columns."""
    of_things = Print.objects.exclude(box=None, bag=None)
    others = Print.objects.filter(box=None, bag=None).exclude(kind__in=ROLLING)
    of = ((of_things, ("box_id", "bag_id")), (others, ("kind", "number")))
    for printed, label in of:
        ordered = printed.order_by(*label, "copy", "pk")
        yield ordered.values_list("pk", *label, "kind", "copy", "first", "reason")


def _count(tally: Tally, printed: Asked) -> None:
    """Count the copies of each label, told apart by two columns."""
    last: tuple[object, object] | None = None
    many = kept_in_many()
    expected = 0
    for pk, one, two, kind, copy, first, reason in rows(printed):
        tally.count += 1
        expected = expected + 1 if (one, two) == last else 1
        last = one, two
        tally.same(PRINT, pk, "It is another copy.", expected, copy)
        if copy > 1 and kind not in many and not (first and reason):
            words = "A reprint tells why, and what became of the label before."
            tally.add(PRINT, pk, words, "both", "not both")


def jobs(tally: Tally) -> None:
    """Every print job carries the document that its prints were logged with.

    Args:
        tally: Where jobs are counted and faults noted.
    """
    every, logged = _jobs()
    for pk, document, sha in rows(every):
        tally.count += 1
        if document is not None:
            found = hashlib.sha256(bytes(document)).hexdigest()
            words = "It is not the document that was logged."
            tally.same(JOB, pk, words, bytes(sha).hex(), found)
    for pk, job, sha, of_job in rows(logged):
        words = f"Its job {job} carries another document."
        tally.same(PRINT, pk, words, bytes(sha).hex(), bytes(of_job).hex())


@composed
def _jobs() -> Iterator[QuerySet[Any, Any]]:
    """The documents of jobs, and the prints that were logged with one."""
    every = PrintJob.objects.order_by("pk")
    yield every.values_list("pk", "document", "pdf_sha")
    logged = Print.objects.filter(job__isnull=False).order_by("pk")
    yield logged.values_list("pk", "job_id", "pdf_sha", "job__pdf_sha")


register(
    ("prints", "prints", copies, Print),
    ("print jobs", "jobs", jobs, PrintJob, Print),
)
