"""What was printed of a label, and how many labels were."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from datetime import datetime
from typing import Final

from django.db.models import OuterRef, QuerySet

from kitting.domain.prints import TEST
from kitting.domain.stages import PrintState
from kitting.labels.copies import as_copy, data_sha
from kitting.labels.kinds import BAG
from kitting.ledger.kept import Kept
from kitting.models import Box, Print
from kitting.printing.queries.labels import Subject, kept_in_many

_NOTHING_OUT: Final = (PrintState.QUEUED, PrintState.FAILED, PrintState.CANCELLED)
"""States of a job of which no label is known to have come out."""

SLIPS: Final = "set_slip"


def newest_label(box_id: int) -> Print | None:
    """The newest print of a box's label, with its job and the job's printer.

    Args:
        box_id: The box.

    Returns:
        The print as logged, or None if there was none.
    """
    return next(iter(NEWEST(box_id)), None)


NEWEST = Kept(
    lambda box: (
        Print.objects.filter(box=box)
        .select_related("job__printer")
        .defer("job__document")
        .order_by("-copy")[:1]
    )
)


def newest_slips(box: Box) -> Print | None:
    """The newest print of the slips of a box's sets, with its job and the job's printer.

    Args:
        box: The box, which has its serial.

    Returns:
        The print as logged, or None if there was none.
    """
    prints = Print.objects.filter(kind=SLIPS, number=box.serial)
    prints = prints.select_related("job__printer").defer("job__document")
    return prints.order_by("-copy").first()


def newest_bag_label(number: str) -> Print | None:
    """The newest print of a bag's label, with its job and the job's printer.

    Args:
        number: The bag.

    Returns:
        The print as logged, or None if there was none.
    """
    prints = Print.objects.filter(kind=BAG.name, number=number)
    prints = prints.select_related("job__printer").defer("job__document")
    return prints.order_by("-copy").first()


def newer_copies() -> QuerySet[Print]:
    """What took the place of a print that the query around this one names.

    Returns:
        Newer copies of its label; none of those of which many may be in use.
    """
    newer = Print.objects.filter(
        kind=OuterRef("kind"), number=OuterRef("number"), copy__gt=OuterRef("copy")
    )
    return newer.exclude(kind__in=kept_in_many())


def labels_since(moment: datetime) -> int:
    """How many labels were printed or opened as a PDF since a moment.

    Args:
        moment: From when on.

    Returns:
        Every slip counts; test pages do not, nor what no printer has taken.
    """
    rows = Print.objects.filter(operation__at__gte=moment)
    rows = rows.exclude(kind=TEST).exclude(job__state__in=_NOTHING_OUT)
    slips = Counter(rows.filter(kind=SLIPS).values_list("number", flat=True))
    sets = dict(
        Box.objects.filter(serial__in=slips).values_list("serial", "size__sets")
    )
    of_slips = sum(times * sets.get(number, 1) for number, times in slips.items())
    return of_slips + rows.exclude(kind=SLIPS).count()


def still_so(printed: Print, subject: Subject) -> bool:
    """Whether what was printed says what it would say if it were printed now.

    Args:
        printed: A print of a label.
        subject: What it names, composed now.
    """
    labels = [as_copy(face, printed.copy) for face in subject.labels]
    return data_sha(labels) == bytes(printed.data_sha)


def copies_made(kind: str, numbers: Sequence[str]) -> dict[str, int]:
    """How often each label of a kind was printed.

    Args:
        kind: Name of the labels.
        numbers: What the labels name.

    Returns:
        The newest copy by number; nothing for labels that were never printed.
    """
    rows = LOGGED(kind, *numbers) if numbers else []
    return {row.number: row.copy for row in rows}


LOGGED = Kept(
    lambda kind, *numbers: Print.objects.filter(kind=kind, number__in=numbers).order_by(
        "copy"
    )
)
