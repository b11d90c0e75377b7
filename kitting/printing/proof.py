"""Prints: the copies of every label, and what is on its way to the printers."""

from __future__ import annotations

import hashlib

from django.db.models import QuerySet

from kitting.ledger.proof import register
from kitting.ledger.proof.faults import Tally
from kitting.ledger.proof.streams import rows
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
    of_things = Print.objects.exclude(box=None, bag=None)
    _count(tally, of_things, "box_id", "bag_id")
    others = Print.objects.filter(box=None, bag=None).exclude(kind__in=ROLLING)
    _count(tally, others, "kind", "number")


def _count(tally: Tally, printed: QuerySet[Print], *label: str) -> None:
    """Count the copies of each label, told apart by two columns."""
    last: tuple[object, object] | None = None
    many = kept_in_many()
    expected = 0
    ordered = printed.order_by(*label, "copy", "pk")
    for pk, one, two, kind, copy, first, reason in rows(
        ordered.values_list("pk", *label, "kind", "copy", "first", "reason")
    ):
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
    every = PrintJob.objects.order_by("pk")
    for pk, document, sha in rows(every.values_list("pk", "document", "pdf_sha")):
        tally.count += 1
        if document is not None:
            found = hashlib.sha256(bytes(document)).hexdigest()
            words = "It is not the document that was logged."
            tally.same(JOB, pk, words, bytes(sha).hex(), found)
    logged = Print.objects.filter(job__isnull=False).order_by("pk")
    for pk, job, sha, of_job in rows(
        logged.values_list("pk", "job_id", "pdf_sha", "job__pdf_sha")
    ):
        words = f"Its job {job} carries another document."
        tally.same(PRINT, pk, words, bytes(sha).hex(), bytes(of_job).hex())


register(
    ("prints", "prints", copies, Print),
    ("print jobs", "jobs", jobs, PrintJob, Print),
)
