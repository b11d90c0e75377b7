"""Print jobs and prints for the tests of their pages, and what a page says."""

from __future__ import annotations

import re
import uuid
from typing import Any

from kitting.domain.prints import Again, Onto
from kitting.models import PrintJob
from kitting.printing.services.prints import PrintedLabels, print_labels
from tests import factories
from tests.factories import NOW, sign

NOWHERE = "ipp://printer.example/ipp/print"


def keyed(**data: object) -> dict[str, object]:
    return {"op_key": str(uuid.uuid4()), **data}


def words(response: Any) -> str:
    text = re.sub(r"<[^>]*>", " ", response.content.decode())
    return " ".join(text.split())


def places(count: int) -> list[str]:
    return sorted(factories.make_place().code for _ in range(count))


def queue(*codes: str, again: Again | None = None) -> PrintJob:
    done = print_labels(
        kind="place",
        numbers=codes or places(1),
        again=again,
        onto=Onto(printer="P1"),
        sign=sign(),
    )
    return PrintJob.objects.get(pk=done.job)


def pdf(*codes: str, again: Again | None = None) -> PrintedLabels:
    return print_labels(
        kind="place", numbers=codes or places(1), again=again, sign=sign()
    )


def become(job: PrintJob, state: str, **values: object) -> PrintJob:
    """A job as a print worker would have left it."""
    ended = NOW if state in ("done", "failed", "cancelled") else None
    PrintJob.objects.filter(pk=job.pk).update(state=state, ended_at=ended, **values)
    job.refresh_from_db()
    return job
